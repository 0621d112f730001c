"""Equivalent-time view: all samples of a capture laid over one another at the measured period.

A record of many periods, sampled at any rate that is not locked to them, holds samples at many
more places of the waveform than one period does.  Laid over one another they draw it as a faster
instrument would.  Two things limit what the drawing shows: the largest gap between places, and
whatever moves the periods against each other (a wrong period, jitter, drift), which smears it.
Both are stated; where the second would pass for the edge's own shape, the fold is refused with
the figure.

References
----------
.. [1] IEEE Std 181-2011 and IEC 60469:2013: state levels, waveform amplitude, reference level
   instants, transition duration, overshoot, transition settling duration.
.. [2] IEEE Std 1057-2017, 4.1.4 (equivalent-time sampling: record length and coherent rates).
"""

import math
from dataclasses import dataclass
from typing import Final, TypeVar

import numpy as np
import numpy.typing as npt

from pilotsignal.budget import RECTANGULAR, clock_rows, combine, half_width, type_a
from pilotsignal.calibration_rows import volt_rows
from pilotsignal.capture import Capture
from pilotsignal.errors import FoldError
from pilotsignal.fold_bins import Bins, Turn, bins_for, fill, widest_gap
from pilotsignal.fold_edges import Read, Stretch, instant, transition
from pilotsignal.fold_smear import Smear, smear_of
from pilotsignal.fold_tails import overshoot, settling, time_constant
from pilotsignal.measure import PilotMeasurement
from pilotsignal.notices import Notice
from pilotsignal.quantity import BudgetRow, Quantity
from pilotsignal.segments import Found, found_in
from pilotsignal.timing import Floats

_Number = TypeVar("_Number", np.float64, np.int64)

# 10 to 90 % of a Gaussian distribution, in standard deviations: a smear makes an ideal step last so
# long. An edge that begins with a corner grows by nearly half of it, a smooth one by less.
_GAUSSIAN: Final = 2.563
_HIDES: Final = 0.25  # share of a transition above which a smear passes for its shape
_CALIBRATED: Final = 9  # voltages at which the calibration's share is worked out


@dataclass(frozen=True, slots=True)
class FoldOptions:
    """How to fold.

    Parameters
    ----------
    resolution_us : width of the bins; default: such that each holds two samples on average, a
        65,536th of the period at the least.  Stated, it is also what no smear may exceed.
    band : half width of the settling band as a share of the amplitude.  IEC 61851-1:2017 Table A.2
        has the generator settle to 95 %.
    knee_v : level at which the diode begins to conduct, a property of the stand-in (IEC
        61851-1:2017 Table A.3: 0.55 to 0.85 V).
    """

    resolution_us: float | None = None
    band: float = 0.05
    knee_v: float = 0.7

    def __post_init__(self) -> None:
        if self.resolution_us is not None and not self.resolution_us > 0:
            raise FoldError(f"A resolution of {self.resolution_us} us is not positive; state one.")
        if not 0 < self.band < 0.5:
            raise FoldError(f"A settling band of {self.band} is not between 0 and 0.5.")


@dataclass(frozen=True, slots=True)
class GapMap:
    """Largest distances between neighbouring places of samples in the period, in us."""

    overall_us: float
    rise_us: float
    fall_us: float
    held: float  # share of the bins that have samples


@dataclass(frozen=True, slots=True, eq=False)
class FoldedTransition:
    """One edge in equivalent time; a quantity that it cannot carry is None, with a notice.

    Parameters
    ----------
    begin, end : its bins among those of the fold, `end` not included.
    at_us : 50 % instant on the fold's axis.
    duration_us : transition duration, 10 to 90 %.
    overshoot_percent : of the waveform amplitude; 0 where none exceeds the noise.
    settling_us : transition settling duration, from the 50 % instant into the band for good.
    time_constant_us : of the exponential beyond the diode's knee: above it on the rising edge
        (source and load in parallel, times capacitance), below it on the falling one (source
        times capacitance).
    smear_us : standard deviation by which single edges lie beside the folded one.
    """

    begin: int
    end: int
    at_us: float
    duration_us: Quantity | None
    overshoot_percent: Quantity | None
    settling_us: Quantity | None
    time_constant_us: Quantity | None
    smear_us: float


