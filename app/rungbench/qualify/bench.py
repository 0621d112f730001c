"""From a bench's address to a stand-in with the calibration that belongs to it."""

from contextlib import ExitStack
from datetime import UTC, datetime

from rungbench.calibrations.compose import compose
from rungbench.calibrations.store import CalibrationStore
from rungbench.link.messages import Identity
from rungbench.paths import paths
from rungbench.simulated.calibration import simulated_bench_calibration
from rungbench.standin.board import Calibrate, StandIn
from rungbench.standin.calibration import BenchCalibration, uncalibrated

_SIMULATED = "sim://"


def is_simulated(url: str) -> bool:
    """Whether an address is that of a simulated bench."""
    return url.lower().startswith(_SIMULATED)


def calibration_for(url: str) -> Calibrate:
    """What is known of a board behind `url` without any record of a calibration.

    The simulated bench carries one of its own.  Of a real board only what its design promises is
    known, so that its voltages are not judged.
    """
    return _simulated if is_simulated(url) else uncalibrated


def store_for(simulated: bool) -> CalibrationStore:
    """Where the records of real or of simulated boards lie."""
    places = paths()
    folder = places.simulated_calibrations if simulated else places.calibrations
    return CalibrationStore(folder, simulated)


def open_bench(url: str) -> StandIn:
    """The stand-in behind `url`, on open, with the newest usable records of its board.

    Raises
    ------
    PortError, OtherProtocol : as `link.port.open_port`.
    DamagedRecord : a calibration record cannot be trusted; no port was opened then.
    """
    records = store_for(is_simulated(url)).records()
    with ExitStack() as cleanup:
        standin = cleanup.enter_context(StandIn.open(url, calibration_for(url)))
        board_id = standin.identity.board_id
        standin.calibration = compose(
            standin.calibration,
            (record for record in records if record.board_id == board_id),
            datetime.now(UTC).date(),
            standin.health.temperature_c if standin.health else None,
        )
        cleanup.pop_all()
    return standin


def _simulated(_identity: Identity) -> BenchCalibration:
    known = simulated_bench_calibration()
    return BenchCalibration(
        known.id, known.volts, known.bits, known.time_base, known.width_bias, known.parts
    )
