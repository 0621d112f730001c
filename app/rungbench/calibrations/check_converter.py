"""The board's check of itself: what ground, references and the ramp say of the converter."""

import math
from collections.abc import Iterable, Sequence
from typing import Final

import numpy as np
import numpy.typing as npt

from rungbench.calibrations.check_line import CheckLine, Line
from rungbench.link.messages import Channel, SampleBlock

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

_TOP: Final = 1023
# Offset and absolute accuracy of the converter are 2 counts by its data sheet (from memory); the
# pair of resistors adds half a count.
_GROUND_MOST: Final = 2.0
_HALF: Final = 512.0
_HALF_OFF: Final = 3.0
# 1.0 to 1.2 V by the data sheet of the microcontroller (from memory), at 4.096 V.
_INTERNAL: Final = (250.0, 300.0)
_NOISIEST: Final = 1.5
# A pilot from -12.6 to +12.6 V (IEC 61851-1:2017 Table A.2) lies between these counts.
_PILOT: Final = (82, 941)
# A code that should have been met so often and never was, is missing: by chance once in 160,000.
_SURE: Final = 12.0
_AROUND: Final = 16
_WIDEST_GAP: Final = 0.35  # of a sample interval, between the places where ramps begin
_FEWEST_RAMPS: Final = 6


def converter_lines(blocks: Iterable[SampleBlock]) -> list[CheckLine]:
    """Everything that the blocks of the board's own channels tell."""
    by_channel: dict[int, list[SampleBlock]] = {}
    for block in blocks:
        by_channel.setdefault(block.channel, []).append(block)
    counts = {
        channel: np.concatenate([block.counts for block in found]).astype(np.float64)
        for channel, found in by_channel.items()
    }
    lines = [
        _ground(counts.get(Channel.GROUND)),
        _within(
            Line.HALF,
            counts.get(Channel.HALF_REFERENCE),
            (_HALF - _HALF_OFF, _HALF + _HALF_OFF),
            "check the reference and the pair of resistors at A2",
        ),
        _within(
            Line.INTERNAL,
            counts.get(Channel.INTERNAL_REFERENCE),
            _INTERNAL,
            "the reference at AREF is not the 4.096 V that it should be",
        ),
        _noise(counts.get(Channel.HALF_REFERENCE)),
    ]
    return [*lines, missing_codes(by_channel.get(Channel.RAMP, []))]


def _ground(counts: Floats | None) -> CheckLine:
    if counts is None:
        return CheckLine.nothing(Line.GROUND)
    mean = float(counts.mean())
    text = f"{mean:.2f} counts at the converter's ground"
    figures = {"mean_counts": mean}
    if mean > _GROUND_MOST:
        return CheckLine.fault(
            Line.GROUND, f"{text}, at most {_GROUND_MOST:g} expected; check its ground", figures
        )
    return CheckLine.sound(Line.GROUND, text, figures)


def _within(
    line: Line, counts: Floats | None, bounds: tuple[float, float], remedy: str
) -> CheckLine:
    if counts is None:
        return CheckLine.nothing(line)
    mean = float(counts.mean())
    u = float(counts.std()) / math.sqrt(counts.size)
    low, high = bounds
    text = f"{mean:.2f} counts, {low:g}..{high:g} expected"
    figures = {"mean_counts": mean, "u_counts": math.hypot(u, 1.0 / math.sqrt(12.0))}
    if not low <= mean <= high:
        return CheckLine.fault(line, f"{text}; {remedy}", figures)
    return CheckLine.sound(line, text, figures)


def _noise(counts: Floats | None) -> CheckLine:
    """Noise without the dither, which is added to the pilot alone."""
    if counts is None:
        return CheckLine.nothing(Line.NOISE)
    rms = float(counts.std())
    text = f"{rms:.2f} counts rms at half the reference"
    figures = {"rms_counts": rms}
    if rms > _NOISIEST:
        return CheckLine.fault(
            Line.NOISE, f"{text}, at most {_NOISIEST:g} expected; check supply and layout", figures
        )
    return CheckLine.sound(Line.NOISE, text, figures)