@dataclass(frozen=True, slots=True, eq=False)
class Folded:
    """One period in equivalent time.

    Parameters
    ----------
    phase_us : float64, shape (n,), rising, read-only: mean time of each bin's samples, in us
        by the true rate, after the 50 % instant of the rising edge.
    mean_v : float64, shape (n,), read-only: mean of each bin, V.
    u_v : float64, shape (n,), read-only: its standard uncertainty, V: scatter, what a converter
        step leaves and the calibration, as far as stated.
    u_noise_v : float64, shape (n,), read-only: the part of it that differs from bin to bin.
    count : int64, shape (n,), read-only: samples in each bin, at least 1; empty bins are left out.
    period_us : of the fold.
    resolution_us : effective resolution: the largest of bin, gap around the edges and smear.
    bin_us : width of the bins.
    gaps : the gap map.
    rise, fall : the transitions.
    low_v, high_v : state levels.
    notices : what cannot be told, and why.
    """

    phase_us: Floats
    mean_v: Floats
    u_v: Floats
    u_noise_v: Floats
    count: npt.NDArray[np.int64]
    period_us: float
    resolution_us: float
    bin_us: float
    gaps: GapMap
    rise: FoldedTransition
    fall: FoldedTransition
    low_v: Quantity
    high_v: Quantity
    notices: tuple[Notice, ...]


def fold(
    capture: Capture, measurement: PilotMeasurement, options: FoldOptions | None = None
) -> Folded:
    """Lay all samples of a capture over one another.

    Parameters
    ----------
    capture : any length and rate, gaps included.
    measurement : of the same capture.
    options : resolution, band and knee.

    Raises
    ------
    FoldError : no frequency or no two plateaus were measured, the measurement is of another
        capture, or the periods move against each other by more than the resolution stated or a
        quarter of an edge; the figure is in the sentence.
    """
    options = options or FoldOptions()
    frame = _Frame.of(capture, measurement, options)
    view = frame.view()
    edges = {name: _Edge(frame, view, name) for name in ("rise", "fall")}
    told = {name: edge.read() for name, edge in edges.items()}
    notices = [note for edge in edges.values() for note in edge.notices]
    worst = max(edge.gap for edge in edges.values())
    smear = max(frame.smear.rise_us, frame.smear.fall_us)
    gaps = GapMap(
        widest_gap(view.places, frame.period_us),
        edges["rise"].gap,
        edges["fall"].gap,
        view.phase.size / view.number,
    )
    return Folded(
        _frozen(view.phase),
        _frozen(view.volts),
        _frozen(np.hypot(view.u_noise, frame.calibration_u(view.volts))),
        _frozen(view.u_noise),
        _frozen(view.count),
        frame.period_us,
        max(view.bin_us, worst, smear),
        view.bin_us,
        gaps,
        told["rise"],
        told["fall"],
        frame.low,
        frame.high,
        tuple(notices),
    )


def _frozen(values: npt.NDArray[_Number]) -> npt.NDArray[_Number]:
    values.flags.writeable = False
    return values


@dataclass(frozen=True, slots=True, eq=False)
class _View:
    """Bins in us and volts, the rising edge at 0."""

    phase: Floats
    volts: Floats
    u_noise: Floats
    count: npt.NDArray[np.int64]
    places: Floats
    number: int
    bin_us: float


