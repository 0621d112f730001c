"""When a measurement has something to say besides its numbers."""

import math

import numpy as np

from pilotsignal.capture import Capture
from pilotsignal.edges import Edges
from pilotsignal.evaluate import Context
from pilotsignal.modelled import ModelledWave
from pilotsignal.notices import Notice
from pilotsignal.periodic import PeriodicFit
from pilotsignal.plateaus import Plateau
from pilotsignal.quantity import Quantity
from pilotsignal.timing import Floats

_ACCURACY = 0.005  # IEC 61851-1:2017 A.4.4 asks for 0.5 % of the voltage
_WIDE_GAP = 0.2  # of a sample interval
_SETTLED = 3  # samples of a pulse
_SEEN = 2.0  # samples: what is left of a shorter pulse may look like a spike on the other level
_MAINS_HZ = (50.0, 60.0, 100.0, 120.0, 150.0, 180.0)


def of_record(capture: Capture) -> list[Notice]:
    """Remarks on the record itself: gaps, clipping, no calibration."""
    notes = []
    if capture.gaps:
        lost = sum(gap.missing for gap in capture.gaps)
        text = f"{lost} samples are missing in {len(capture.gaps)} places; times count them."
        notes.append(Notice("missing-samples", text))
    if capture.converter_range is not None:
        lowest, highest = capture.converter_range
        reached = (capture.samples.min() <= lowest, capture.samples.max() >= highest)
        ends = [
            int(np.count_nonzero(capture.samples == end)) if met else 0
            for end, met in zip((lowest, highest), reached, strict=True)
        ]
        if max(ends) > 0.001 * capture.samples.size:
            text = f"{sum(ends)} samples are at the end of the converter's range: levels are cut."
            notes.append(Notice("clipped", text))
    if not capture.calibration.described:
        text = (
            "Nobody stated gain and offset uncertainty: the voltages carry only what the samples"
            " show and cannot be judged."
        )
        notes.append(Notice("uncalibrated", text))
    return notes


def no_pwm(volts: float) -> Notice:
    """A steady level."""
    return Notice("no-pwm", f"The pilot is steady at {volts:.2f} V: there is no PWM to measure.")


def noisy(sigma_v: float) -> Notice:
    """No level worth the name."""
    text = f"No level: the samples scatter by {sigma_v:.2g} V. Check the connection and the range."
    return Notice("not-pilot", text)


def too_few(edges: int) -> Notice:
    """Not enough edges for a period."""
    text = f"Only {edges} edges: record at least three periods for frequency and duty."
    return Notice("too-few-periods", text)


def too_short(samples: float) -> Notice:
    """Pulses that fall between the samples."""
    text = f"A pulse lasts only {samples:.1f} sample intervals: sample faster."
    return Notice("edges-unresolved", text)


def not_rectangular(settled: float) -> Notice:
    """A waveform without plateaus."""
    text = f"Only {100 * settled:.0f} % of the samples lie near two levels: no rectangular wave."
    return Notice("not-pilot", text)


def not_periodic(share: float) -> Notice:
    """Edges that follow no comb."""
    text = f"The edges scatter by {100 * share:.0f} % of a period around any regular spacing."
    return Notice("not-periodic", text)


def of_fit(context: Context, fit: PeriodicFit, edges: Edges) -> list[Notice]:
    """Remarks on a fitted waveform."""
    count = fit.comb.rise_cycle.size + fit.comb.fall_cycle.size
    spikes = edges.spikes + fit.high.outliers + fit.low.outliers
    notes = _of_levels(context, (fit.high, fit.low), spikes, count)
    if fit.comb.cycles < 3:
        notes.append(too_few(count))
    return notes + _coherent(context, fit)


def of_model(context: Context, wave: ModelledWave, edges: Edges) -> list[Notice]:
    """Remarks on a waveform that the model explains."""
    spikes = edges.spikes + wave.outliers
    if min(wave.width, wave.period - wave.width) >= _SEEN:
        spikes += wave.high.outliers + wave.low.outliers
    notes = _of_levels(context, (wave.high, wave.low), spikes, wave.edges)
    if wave.cycles < 3:
        notes.append(too_few(wave.edges))
    return notes


def _of_levels(
    context: Context, found: tuple[Plateau, Plateau], spikes: int, count: int
) -> list[Notice]:
    high, low = found
    notes = of_spikes(max(spikes, _beyond(context, found, count)))
    notes += of_hum(context, [high, low])
    noise = max(context.levels.noise, high.sigma, low.sigma, context.levels.step / math.sqrt(12.0))
    contrast = context.levels.swing / max(noise, 1e-300)
    if contrast < 25.0 or context.levels.swing < 20.0 * context.levels.step:
        text = f"The swing is only {contrast:.0f} times the noise: use a smaller range."
        notes.append(Notice("low-contrast", text))
    return notes


