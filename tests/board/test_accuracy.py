"""What is measured through the firmware against what was really there.

The truth is the simulator's: the contact's voltage solved between edges (`circuit.c`), not what
its front end makes of it.  Each board has errors of converter, clock, comparator and parts, and a
calibration that was made as a user makes it.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import numpy as np
import pytest
from board_simulator.process import BoardProcess, SwitchOn
from board_simulator.protocol_board import at_address

from pilotsignal.measure import PilotMeasurement, measure
from pilotsignal.quantity import Quantity
from rungbench.calibrations.store import CalibrationStore
from rungbench.link.words import Mode, Rung, Setting
from rungbench.qualify.bench import open_bench
from rungbench.standin.board import StandIn
from rungbench.standin.record import BoardRecord

CHARGERS = {
    "sound": (),
    "slow edges, 6 A": ("cs_pf=3000", "source_ohm=1025", "set_a=6", "generator_rise_us=2"),
    "fast edges, 63 A": ("cs_pf=300", "frequency_hz=1004.3", "rated_a=63", "voc_high_v=12.5"),
}
RUNGS = [Rung.B, Rung.C]


@contextmanager
def presenting(board: BoardProcess, rung: Rung) -> Iterator[StandIn]:
    """The stand-in on a rung, with pulses there for a while."""
    with at_address(board) as url, open_bench(url) as standin:
        standin.arm_energising()
        standin.present(Setting(Rung.B))
        assert standin.wait_until(standin.pulsing, 3.0)
        standin.hold(Setting(rung))
        standin.wait(0.2)
        board.truth()
        yield standin


def recorded(standin: StandIn, seconds: float, mode: Mode) -> BoardRecord:
    record = standin.record(seconds, mode)
    assert not record.losses, record.losses.text()
    return record


def value(quantity: Quantity | None) -> float:
    assert quantity is not None
    return quantity.value


def show(what: str, found: Quantity | None, true: float) -> None:
    """One line for `pytest -s`: error, and U."""
    if found is not None:
        print(f"\n{what}: error {found.value - true:+.5f}, U {found.expanded():.5f}", end="")


def measured(
    board: BoardProcess, rung: Rung, seconds: float, mode: Mode, *, edges: bool
) -> tuple[PilotMeasurement, dict[str, Any]]:
    """What the program measures on a rung, and the truth of the same time."""
    with presenting(board, rung) as standin:
        record = recorded(standin, seconds, mode)
        truth = board.truth()
    assert record.capture is not None
    return measure(record.capture, record.edges if edges else None), truth


@pytest.mark.usefixtures("calibrated")
@pytest.mark.parametrize("rung", RUNGS)
@pytest.mark.parametrize("traits", CHARGERS.values(), ids=CHARGERS)
def test_edges_and_plateaus(switch_on: SwitchOn, traits: tuple[str, ...], rung: Rung) -> None:
    found, truth = measured(switch_on(*traits), rung, 0.5, Mode.STREAM10, edges=True)
    assert truth["periods"] >= 100
    width, frequency = found.pulse_width_zero_us, found.frequency_hz
    show("width by edges, us", width, truth["width_us"])
    show("high plateau, V", found.high_plateau_v, truth["high_v"])
    show("low plateau, V", found.low_plateau_v, truth["low_v"])
    # Required: the mean of 100 periods or more within 0.15 us of the truth.
    assert value(width) == pytest.approx(truth["width_us"], abs=0.15)
    assert value(frequency) == pytest.approx(1e6 / truth["period_us"], abs=0.02)
    # And levels within 20 mV at 10 bits.
    assert value(found.high_plateau_v) == pytest.approx(truth["high_v"], abs=0.020)
    assert value(found.low_plateau_v) == pytest.approx(truth["low_v"], abs=0.020)


@pytest.mark.usefixtures("calibrated")
@pytest.mark.parametrize("rung", RUNGS)
def test_width_by_eight_bits_alone(switch_on: SwitchOn, rung: Rung) -> None:
    found, truth = measured(switch_on(), rung, 1.0, Mode.STREAM8, edges=False)
    width = found.pulse_width_zero_us
    assert width is not None
    show("width by 8 bits alone, us", width, truth["width_us"])
    # Required: within 0.5 us, or within what it states where samples leave a gap.
    assert abs(width.value - truth["width_us"]) <= max(0.5, width.expanded())


@pytest.mark.usefixtures("calibrated")
def test_the_stated_uncertainty_holds_the_truth(
    switch_on: SwitchOn, calibrated: CalibrationStore
) -> None:
    assert {str(record.part) for record in calibrated.records()} == {
        "volts", "clock", "parts", "widths",
    }  # fmt: skip
    outside = []
    for seed in range(4):
        board = switch_on(f"seed={seed + 40}", f"voc_high_v={11.7 + 0.2 * seed}")
        found, truth = measured(board, Rung.B, 0.4, Mode.STREAM10, edges=True)
        pairs = {
            "width": (found.pulse_width_zero_us, truth["width_us"]),
            "frequency": (found.frequency_hz, 1e6 / truth["period_us"]),
            "high": (found.high_plateau_v, truth["high_v"]),
            "low": (found.low_plateau_v, truth["low_v"]),
        }
        outside += [
            f"{name}, seed {seed}: {one.value} for {true}, U {one.expanded()}"
            for name, (one, true) in pairs.items()
            if one is not None and abs(one.value - true) > one.expanded()
        ]
        assert all(one is not None for one, _ in pairs.values())
    # 16 values at 95 %: more than three outside are fewer than 1 in 100 tests (binomial).
    assert len(outside) <= 3, outside


def test_eight_bits_stream_without_a_loss(switch_on: SwitchOn) -> None:
    stream(switch_on(), 5.0)


@pytest.mark.slow
def test_eight_bits_stream_for_a_minute_without_a_loss(switch_on: SwitchOn) -> None:
    stream(switch_on(), 60.0)


def stream(board: BoardProcess, seconds: float) -> None:
    """Every conversion between first and last sample arrived, at the rate of its clock."""
    with presenting(board, Rung.B) as standin:
        before = board.pins()
        record = recorded(standin, seconds, Mode.STREAM8)
        after = board.pins()
    taken = after["conversions"] - before["conversions"]
    counts = sum(block.counts.size for block in record.pilot)
    blocks = record.pilot
    assert all(block.interval_ticks == 208 for block in blocks)
    ticks = np.array([block.tick for block in blocks])
    sizes = np.array([block.counts.size for block in blocks])
    assert np.all(np.diff(ticks) == 208 * sizes[:-1])
    assert counts > 0.99 * seconds * 16e6 / 208
    # What is converted after the request to end is no loss: a few milliseconds.
    assert 0 <= taken - counts < 0.1 * 16e6 / 208
    assert after["line_overruns"] == after["line_lost"] == 0