@dataclass(frozen=True, slots=True, eq=False)
class _Frame:
    """What folding sets out from."""

    capture: Capture
    found: Found
    high: Quantity
    low: Quantity
    options: FoldOptions
    interval_us: float
    period: float
    smear: Smear

    @classmethod
    def of(cls, capture: Capture, measured: PilotMeasurement, options: FoldOptions) -> "_Frame":
        frequency, high, low = (
            measured.frequency_hz,
            measured.high_plateau_v,
            measured.low_plateau_v,
        )
        if frequency is None or high is None or low is None:
            raise FoldError(
                "No period and two levels were measured: there is nothing to fold; see the notices."
            )
        found = found_in(capture)
        interval_us = capture.interval_s * 1e6 / (1.0 + capture.time_base.correction)
        period = 1e6 / (frequency.value * interval_us)
        if found is None or abs(found.comb.period - period) * found.comb.cycles > 0.2 * period:
            raise FoldError("The measurement is not of this capture: measure it, then fold it.")
        smear = smear_of(capture, found, measured, period)
        return cls(capture, found, high, low, options, interval_us, period, smear)

    @property
    def period_us(self) -> float:
        return self.period * self.interval_us

    def view(self) -> _View:
        """Fill the bins; the period begins in the middle of a low pulse."""
        comb = self.found.comb
        lead = 0.5 * (self.period - comb.width)
        middle = 0.5 * comb.cycles  # of the record, where comb and period agree
        origin = comb.rise + middle * (comb.period - self.period) - lead
        stated = self.options.resolution_us
        number = bins_for(
            self.capture.samples.size, None if stated is None else self.period_us / stated
        )
        bins = fill(self.capture, Turn(self.period, origin), number)
        volts = self.capture.volts(bins.mean)
        phase = (bins.phase - lead) * self.interval_us
        places = (bins.places - lead) * self.interval_us
        shift = self._rise_at(phase, volts)
        width_us = bins.width(self.period) * self.interval_us
        noise = self._noise(bins, volts)
        return _View(phase - shift, volts, noise, bins.count, places - shift, number, width_us)

    def _rise_at(self, phase: Floats, volts: Floats) -> float:
        """The rising edge's 50 % instant before it is made the origin."""
        near = np.abs(phase) < 0.45 * self.found.comb.width * self.interval_us
        edge = Stretch(
            phase[near],
            volts[near],
            np.full(int(near.sum()), 1e-3),
            self.low.value,
            self.high.value,
            0.0,
            0.0,
        )
        at = instant(edge, 0.5) if near.sum() > 2 else None
        return 0.0 if at is None else at.value

    def _noise(self, bins: Bins, volts: Floats) -> Floats:
        """Standard uncertainty of each mean from scatter and rounding, V."""
        scale = abs(self.capture.calibration.gain_v)
        step = self.found.levels.step
        share = (volts - self.low.value) / (self.high.value - self.low.value)
        flat = (np.minimum(np.abs(share), np.abs(share - 1.0)) < 0.05) & (bins.count > 1)
        if flat.any():  # not those in which an edge begins
            flat &= bins.scatter <= 8.0 * float(np.median(bins.scatter[flat])) + step
        freedom = (bins.count - 1.0)[flat]
        pooled = self.found.levels.noise
        if freedom.sum() > 0:
            pooled = float(np.sqrt(np.sum(freedom * bins.scatter[flat] ** 2) / freedom.sum()))
        pooled = max(pooled, step / math.sqrt(12.0))
        # Few samples show their scatter badly; many in a bin on an edge show how steep it is there.
        known = np.where(bins.count > 8, np.maximum(bins.scatter, pooled), pooled)
        quiet = max(0.0, pooled**2 - step**2 / 12.0) / step**2 if step > 0 else 1.0
        rounding = 0.5 * step * math.exp(-2.0 * math.pi**2 * min(quiet, 1.0)) * RECTANGULAR
        return np.asarray(scale * np.hypot(known / np.sqrt(bins.count), rounding), np.float64)

    def calibration_u(self, volts: Floats) -> Floats:
        """What the calibration adds, V."""
        line = self.capture.calibration
        at = np.linspace(float(volts.min()), float(volts.max()), _CALIBRATED)
        u = [math.sqrt(sum(r.contribution**2 for r in volt_rows(line, float(v)))) for v in at]
        return np.interp(volts, at, u)