def of_voltages(high: Quantity | None, low: Quantity | None, described: bool) -> list[Notice]:
    """Remarks on plateaus in volts."""
    notes = []
    if high and low and 10.5 < high.value < 13.5 and -10.0 < low.value < -1.0:
        text = (
            f"{high.value:.1f} and {low.value:.1f} V: the leads may be swapped, or the negative"
            " rail is missing its level."
        )
        notes.append(Notice("inverted", text))
    coarse = [q for q in (high, low) if q and described and _too_coarse(q)]
    if coarse:
        worst = max(coarse, key=lambda q: q.expanded() / max(abs(q.value), 1.0))
        text = (
            f"U of {worst.name} is {worst.expanded() * 1e3:.0f} mV, more than the 0.5 % that the"
            " voltage measurement needs."
        )
        notes.append(Notice("coarse-voltage", text))
    return notes


def unresolved(missing: list[str]) -> list[Notice]:
    """Edge times that the samples do not carry."""
    if not missing:
        return []
    text = f"The sampling does not resolve the edges: no {' and '.join(missing)} time."
    return [Notice("edges-unresolved", text)]


def no_zero_crossing() -> Notice:
    """A waveform that is not the pilot's."""
    text = "The signal does not pass 0 V with room on both sides: no width at 0 V."
    return Notice("not-pilot", text)


def of_hum(context: Context, found: list[Plateau]) -> list[Notice]:
    """A mains frequency in the plateaus, where the record is long enough to tell."""
    # Of a pulse of so few samples none may have settled: edges would pass for hum.
    known = [p for p in found if p.means.size >= 8 and p.samples >= _SETTLED * p.means.size]
    if not known:
        return []
    values = np.concatenate([p.means - p.value for p in known])
    times = np.concatenate([p.places for p in known]) * context.capture.interval_s
    expected = max(p.sigma / math.sqrt(max(1.0, p.samples / p.means.size)) for p in known)
    expected = max(expected, 0.3 * context.levels.step)
    total = math.sqrt(float((values * values).sum()) / values.size)
    if total <= 3.0 * expected or np.ptp(times) < 0.02:
        return []
    best, hertz = max((_explained(times, values, f), f) for f in _MAINS_HZ)
    if best < 0.5:
        return []
    volts = total * math.sqrt(2.0) * abs(context.capture.calibration.gain_v)
    return [Notice("hum", f"The levels swing by {volts * 1e3:.0f} mV at {hertz:.0f} Hz.")]


def _explained(times: Floats, values: Floats, hertz: float) -> float:
    """Share of the variance that a sine of one frequency explains."""
    angle = 2.0 * np.pi * hertz * times
    design = np.column_stack((np.cos(angle), np.sin(angle), np.ones_like(angle)))
    fitted = design @ np.linalg.lstsq(design, values, rcond=None)[0]
    return 1.0 - float(np.sum((values - fitted) ** 2) / np.sum(values**2))


def _beyond(context: Context, found: tuple[Plateau, Plateau], edges: int) -> int:
    """Samples far beyond both levels; where most edges have some, they are overshoot."""
    high, low = found
    samples, swing = context.capture.samples, context.levels.swing
    reach = max(8.0 * high.sigma, 8.0 * low.sigma, 0.1 * swing)
    top, bottom = high.value + reach, low.value - reach
    if samples.max() <= top and samples.min() >= bottom:
        return 0
    count = int(np.count_nonzero(samples > top) + np.count_nonzero(samples < bottom))
    return count if count < 0.5 * edges else 0


def of_spikes(count: int) -> list[Notice]:
    """Samples far off their level."""
    if count == 0:
        return []
    subject = "1 sample lies" if count == 1 else f"{count} samples lie"
    text = f"{subject} far off the level and out of the means: a spike, or a loose contact."
    return [Notice("outliers", text)]


def _coherent(context: Context, fit: PeriodicFit) -> list[Notice]:
    worst = max((fit.rise.middle, fit.fall.middle), key=lambda c: c.bound)
    bound_us = worst.bound * context.interval_us
    # Phases that go on and on leave a gap of one or two shares of an interval, in so many shares as
    # there were periods. One of a fifth of an interval, or of 20 shares, comes from phases that
    # repeat.
    locked = fit.comb.cycles >= 10 and worst.gap > min(_WIDE_GAP, 20.0 / fit.comb.cycles)
    if not locked or bound_us < 0.05 or bound_us < 3.0 * worst.u * context.interval_us:
        return []
    text = (
        f"The sampling is locked to the signal: an edge is known to +/- {bound_us:.2f} us only,"
        " however long the record."
    )
    return [Notice("coherent-sampling", text)]


def _too_coarse(quantity: Quantity) -> bool:
    return quantity.expanded() > _ACCURACY * max(abs(quantity.value), 1.0)
