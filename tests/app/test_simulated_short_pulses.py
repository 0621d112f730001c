"""Pulses of 5 % by the fastest samples: levels within their uncertainty, whatever the phase.

Four samples a pulse, 8 bit: an edge fitted with the wrong shape must not carry a level with it.
"""

import pytest

from pilotsignal.measure import measure
from rungbench.link.messages import Mode, Rung, Setting
from rungbench.link.port import open_port
from rungbench.qualify.bench import calibration_for
from rungbench.standin.board import StandIn

RECORDS = 5
LOW_V = -11.95  # the simulated charger's own rail; the diode keeps the ladder off it


@pytest.mark.parametrize("frequency_hz", [1000.3, 999.7])
def test_the_low_level_is_that_of_the_settled_samples(frequency_hz: float) -> None:
    keys = f"digital=yes&digital_mains=yes&frequency_hz={frequency_hz}"
    port = open_port(f"sim://sound?{keys}")
    with StandIn.behind(port, calibration_for("sim://")) as standin:
        standin.arm_energising()
        standin.present(Setting(Rung.B))
        standin.wait(1.0)
        standin.present(Setting(Rung.D))
        standin.wait(1.0)
        for _ in range(RECORDS):
            record = standin.record(1.0, Mode.STREAM8)
            assert record.capture is not None
            low = measure(record.capture, record.edges).low_plateau_v
            assert low is not None
            assert low.value == pytest.approx(LOW_V, abs=low.expanded() + 0.03)