def missing_codes(blocks: Sequence[SampleBlock]) -> CheckLine:
    """Codes that the ramps passed by and the converter never gave."""
    ramps = list(_bursts(blocks))
    phases = np.array([phase for ramp in ramps if (phase := _phase(ramp)) is not None])
    if phases.size < _FEWEST_RAMPS:
        return CheckLine.doubt(
            Line.CODES, f"Only {phases.size} ramps pass the middle; check the ramp at D9 and A1."
        )
    gap = _widest_gap(phases)
    if gap > _WIDEST_GAP:
        return CheckLine.doubt(
            Line.CODES,
            "The ramp always begins at the same place between two samples, so that most codes "
            "are never met; update the firmware.",
            {"widest_gap_of_interval": gap},
        )
    hits = np.bincount(np.concatenate(ramps).astype(np.int64), minlength=_TOP + 1)
    expected = _expected(hits)
    looked = np.flatnonzero(expected >= _SURE)
    looked = looked[(looked > 1) & (looked < _TOP - 1)]
    missing = looked[hits[looked] == 0]
    return _codes_line(looked, missing, len(ramps))


def _codes_line(looked: Ints, missing: Ints, ramps: int) -> CheckLine:
    low, high = _PILOT
    seen = looked[(looked >= low) & (looked <= high)]
    if seen.size < 0.99 * (high - low + 1):
        return CheckLine.doubt(
            Line.CODES,
            f"{ramps} ramps meet only {seen.size} of the codes {low}..{high} often enough; check "
            "for longer.",
            {"ramps": float(ramps), "codes": float(seen.size)},
        )
    figures = {
        "ramps": float(ramps),
        "first_code": float(looked.min()),
        "last_code": float(looked.max()),
        "missing": float(missing.size),
    }
    text = f"none missing from {looked.min()} to {looked.max()}, {ramps} ramps"
    if missing.size:
        named = ", ".join(str(code) for code in missing[:8])
        text = f"{missing.size} missing: {named}; replace the microcontroller"
        return CheckLine.fault(Line.CODES, text, figures)
    return CheckLine.sound(Line.CODES, text, figures)


def _bursts(blocks: Sequence[SampleBlock]) -> Iterable[Floats]:
    """Whole ramps: blocks that follow one another without a break."""
    run: list[SampleBlock] = []
    for block in blocks:
        if run and not _follows(run[-1], block):
            yield np.concatenate([piece.counts for piece in run]).astype(np.float64)
            run = []
        run.append(block)
    if run:
        yield np.concatenate([piece.counts for piece in run]).astype(np.float64)


def _follows(before: SampleBlock, after: SampleBlock) -> bool:
    due = before.tick + before.counts.size * before.interval_ticks
    return after.index == before.index + before.counts.size and after.tick == due


def _phase(ramp: Floats) -> float | None:
    """Where, within a sample interval, a ramp passes the middle; None where it does not."""
    above = ramp > _HALF
    turns = np.flatnonzero(above[1:] != above[:-1])
    if turns.size == 0:
        return None
    near = np.arange(max(0, turns[0] - 5), min(ramp.size, turns[0] + 7))
    slope, start = np.polyfit(near, ramp[near], 1)
    return float((_HALF - start) / slope) % 1.0 if slope else None


def _widest_gap(phases: Floats) -> float:
    """Widest part of the circle of phases without one."""
    ordered = np.sort(phases)
    return float(np.diff(np.append(ordered, ordered[0] + 1.0)).max())


def _expected(hits: Ints) -> Floats:
    """How often each code should be met: as its neighbours are, on the side that is met less.

    Where a ramp begins or ends its codes pile up; a mean over both sides would let the pile speak
    for codes beside it that are passed in one step.
    """
    beside = np.full(_AROUND, np.nan)
    padded = np.concatenate([beside, hits.astype(np.float64), beside])
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * _AROUND + 1)[1:-1]
    sides = (windows[:, :_AROUND], windows[:, _AROUND + 1 :])
    medians = [np.nanmedian(side, axis=1) for side in sides]
    return np.concatenate([[0.0], np.minimum(*medians), [0.0]])
