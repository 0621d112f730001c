"""The board's clocks: the converter's against the timer, and the timer against the computer's."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from rungbench.calibrations.check_line import CheckLine, Line
from rungbench.link.messages import TICK_S, SampleBlock
from rungbench.link.words import Oscillator

# Converter and timer run on one oscillator: a ratio that is off is a fault of the program in it.
_PACE_MOST: Final = 1e-3
# The clock of a computer: a crystal of some tens of ppm, and the system steers it towards the time
# of day by at most 500 ppm (common practice, no source).
_PC_BOUND: Final = 500e-6
_BOARD_BOUND: Final = {Oscillator.CRYSTAL: 50e-6, Oscillator.RESONATOR: 5e-3}
_UNKNOWN_BOUND: Final = 5e-3
_FEWEST: Final = 20
_PASSES: Final = 3


def pace_line(blocks: Sequence[SampleBlock]) -> CheckLine:
    """Ticks from block to block against the samples between them, by their running numbers."""
    if len(blocks) < _FEWEST:
        return CheckLine.doubt(Line.PACE, "Too few samples came; check the link.")
    ticks = np.array([block.tick for block in blocks], np.float64)
    numbers = np.array([block.index for block in blocks], np.float64)
    interval = blocks[0].interval_ticks
    ticks, numbers = ticks - ticks[0], numbers - numbers[0]
    slope, start = np.polyfit(numbers, ticks, 1)
    off = float(slope) / interval - 1.0
    rest = ticks - slope * numbers - start
    jitter_us = float(np.abs(rest).max()) * TICK_S * 1e6
    figures = {"off_relative": off, "largest_rest_us": jitter_us}
    text = f"{slope:.4f} ticks a sample, {interval} by design; largest rest {jitter_us:.2f} us"
    if abs(off) > _PACE_MOST:
        return CheckLine.fault(Line.PACE, f"{text}; update the firmware", figures)
    return CheckLine.sound(Line.PACE, text, figures)


def lost_line(blocks: Sequence[SampleBlock], frames_lost: int) -> CheckLine:
    """Conversions that the ticks have room for and the running number does not count."""
    skipped = unseen = 0
    for before, after in zip(blocks, blocks[1:], strict=False):
        numbered = after.index - before.index
        skipped += numbered - before.counts.size
        room = (after.tick - before.tick) / before.interval_ticks
        unseen += max(0, round(room - numbered))
    figures = {
        "not_counted": float(unseen),
        "not_arrived": float(skipped),
        "frames_lost": float(frames_lost),
    }
    text = f"{unseen} lost in the board, {skipped} counted and not arrived"
    if unseen:
        return CheckLine.fault(Line.LOST, f"{text}; update the firmware", figures)
    if skipped:
        return CheckLine.fault(Line.LOST, f"{text}; check the USB cable and the computer", figures)
    return CheckLine.sound(Line.LOST, text, figures)


@dataclass(frozen=True, slots=True)
class Beat:
    """A report of the board: its tick, and when it arrived by the computer's clock."""

    tick: int
    arrived_s: float


def board_clock_line(beats: Sequence[Beat], oscillator: Oscillator) -> CheckLine:
    """The board's rate by the computer's clock: a check of plausibility, no calibration.

    Reports arrive late, never early: the least late of the first and of the last third tell the
    rate.
    """
    third = len(beats) // 3
    if third < 3:
        return CheckLine.doubt(Line.CLOCK, "Too few reports came; check for longer.")
    ticks = np.array([beat.tick - beats[0].tick for beat in beats]) * TICK_S
    arrived = np.array([beat.arrived_s - beats[0].arrived_s for beat in beats])
    scale, rooms = 1.0, [0.0, 0.0]
    first, last = 0, len(beats) - 1
    for _ in range(_PASSES):
        # By the rate found so far, so that a clock that is far off does not look unsteady.
        late = arrived - scale * ticks
        head, tail = late[:third], late[-third:]
        first, last = int(np.argmin(head)), int(np.argmin(tail)) + len(beats) - third
        scale = float((arrived[last] - arrived[first]) / (ticks[last] - ticks[first]))
        # How late half of them come is taken as what the least late one may still be late.
        rooms = [float(np.median(part) - part.min()) for part in (head, tail)]
    span = float(ticks[last] - ticks[first])
    u = math.hypot(math.hypot(*rooms) / span, _PC_BOUND) / math.sqrt(3.0)
    return _clock_verdict(1.0 / scale - 1.0, 2.0 * u, (span, float(ticks[-1])), oscillator)


def _clock_verdict(
    fast: float, expanded: float, spans_s: tuple[float, float], oscillator: Oscillator
) -> CheckLine:
    """`spans_s`: between the two reports that came least late, and of all reports."""
    span, whole = spans_s
    bound = _BOARD_BOUND.get(oscillator, _UNKNOWN_BOUND)
    figures = {"off_relative": fast, "expanded_uncertainty": expanded, "span_s": span}
    text = (
        f"{fast * 1e6:+.0f} ± {expanded * 1e6:.0f} ppm against this computer over {span:.0f} of "
        f"{whole:.0f} s; "
        f"{oscillator}, {bound * 1e6:.0f} ppm"
    )
    if abs(fast) > bound + expanded:
        return CheckLine.fault(
            Line.CLOCK,
            f"{text}; this is another oscillator than the board says, or a damaged one",
            figures,
        )
    return CheckLine.sound(Line.CLOCK, text, figures)
