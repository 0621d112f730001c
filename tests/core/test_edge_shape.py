"""The fitted shape: the synthetic edges in other words, and derivatives that are derivatives."""

import math

import numpy as np
import pytest

from pilotsignal.edge_shape import NAMES, Shape, draw, trace
from pilotsignal.synth import Circuit, KneeRelaxation, Ramp, Relaxation

KNEE = Shape(-12.0, 9.0, 0.3, math.log(0.73), math.log(1 / 0.73), 0.7)
FALL = Shape(9.0, -12.0, -0.2, math.log(2.0), math.log(0.7), 0.7)
LINE = Shape(-12.0, 9.0, 0.3, math.log(2.0), 0.0, 0.0, True)
TIME = np.linspace(-1.0, 9.0, 403)


def nudged(shape: Shape, place: int, by: float) -> Shape:
    start, end, delay, after, ratio, knee = (
        value + by * (number == place) for number, value in enumerate(shape[:6])
    )
    return Shape(start, end, delay, after, ratio, knee, shape.straight)


@pytest.mark.parametrize("shape", [KNEE, FALL, LINE])
def test_derivatives(shape: Shape) -> None:
    drawn = draw(shape, TIME)
    for place, name in enumerate(NAMES):
        nudge = 1e-6
        up, down = (draw(nudged(shape, place, by), TIME).value for by in (nudge, -nudge))
        numeric = (up - down) / (2.0 * nudge)
        off = np.abs(numeric - drawn.by[place])
        near = np.any([np.abs(TIME - at) < 1e-4 for at, _ in shape.corners], axis=0)
        assert off[~near].max() < 1e-6, name


@pytest.mark.parametrize("shape", [KNEE, FALL, LINE])
def test_the_quick_way_gives_the_same(shape: Shape) -> None:
    drawn, (value, slope) = draw(shape, TIME), trace(shape, TIME)
    assert np.array_equal(drawn.value, value)
    assert np.array_equal(drawn.slope, slope)


@pytest.mark.parametrize("load", [2740.0, 882.0, 246.0])
def test_it_is_the_pilot_circuit(load: float) -> None:
    """`synth_edges` has the two exponentials with a target of their own; here it follows."""
    wave = Circuit(load_ohm=load, capacitance_f=2e-9).wave(1000.0, 300.0)
    for edge, start, end in (
        (wave.rise, wave.low_v, wave.high_v),
        (wave.fall, wave.high_v, wave.low_v),
    ):
        assert isinstance(edge, KneeRelaxation)
        after, before = edge.tau_after_us, edge.tau_before_us
        shape = Shape(start, end, 0.0, math.log(after), math.log(before / after), 0.7)
        time = np.linspace(0.0, 20.0, 2001)
        assert np.allclose(trace(shape, time)[0], edge.volts(time, start, end), atol=1e-9)
        for level in (-10.0, 0.0, 1.5):
            assert shape.crossing(level) == pytest.approx(edge.crossing_us(level, start, end))


def test_one_relaxation_and_a_line() -> None:
    one = Shape(-12.0, 12.0, 0.0, math.log(3.0), 0.0, 0.0)
    assert one.duration() == pytest.approx(3.0 * math.log(9.0))
    assert one.crossing(5.0) == pytest.approx(Relaxation(3.0).crossing_us(5.0, -12.0, 12.0))
    assert LINE.crossing(2.0) - 0.3 == pytest.approx(Ramp(2.0).crossing_us(2.0, -12.0, 9.0))
    assert LINE.duration() == pytest.approx(1.6)


def test_a_knee_beyond_the_levels_is_not_sound() -> None:
    assert KNEE.sound
    assert not KNEE._replace(knee=10.0).sound
    assert not KNEE._replace(after=100.0).sound
    assert not KNEE._replace(end=-12.0).sound
