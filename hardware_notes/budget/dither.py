"""What the converter's steps leave in the mean of a plateau, with the dither of sheet 2.

The dither is a triangle of about two steps from an R-C oscillator.  Averaged over all of its
phases it would leave nothing.  But its frequency is not known better than its parts, and where it
beats with the converter or with the pilot a record meets few of its phases.
"""

import math
from dataclasses import dataclass

import front_end_values as fe
import numpy as np
import standin_design as design
from numpy.typing import NDArray

Times = NDArray[np.float64]

MODES = {"burst10": 416, "stream10": 832}  # ticks from sample to sample
BURST, BURST_TICKS = 500, 400_000
TICKS_PER_S = 16e6
RECORD_S = 0.2
PILOTS_HZ = (999.6, 1000.0, 1003.0)
SETTLED = (0.03, 0.25)  # of a period: the upper plateau at 16 A
SPREAD = 0.04  # of the frequency: 1 % and 2 % of its parts, 1 % of the oscillator's thresholds
LEVELS, PHASES, FREQUENCIES = 12, 6, 161


def dither_hz() -> float:
    """Frequency of the oscillator: it swings between a third and two thirds of its supply."""
    return 1.0 / (2.0 * math.log(2.0) * design.DITHER_TIMING_OHM * design.DITHER_TIMING_F)


def triangle(turns: Times) -> Times:
    """The swing in volts per volt of its whole height, about its middle: two exponentials."""
    place = turns % 1.0
    part = np.where(place < 0.5, place, place - 0.5) * 2.0
    falling = 2.0 * np.exp(-part * math.log(2.0)) - 1.5
    return np.where(place < 0.5, -falling, falling)


def sample_times(mode: str) -> Times:
    """Seconds at which a mode samples."""
    ticks = MODES[mode]
    if mode == "burst10":
        bursts = np.arange(int(RECORD_S * TICKS_PER_S / BURST_TICKS))[:, None] * BURST_TICKS
        return np.asarray(bursts + np.arange(BURST) * ticks, float).ravel() / TICKS_PER_S
    return np.arange(int(RECORD_S * TICKS_PER_S / ticks)) * ticks / TICKS_PER_S


def left_steps(mode: str, hertz: float, noise_steps: float, dice: np.random.Generator) -> float:
    """Largest error of a plateau's mean in steps, over levels, phases and pilots."""
    times, worst = sample_times(mode), 0.0
    height = fe.dither_v() / fe.step_v()
    levels = np.arange(LEVELS) / LEVELS
    for pilot_hz in PILOTS_HZ:
        place = (times * pilot_hz + dice.uniform()) % 1.0
        taken = times[(place > SETTLED[0]) & (place < SETTLED[1])]
        for phase in dice.uniform(size=PHASES):
            moved = height * triangle(taken * hertz + phase)
            moved = moved + noise_steps * dice.standard_normal(taken.size)
            means = np.rint(levels[:, None] + moved).mean(axis=1)
            worst = max(worst, float(np.max(np.abs(means - levels))))
    return worst


@dataclass(frozen=True, slots=True)
class Left:
    """Steps left at the worst frequency, and at 95 % of them."""

    worst: float
    usual: float


def left(mode: str, noise_steps: float) -> Left:
    """Over all frequencies that the parts allow."""
    dice = np.random.default_rng(1)
    around = dither_hz() * np.linspace(1.0 - SPREAD, 1.0 + SPREAD, FREQUENCIES)
    found = [left_steps(mode, float(hertz), noise_steps, dice) for hertz in around]
    return Left(max(found), float(np.percentile(found, 95)))


def rows() -> tuple[list[str], list[list[str]]]:
    """The table of the page."""
    made = []
    for mode in MODES:
        for noise in (0.0, 0.2):
            found = left(mode, noise)
            worst, usual = (1e3 * fe.step_v() * steps for steps in (found.worst, found.usual))
            made.append([mode, f"{noise:g}", f"{found.worst:.2f}", f"{worst:.1f}", f"{usual:.1f}"])
    head = ["mode", "noise of the converter (steps RMS)", "worst (steps)", "worst (mV)"]
    return [*head, "95 % of the frequencies within (mV)"], made
