"""From a bench's address to a stand-in with the calibration that belongs to it."""

from rungbench.link.messages import Identity
from rungbench.simulated.calibration import simulated_bench_calibration
from rungbench.standin.board import Calibrate, StandIn
from rungbench.standin.calibration import BenchCalibration, uncalibrated

_SIMULATED = "sim://"


def is_simulated(url: str) -> bool:
    """Whether an address is that of a simulated bench."""
    return url.lower().startswith(_SIMULATED)


def calibration_for(url: str) -> Calibrate:
    """How a board behind `url` gets its calibration.

    The simulated bench carries one of its own; a real board has none on this host yet, so that
    its voltages are not judged.
    """
    return _simulated if is_simulated(url) else uncalibrated


def open_bench(url: str) -> StandIn:
    """The stand-in behind `url`, on open; raises as `link.port.open_port`."""
    return StandIn.open(url, calibration_for(url))


def _simulated(_identity: Identity) -> BenchCalibration:
    known = simulated_bench_calibration()
    return BenchCalibration(
        known.id, known.volts, known.bits, known.time_base, known.width_bias, known.parts
    )
