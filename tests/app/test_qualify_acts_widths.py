"""Changes of the pulse width in an edge record: truth is laid down, then looked for."""

import numpy as np
import numpy.typing as npt
import pytest
from matrix_run import Job, full_record
from plan_sections import section
from qualify_runs import last

from pilotsignal.calibration import TimeBase, WidthBias
from pilotsignal.capture import EdgeRecord
from pilotsignal.standard import load_profile
from rungbench.qualify.checks.widths import (
    MOVED_TICKS,
    asks_digital,
    changes,
    duty_percent,
    last_change,
    least_apart,
)
from rungbench.standin.record import BoardRecord, Losses

TICKS = 16_000_000
PERIOD = 16_000
CLOCK = TimeBase("clock", "crystal", 0.0)
WIDTH_BIAS = WidthBias("width", 0.0, 0.0)


def recorded(widths: npt.NDArray[np.float64], start: int = 0) -> BoardRecord:
    """A record of pulses of 1 ms with these widths in ticks."""
    rises = start + np.arange(widths.size) * PERIOD
    times = np.column_stack((rises, rises + widths)).ravel().astype(np.int64)
    rising = np.tile([True, False], widths.size)
    edges = EdgeRecord(times, rising, 1.0 / TICKS, "laid down", CLOCK, WIDTH_BIAS)
    return BoardRecord(None, edges, (), start, start + widths.size * PERIOD, Losses())


def stepping(*parts: tuple[int, float]) -> npt.NDArray[np.float64]:
    """Widths in microseconds, each for a number of pulses, as ticks, with a jitter of 0.1 us."""
    jitter = np.random.default_rng(3).normal(0.0, 1.6, sum(count for count, _ in parts))
    return np.concatenate([np.full(count, width * 16.0) for count, width in parts]) + jitter


def test_each_new_width_is_a_change_between_two_pulses() -> None:
    record = recorded(stepping((100, 266.7), (300, 200.0), (100, 100.0)))
    found = changes([record])
    assert [one.tick / PERIOD for one in found] == pytest.approx([99.5, 399.5], abs=0.01)
    assert all(one.doubt == pytest.approx(PERIOD / 2) for one in found)
    assert last_change([record], 0.0) == found[1]
    assert last_change([record], 450.0 * PERIOD) is None
    assert least_apart([record]) == (found[0], found[1])


def test_a_spike_or_two_are_no_change() -> None:
    widths = stepping((200, 266.7))
    widths[50] = widths[120] = widths[121] = 400.0
    assert changes([recorded(widths)]) == ()


def test_a_move_smaller_than_an_ampere_is_no_change() -> None:
    """An ampere is 16.7 us (IEC 61851-1:2017 Table A.7); jitter and drift are far less."""
    assert MOVED_TICKS / 16.0 == 3.0
    assert changes([recorded(stepping((100, 266.7), (100, 268.7)))]) == ()


def test_records_that_follow_one_another_are_one() -> None:
    first = recorded(stepping((100, 266.7)))
    second = recorded(stepping((100, 200.0)), start=120 * PERIOD)
    (found,) = changes([first, second])
    assert found.tick / PERIOD == pytest.approx(109.5, abs=0.01)
    assert found.doubt / PERIOD == pytest.approx(10.5, abs=0.01)


def test_a_ramp_is_many_changes() -> None:
    ramp = recorded(np.linspace(100.0 * 16, 300.0 * 16, 2000))
    nearest = least_apart([ramp])
    assert nearest is not None
    assert (nearest[1].tick - nearest[0].tick) / TICKS < 0.1
    assert len(changes([ramp])) > 10


def test_nothing_changes_where_nothing_pulses() -> None:
    assert changes([]) == ()
    assert changes([recorded(stepping((3, 100.0)))]) == ()
    assert duty_percent(recorded(stepping((3, 100.0)))) is None


# IEC 61851-1:2017 Table A.8: 3 to 7 % asks for digital communication.
@pytest.mark.parametrize(
    ("percent", "digital"), [(5.0, True), (3.5, True), (7.5, False), (10.0, False), (26.7, False)]
)
def test_a_duty_that_asks_for_digital_communication(percent: float, digital: bool) -> None:
    record = recorded(stepping((100, percent * 10.0)))
    assert duty_percent(record) == pytest.approx(percent, abs=0.02)
    assert asks_digital(record, load_profile()) == digital


def test_short_pulses_are_sampled_often_enough_to_time_mains_by() -> None:
    """At 5 % a pulse holds one settled sample; the charger here closes after 0.8 s."""
    plan = section("B", "B to C", checks=("plateau-b", "mains-on"))
    results = last(full_record(Job("digital=yes&digital_mains=yes"), plan))
    assert results["plateau-b"].verdict == "pass"
    (time,) = results["mains-on"].quantities
    assert time.value == pytest.approx(0.8, abs=time.expanded())