class _Edge:
    """One transition: its bins, what is read off it, and what cannot be."""

    def __init__(self, frame: _Frame, view: _View, name: str) -> None:
        self.frame, self.name = frame, name
        self.notices: list[Notice] = []
        width = frame.found.comb.width * frame.interval_us
        rough = 0.0 if name == "rise" else width
        before = 0.45 * (frame.period_us - width if name == "rise" else width)
        after = 0.9 * (width if name == "rise" else frame.period_us - width)
        self.begin, self.end, order = _around(view.phase, rough, (before, after), frame.period_us)
        self.time = view.phase[order] - rough
        self.time[self.time < -0.5 * frame.period_us] += frame.period_us
        levels = (frame.low.value, frame.high.value)
        self.levels = levels if name == "rise" else levels[::-1]
        self.volts, self.u = view.volts[order], view.u_noise[order]
        self.gap, self.view, self.rough = 0.0, view, rough
        stretch = self._stretch()
        at = instant(stretch, 0.5)
        self.at = at.value if at is not None else 0.0
        self.time = self.time - self.at
        self.gap = self._gap(stretch)

    def _stretch(self) -> Stretch:
        u = max(_noise_of(level) for level in (self.frame.low, self.frame.high))
        return Stretch(self.time, self.volts, self.u, *self.levels, u, self.gap)

    def _gap(self, stretch: Stretch) -> float:
        """Largest gap on the transition and as long again to both sides."""
        ends = [instant(stretch, share) for share in (0.1, 0.9)]
        span = max(e.value for e in ends if e) - min(e.value for e in ends if e) if all(ends) else 0
        middle = self.rough + self.at
        reach = max(float(span), self.view.bin_us)
        around = (middle - reach, middle + reach)
        return widest_gap(self.view.places, self.frame.period_us, around)

    def read(self) -> FoldedTransition:
        """All quantities.  Raises `FoldError` where the edge is smeared."""
        stretch = self._stretch()
        took = transition(stretch)
        smear, at = self.frame.smear.of(self.name), self.rough + self.at
        self._refuse(smear, took)
        if took is None:
            text = (
                f"The samples lie up to {self.gap:.3g} us apart around the {self._word()} edge:"
                " its shape is not resolved."
            )
            self.notices.append(Notice("edges-unresolved", text))
            return FoldedTransition(self.begin, self.end, at, None, None, None, None, smear)
        return FoldedTransition(
            self.begin, self.end, at, *self._quantities(stretch, took, smear), smear
        )

    def _word(self) -> str:
        return "rising" if self.name == "rise" else "falling"

    def _refuse(self, smear: float, took: Read | None) -> None:
        stated = self.frame.options.resolution_us
        why = self.frame.smear.why(self.name)
        if stated is not None and smear > stated:
            raise FoldError(
                f"Single {self._word()} edges lie {smear:.3g} us (standard deviation) beside one"
                f" another ({why}), more than the resolution of {stated:.3g} us; state a coarser"
                " one, or record a steadier signal."
            )
        shown = max(self.gap, self.view.bin_us)
        if smear > shown and (took is None or smear > _HIDES * took.value):
            edge = "edge" if took is None else f"edge of {took.value:.3g} us"
            raise FoldError(
                f"Single {self._word()} edges lie {smear:.3g} us (standard deviation) beside one"
                f" another ({why}): at a resolution of {shown:.3g} us that would pass for the"
                f" shape of the {edge}; record a shorter or a steadier stretch."
            )

    def _quantities(
        self, stretch: Stretch, took: Read, smear: float
    ) -> tuple[Quantity | None, Quantity | None, Quantity | None, Quantity | None]:
        smeared = half_width(self._id("smear"), "smear of the fold", 0.5 * _GAUSSIAN * smear, "us")
        settled = settling(stretch, self.frame.options.band, took.value)
        if settled is None:
            self._hidden(f"settling to {100 * self.frame.options.band:g} %", "noise hides the band")
        tau = time_constant(stretch, self.frame.options.knee_v)
        if tau is not None and tau.bound > 0.25 * tau.value:
            self._hidden("time constant", "what follows the knee is no exponential")
            tau = None
        elif tau is None:
            self._hidden("time constant", "too few samples lie beyond the diode's knee")
        over = overshoot(stretch, took.value)
        return (
            self._time(f"folded_{self.name}_time_us", took, [smeared]),
            self._percent(over),
            None if settled is None else self._time(f"folded_{self.name}_settling_us", settled, []),
            None if tau is None else self._time(f"folded_{self.name}_tau_us", tau, [smeared]),
        )

    def _hidden(self, what: str, why: str) -> None:
        text = f"No {what} of the {self._word()} edge: {why}."
        self.notices.append(Notice("edges-unresolved", text))

    def _id(self, what: str) -> str:
        return f"fold-{what}-{self.name}@{self.frame.capture.origin}"

    def _rows(self, name: str, read: Read, unit: str) -> list[BudgetRow]:
        noise = type_a(self._id(f"noise-{name}"), "noise", read.u, unit, read.dof)
        rest = half_width(self._id(f"gap-{name}"), "gaps and shape of the fit", read.bound, unit)
        return [noise, rest]

    def _time(self, name: str, read: Read, more: list[BudgetRow]) -> Quantity:
        rows = [*self._rows(name, read, "us"), *more]
        rows += clock_rows(self.frame.capture.time_base, -read.value)
        return combine(name, "us", read.value, "equivalent time", rows)

    def _percent(self, read: Read) -> Quantity:
        name = f"folded_{self.name}_overshoot_percent"
        return combine(name, "%", read.value, "equivalent time", self._rows(name, read, "%"))


def _around(
    phase: Floats, middle: float, reach: tuple[float, float], period: float
) -> tuple[int, int, npt.NDArray[np.int64]]:
    """Bins from before to after a place: first, one after the last, and all in order of time."""
    begin = int(np.searchsorted(phase, middle - reach[0]))
    end = int(np.searchsorted(phase, middle + reach[1]))
    order = np.arange(begin, end)
    over = middle + reach[1] - (float(phase[0]) + period)
    if end == phase.size and over > 0:  # goes on at the beginning of the period
        order = np.append(order, np.arange(int(np.searchsorted(phase, phase[0] + over))))
    return begin, end, order.astype(np.int64)


def _noise_of(level: Quantity) -> float:
    """Standard uncertainty of a level without what it shares with the bins: the calibration."""
    own = [row for row in level.rows if row.id.startswith(("noise", "step"))]
    return math.sqrt(sum(row.contribution**2 for row in own))
