"""A simulated bench at the end of a plain host, and figures read off its bytes."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from board_session import BoardSession

from rungbench.link.messages import (
    TICKS_PER_SECOND,
    EdgeBlock,
    Event,
    EventKind,
    FromBoard,
    Mode,
    Rung,
    SampleBlock,
    SetMode,
    Setting,
)
from rungbench.link.port import open_line
from rungbench.simulated.calibration import simulated_bench_calibration
from rungbench.simulated.operator import Operator

B, C, D = Setting(Rung.B), Setting(Rung.C), Setting(Rung.D)
OPEN, SHORT = Setting(Rung.OPEN), Setting(Rung.SHORT)
NO_DIODE_C = Setting(Rung.C, diode_in=False)

# One deviation of the board's noise, gain and offset is 15 mV at 12 V; this is three and a half.
VOLT_TOLERANCE = 0.05


@dataclass(frozen=True, slots=True, eq=False)
class Pulses:
    """Edges at 0 V: periods and widths of whole pulses in microseconds by the board's clock."""

    periods_us: npt.NDArray[np.float64]
    widths_us: npt.NDArray[np.float64]

    @property
    def frequency_hz(self) -> float:
        return 1e6 / float(np.mean(self.periods_us))

    @property
    def duty_percent(self) -> float:
        return 100 * float(np.mean(self.widths_us)) / float(np.mean(self.periods_us))


class SimulatedRun(BoardSession):
    """A session with a simulated bench; `hand` is at its switches."""

    def __init__(self, url: str) -> None:
        opened = open_line(url)
        super().__init__(opened)
        self.hand = Operator(opened)
        self.hello()

    def plateaus(self, seconds: float = 0.3) -> tuple[float, float]:
        """Medians of the samples above and below 0 V, by the bench's calibration; NaN for none."""
        volts = self.volts(seconds)
        high, low = volts[volts >= 0], volts[volts < 0]
        return (
            float(np.median(high)) if high.size else float("nan"),
            float(np.median(low)) if low.size else float("nan"),
        )

    def volts(self, seconds: float, mode: Mode = Mode.STREAM10) -> npt.NDArray[np.float64]:
        """Samples of the next seconds in volts."""
        self.ask(SetMode(mode))
        counts = [m.counts for m in self.listen(seconds) if isinstance(m, SampleBlock)]
        self.ask(SetMode(Mode.OFF))
        line = simulated_bench_calibration().volts
        return np.concatenate(counts).astype(np.float64) * line.gain_v + line.offset_v

    def pulses(self, seconds: float = 1.0) -> Pulses | None:
        """What the edges of the next seconds tell; None if there are no pulses."""
        times, rising = edges(self.listen(seconds))
        if times.size < 4:
            return None
        first = int(np.argmax(rising))
        times, rising = times[first:], rising[first:]
        ups = times[rising]
        downs = times[~rising][: ups.size]
        whole = min(ups.size, downs.size)
        return Pulses(
            np.diff(ups) * 1e6 / TICKS_PER_SECOND,
            (downs[:whole] - ups[:whole]) * 1e6 / TICKS_PER_SECOND,
        )

    def mains_on_after(self, setting: Setting, within_s: float) -> dict[int, float]:
        """Seconds from a setting's contacts to mains, by phase; phases without mains are absent."""
        return self._mains(setting, EventKind.MAINS_ON, within_s)

    def mains_off_after(self, setting: Setting, within_s: float) -> dict[int, float]:
        """Seconds from a setting's contacts to the last of mains, by phase."""
        return self._mains(setting, EventKind.MAINS_OFF, within_s)

    def charge(self) -> None:
        """B, then C, until mains is on."""
        self.present(B)
        self.listen(1.0)
        self.present(C)
        self.listen(1.5)

    def _mains(self, setting: Setting, kind: EventKind, within_s: float) -> dict[int, float]:
        since = len(self.heard)
        applied = self.present(setting)
        self.listen(within_s)
        start = applied.tick - applied.interval_ticks
        return {event.phase: seconds(event, start) for event in self.events(kind, since)}


def seconds(event: Event, start: int) -> float:
    """From a tick to an event."""
    return (event.tick - start) / TICKS_PER_SECOND


def edges(
    heard: list[FromBoard],
) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.bool_]]:
    """Ticks and directions of all edges among some messages."""
    blocks = [message for message in heard if isinstance(message, EdgeBlock)]
    if not blocks:
        return np.empty(0, np.int64), np.empty(0, np.bool_)
    times = np.concatenate([block.times for block in blocks])
    return times, np.concatenate([block.rising for block in blocks])


@contextmanager
def simulated(keys: str = "", name: str = "sound") -> Iterator[SimulatedRun]:
    """A greeted bench with some keys."""
    run = SimulatedRun(f"sim://{name}?{keys}" if keys else f"sim://{name}")
    try:
        yield run
    finally:
        run.line.close()
