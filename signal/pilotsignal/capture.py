"""Samples with their time base and origin.

Counts stay as the converter gave them; volts are made from them through a
calibration only where a result is worked out.
"""

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any, Self

import numpy as np
import numpy.typing as npt

from pilotsignal.calibration import UNKNOWN_TIME_BASE, TimeBase, VoltCalibration, WidthBias
from pilotsignal.errors import CaptureError

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Gap:
    """Samples that are missing: `index` of the first sample after them, and how many."""

    index: int
    missing: int


@dataclass(frozen=True, slots=True, eq=False)
class Capture:
    """One channel, evenly sampled.

    Parameters
    ----------
    samples : 1-D, read-only; integer counts, or volts as float64.
    interval_s : seconds from sample to sample, by the nominal rate of the time base.
    origin : where it comes from, for people and records.
    calibration : counts (or stated volts) to volts at the contact.
    time_base : the clock.
    gaps : places where samples are missing, in order; never bridged silently.
    converter_range : lowest and highest count the converter can give, if known.
    first_tick : board time of the first sample in ticks of 62.5 ns, if known.

    Raises
    ------
    CaptureError : no samples, not one channel, NaN or infinity among them, an interval that is
        not a positive number, gaps out of range.
    """

    samples: npt.NDArray[Any]
    interval_s: float
    origin: str
    calibration: VoltCalibration
    time_base: TimeBase = UNKNOWN_TIME_BASE
    gaps: tuple[Gap, ...] = ()
    converter_range: tuple[int, int] | None = None
    first_tick: int | None = None

    def __post_init__(self) -> None:
        if self.samples.ndim != 1 or self.samples.size == 0:
            raise CaptureError("The capture holds no samples of one channel; record it again.")
        if not (np.isfinite(self.interval_s) and self.interval_s > 0):
            raise CaptureError(
                f"The sample interval of {self.interval_s} s is not positive; state it."
            )
        if self.samples.dtype.kind not in "iuf":
            raise CaptureError("The capture holds something else than numbers; record it again.")
        # Extremes, not a sum: that overflows, and infinities of both signs make it warn.
        if not (np.isfinite(self.samples.min()) and np.isfinite(self.samples.max())):
            raise CaptureError("The capture holds values that are not numbers; record it again.")
        if any(not 0 < gap.index < self.samples.size for gap in self.gaps):
            raise CaptureError("The capture's gaps lie outside its samples.")
        self.samples.flags.writeable = False

    @classmethod
    def from_volts(
        cls,
        volts: npt.ArrayLike,
        interval_s: float,
        origin: str,
        *,
        calibration: VoltCalibration | None = None,
        time_base: TimeBase = UNKNOWN_TIME_BASE,
    ) -> Self:
        """Capture of volts that somebody else's instrument worked out.

        Parameters
        ----------
        volts : shape (n,), copied.
        calibration : gain 1 and offset 0 with stated uncertainties; without it no voltage can be
            judged.
        """
        try:
            samples = np.array(volts, dtype=np.float64)
        except (TypeError, ValueError) as problem:
            raise CaptureError(f"Volts are real numbers in one row: {problem}.") from problem
        stated = calibration or VoltCalibration(id="undescribed", gain_v=1.0, offset_v=0.0)
        return cls(samples, interval_s, origin, stated, time_base)

    @classmethod
    def from_counts(
        cls,
        counts: npt.ArrayLike,
        interval_s: float,
        origin: str,
        *,
        calibration: VoltCalibration,
        time_base: TimeBase = UNKNOWN_TIME_BASE,
    ) -> Self:
        """Capture of raw converter counts, shape (n,) of an integer type, not copied.

        What a board knows besides is added by `recorded`.
        """
        samples = np.asarray(counts).view()
        if samples.dtype.kind not in "iu":
            raise CaptureError("Counts are whole numbers; use from_volts for volts.")
        return cls(samples, interval_s, origin, calibration, time_base)

    def recorded(
        self,
        *,
        gaps: Iterable[Gap] = (),
        converter_range: tuple[int, int] | None = None,
        first_tick: int | None = None,
    ) -> Self:
        """The same samples with what the board said about the record."""
        return replace(
            self, gaps=tuple(gaps), converter_range=converter_range, first_tick=first_tick
        )

    @property
    def duration_s(self) -> float:
        """Length by the sample count and the samples known to be missing, in seconds."""
        return (self.samples.size + sum(gap.missing for gap in self.gaps)) * self.interval_s

    def volts(self, samples: npt.ArrayLike | None = None) -> Floats:
        """Volts at the contact of `samples` (default: all), shape as given."""
        raw = self.samples if samples is None else samples
        line = self.calibration
        return np.asarray(raw, dtype=np.float64) * line.gain_v + line.offset_v

    def sha256(self) -> str:
        """Hash of the raw samples (little endian) and their type."""
        raw = np.ascontiguousarray(self.samples)
        little = raw.astype(raw.dtype.newbyteorder("<"), copy=False)
        return hashlib.sha256(little.dtype.str.encode() + little.tobytes()).hexdigest()


@dataclass(frozen=True, slots=True, eq=False)
class EdgeRecord:
    """Comparator edges at 0 V, time-stamped by a counter.

    Parameters
    ----------
    times : int64, shape (n,), ticks in rising order, read-only.
    rising : bool, shape (n,), read-only.
    tick_s : seconds per tick by the nominal rate of the time base.
    origin : where it comes from.
    time_base : the clock.
    width_bias : what the comparator adds to a high pulse.
    gaps : places where edges are missing: `index` of the first edge after each.
    quantum_ticks : resolution of the counter in ticks.

    Raises
    ------
    CaptureError : shapes differ, times fall back, `tick_s` not positive.
    """

    times: npt.NDArray[np.int64]
    rising: npt.NDArray[np.bool_]
    tick_s: float
    origin: str
    time_base: TimeBase
    width_bias: WidthBias
    gaps: tuple[Gap, ...] = ()
    quantum_ticks: int = 1

    def __post_init__(self) -> None:
        if self.times.ndim != 1 or self.times.shape != self.rising.shape:
            raise CaptureError("Edge times and directions differ in length; record them again.")
        if self.times.size > 1 and bool((np.diff(self.times) < 0).any()):
            raise CaptureError("Edge times fall back; the board's clock or the link is at fault.")
        if not (np.isfinite(self.tick_s) and self.tick_s > 0):
            raise CaptureError("The edge counter's tick is not a positive time.")
        self.times.flags.writeable = False
        self.rising.flags.writeable = False
