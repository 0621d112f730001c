"""A board against itself: what it takes is recorded here, in the order of the page."""

import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from rungbench.calibrations.check_clock import Beat, board_clock_line, lost_line, pace_line
from rungbench.calibrations.check_converter import converter_lines
from rungbench.calibrations.check_line import CheckLine, Line
from rungbench.errors import BenchError
from rungbench.link.messages import OPEN, Identity, Mode, Rung, Setting
from rungbench.standin.board import StandIn
from rungbench.standin.calibration import uncalibrated
from rungbench.standin.record import BoardRecord

CLOCK_S: Final = 60.0
_CHECK_S: Final = 6.5
_STREAM_S: Final = 2.0
_LEAST_DITHER: Final = 0.5
_MOST_DITHER: Final = 1.5
_EDGE: Final = 16.0  # counts from sample to sample
_SETTLING: Final = 4  # samples, 0.2 ms
_PIECE: Final = 32  # samples, 1.7 ms
_ROUNDING: Final = 1.0 / 12.0  # what rounding adds to a variance, in counts squared


@dataclass(frozen=True, slots=True)
class Extent:
    """How long the clocks are compared, 0 for not at all, and why not if so."""

    clock_s: float = CLOCK_S
    why_no_clock: str = ""


def check_board(
    standin: StandIn, extent: Extent, tell: Callable[[str], None]
) -> Iterator[CheckLine]:
    """Record, judge and hand out line by line; only rungs open and B are presented."""
    if Mode.CHECK10 in standin.identity.modes:
        tell("channels of the board")
        yield from converter_lines(standin.record(_CHECK_S, Mode.CHECK10).own)
    else:
        for line in (Line.GROUND, Line.HALF, Line.INTERNAL, Line.NOISE, Line.CODES):
            yield CheckLine.left_out(line, "This firmware has no mode check10; update it.")
    tell("samples of the pilot")
    standin.hold(OPEN)
    record = standin.record(_STREAM_S, Mode.STREAM10)
    yield _level(record, standin.identity)
    yield _dither(record)
    yield pace_line(record.pilot)
    yield lost_line(record.pilot, record.losses.frames_lost)
    tell("relays")
    yield _relays(standin)
    if extent.clock_s > 0.0:
        tell("clock")
        yield _clock(standin, extent.clock_s)
    else:
        yield CheckLine.left_out(Line.CLOCK, extent.why_no_clock or "It was left out.")
    yield _overruns(standin)


def _level(record: BoardRecord, identity: Identity) -> CheckLine:
    """What the contact shows, for whoever feeds a known voltage to a new board."""
    if record.capture is None:
        return CheckLine.nothing(Line.LEVEL)
    samples = record.capture.samples
    if int(samples.max()) - int(samples.min()) > _EDGE:
        low, high = (float(one) for one in np.percentile(samples, (5, 95)))
        text = f"not steady: counts from {low:.0f} to {high:.0f}"
        return CheckLine.shown(Line.LEVEL, text, {"low_counts": low, "high_counts": high})
    mean = float(samples.mean())
    line = uncalibrated(identity).volts
    text = f"{mean:.2f} counts, {line.gain_v * mean + line.offset_v:+.2f} V by design"
    return CheckLine.shown(Line.LEVEL, text, {"mean_counts": mean})


def _variance(samples: NDArray[np.integer[Any]], quiet: NDArray[np.bool_]) -> float:
    """Variance in counts squared on whatever levels there are; `quiet` from sample to sample.

    About the means of short pieces without an edge, so that hum is not in it. Differences from
    sample to sample would count twice what turns by half from one to the next, as dither may.
    """
    places = np.arange(samples.size)
    starts = np.concatenate(([0], np.flatnonzero(~quiet) + 1))
    runs = np.searchsorted(starts, places, side="right") - 1
    pieces = runs * samples.size + (places - starts[runs]) // _PIECE
    _, piece, sizes = np.unique(pieces, return_inverse=True, return_counts=True)
    values = samples - np.mean(samples, dtype=np.float64)
    squares = np.bincount(piece, values**2) - np.bincount(piece, values) ** 2 / sizes
    return float(np.sum(squares) / np.sum(sizes - 1))


def _dither(record: BoardRecord) -> CheckLine:
    """Noise of the pilot's samples, on whatever levels it has."""
    if record.capture is None:
        return CheckLine.nothing(Line.DITHER)
    steps = np.diff(record.capture.samples.astype(np.float64))
    # Edges of a pulsing pilot are left out, and what settles around them.
    edges = np.convolve(np.abs(steps) >= _EDGE, np.ones(2 * _SETTLING + 1), mode="same") > 0.5
    if np.count_nonzero(~edges) < 0.25 * steps.size:
        return CheckLine.doubt(Line.DITHER, "The pilot is never steady; check what is connected.")
    rms = max(0.0, _variance(record.capture.samples, ~edges) - _ROUNDING) ** 0.5
    figures = {"rms_counts": rms}
    text = f"{rms:.2f} counts rms at the pilot contact"
    if rms < _LEAST_DITHER:
        return CheckLine.shown(
            Line.DITHER,
            f"{text}; {_LEAST_DITHER:g} to 1 is wanted: without it a level between two counts "
            "cannot be told, and uncertainties grow",
            figures,
        )
    if rms > _MOST_DITHER:
        return CheckLine.shown(
            Line.DITHER,
            f"{text}, more than the {_MOST_DITHER:g} that dither is: the charger, hum or the "
            "wiring adds noise",
            figures,
        )
    return CheckLine.sound(Line.DITHER, text, figures)


def _relays(standin: StandIn) -> CheckLine:
    """The board reads its relay registers back and would fall open if they differed."""
    try:
        for setting in (Setting(Rung.B), OPEN):
            standin.hold(setting)
    except BenchError as problem:
        return CheckLine.fault(Line.RELAYS, str(problem))
    return CheckLine.sound(Line.RELAYS, "B and open were presented, and reported as asked for")


def _overruns(standin: StandIn) -> CheckLine:
    health = standin.health
    if health is None:
        return CheckLine.nothing(Line.OVERRUNS)
    lost = (health.overruns, health.dropped_edges, health.dropped_samples)
    text = "{} overruns, {} edges and {} samples dropped since hello".format(*lost)
    names = ("overruns", "dropped_edges", "dropped_samples")
    figures = {name: float(value) for name, value in zip(names, lost, strict=True)}
    if any(lost):
        return CheckLine.fault(Line.OVERRUNS, f"{text}; update the firmware", figures)
    return CheckLine.sound(Line.OVERRUNS, text, figures)


def _clock(standin: StandIn, seconds: float) -> CheckLine:
    """Reports as they arrive, for a while."""
    beats: list[Beat] = []

    def note() -> bool:
        health = standin.health
        if health is not None and (not beats or beats[-1].tick != health.tick):
            beats.append(Beat(health.tick, time.monotonic()))
        return False

    standin.wait_until(note, seconds)
    return board_clock_line(beats, standin.identity.oscillator)
