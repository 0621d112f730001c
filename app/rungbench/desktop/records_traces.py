"""What a stored capture looks like: one period laid over, or the samples as they came; no Qt."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from pilotsignal.capture import Capture, EdgeRecord
from rungbench.archive.errors import ArchiveError
from rungbench.archive.record import CheckResult, Record
from rungbench.desktop.figures import number
from rungbench.desktop.snapshots import Floats, empty
from rungbench.report.period import Mask, OnePeriod, lay_over, views

Load = Callable[[str], Capture | EdgeRecord]
_RAW_BINS: Final = 800
NO_CAPTURE: Final = "The archive does not hold a capture of this."
NO_SAMPLES: Final = "Only edges were recorded here, no samples."


@dataclass(frozen=True, slots=True, eq=False)
class Trace:
    """A curve with the room that its samples took.

    Parameters
    ----------
    title : what it is of.
    x : shape (n,), us after the rising edge, or ms from the first sample if not `periodic`.
    mean_v, least_v, most_v : shape (n,), V.
    mask : what the checks allow.
    about : how it was made, or why there is none: then the arrays are empty.
    """

    title: str
    x: Floats
    mean_v: Floats
    least_v: Floats
    most_v: Floats
    periodic: bool = True
    mask: Mask = field(default_factory=Mask)
    about: str = ""

    @property
    def drawn(self) -> bool:
        """Whether there is anything to draw."""
        return self.x.size > 0


def trace_of(title: str, keys: Iterable[str], load: Load, mask: Mask | None = None) -> Trace:
    """The trace of the captures of one check or step; a missing one is told, not raised."""
    edges: EdgeRecord | None = None
    samples: Capture | None = None
    period: OnePeriod | None = None
    try:
        for recorded in map(load, keys):
            if isinstance(recorded, EdgeRecord):
                edges = recorded
            else:
                samples = recorded
                found = None if edges is None else lay_over(edges, recorded)
                period = found or period
    except ArchiveError:
        return _none(title, NO_CAPTURE)
    mask = mask or Mask()
    if period is not None:
        about = (
            f"{period.periods} periods of {number(period.period_us, 1)} µs laid over one another"
        )
        values = (period.bin_us, period.mean_v, period.least_v, period.most_v)
        return Trace(title, *values, mask=mask, about=about)
    if samples is None:
        return _none(title, NO_CAPTURE if edges is None else NO_SAMPLES)
    return _raw(title, samples, mask)


def traces_of(record: Record, load: Load) -> tuple[Trace, ...]:
    """One trace for each step that was judged by level or width."""
    return tuple(trace_of(view.step, view.captures, load, view.mask) for view in views(record))


def trace_of_check(result: CheckResult, record: Record, load: Load) -> Trace:
    """The trace of the captures that one check rests on."""
    masks = {view.captures: view.mask for view in views(record)}
    return trace_of(result.title, result.captures, load, masks.get(result.captures))


def _none(title: str, why: str) -> Trace:
    return Trace(title, empty(), empty(), empty(), empty(), about=why)


def _raw(title: str, capture: Capture, mask: Mask) -> Trace:
    """Samples in bins, so that nothing narrower than a pixel is lost; gaps stay empty."""
    volts = capture.volts(capture.samples)
    places = np.arange(volts.size, dtype=np.float64)
    for gap in capture.gaps:
        places[gap.index :] += gap.missing
    times = places * capture.interval_s * 1e3
    step = max(1, -(-volts.size // _RAW_BINS))
    starts = np.arange(0, volts.size, step)
    counts = np.diff(np.append(starts, volts.size))
    return Trace(
        title,
        np.add.reduceat(times, starts) / counts,
        np.add.reduceat(volts, starts) / counts,
        np.minimum.reduceat(volts, starts),
        np.maximum.reduceat(volts, starts),
        periodic=False,
        mask=mask,
        about=f"{volts.size} samples over {times[-1]:.0f} ms, lowest to highest of each stretch",
    )
