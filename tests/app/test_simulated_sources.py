"""Generator, ladder, mains and stamper of the simulated bench, each on its own."""

import math

import numpy as np
import pytest

from rungbench.link.messages import OPEN, LadderSet, Rung, Setting
from rungbench.simulated.generator import HIGH, LOW, Generator, Pace, Transitions
from rungbench.simulated.ladder import Ladder
from rungbench.simulated.mains import BLIND_S, Phase, Sense
from rungbench.simulated.parts import parts_of
from rungbench.simulated.stamper import EdgeStamper

B, C = Setting(Rung.B), Setting(Rung.C)
STEADY = Pace(1000.0, 0.0, 0.0, 0.0)


def generator(pace: Pace = STEADY) -> Generator:
    return Generator(pace, np.random.default_rng(3).standard_normal)


def falls(moves: Transitions) -> list[float]:
    return [float(time) for time in moves.times[moves.after == LOW]]


def rises(moves: Transitions) -> list[float]:
    later = moves.times > 0
    return [float(time) for time in moves.times[later & (moves.after == HIGH)]]


def test_pulses_begin_high_and_keep_their_period() -> None:
    source = generator()
    source.steady(0.0, HIGH)
    source.pulse(1.0, 0.25)
    moves = source.until(1.0105)
    assert falls(moves) == pytest.approx([1.00025 + k / 1000 for k in range(11)])
    assert rises(moves) == pytest.approx([1.001 + k / 1000 for k in range(10)])


@pytest.mark.parametrize("duty", [0.10, 0.96])
def test_a_new_width_waits_for_the_next_period(duty: float) -> None:
    source = generator()
    source.pulse(0.0, 0.5)
    source.until(0.0052)
    source.pulse(0.0052, duty)
    moves = source.until(0.00805)
    expected = [k / 1000 + 0.0005 for k in range(6)]
    expected += [0.006 + duty / 1000, 0.007 + duty / 1000]
    assert falls(moves) == pytest.approx(expected)


def test_pulses_end_with_a_whole_period() -> None:
    source = generator()
    source.pulse(0.0, 0.96)
    source.until(0.0052)
    source.stop(0.0052)
    moves = source.until(1.0)
    assert moves.times[-1] == pytest.approx(0.006)
    assert moves.after[-1] == HIGH
    assert not source.pulsing


def test_forgetting_keeps_the_move_that_still_matters() -> None:
    source = generator()
    source.pulse(0.0, 0.5)
    whole = source.until(1.0)
    source.forget(0.9)
    left = source.until(1.0)
    assert left.times.size < whole.times.size
    assert left.times[0] < 0.9
    assert left.times[-1] == whole.times[-1]
    assert left.before[1] == left.after[0]


def test_jitter_does_not_add_up() -> None:
    source = generator(Pace(1000.0, 0.0, 1e-6, 0.0))
    source.pulse(0.0, 0.5)
    found = np.array(falls(source.until(10.0)))
    off = found - (np.arange(found.size) / 1000 + 0.0005)
    assert np.std(off) == pytest.approx(1e-6, rel=0.05)
    assert np.abs(np.mean(off[-1000:])) < 2e-7


def ladder_loads(ladder: Ladder, until: float) -> list[tuple[float, float]]:
    """When a contact moves, and what the ladder is then."""
    found = []
    while ladder.next_time <= until:
        time = ladder.next_time
        ladder.advance()
        found.append((time, ladder.load().ladder_ohm))
    return found


def ladder() -> Ladder:
    return Ladder(parts_of(4), np.random.default_rng(4).random)


def test_a_relay_takes_its_time_and_bounces() -> None:
    relays = ladder()
    relays.command(0.0, B)
    moves = ladder_loads(relays, 1.0)
    # Small signal relays: some milliseconds, bounces below one (common practice, no source).
    assert 0.002 < moves[0][0] < 0.005
    assert len(moves) == 7
    assert moves[-1][0] - moves[0][0] < 0.001
    assert [math.isinf(ohm) for _, ohm in moves] == [False, True] * 3 + [False]
    assert moves[-1][1] == pytest.approx(2740.0, rel=0.002)


def test_c_puts_its_resistor_beside_the_permanent_one() -> None:
    relays = ladder()
    relays.command(0.0, B)
    ladder_loads(relays, 0.1)
    relays.command(0.1, C)
    # 2740 x 1300 / 4040 = 882 ohm.
    assert ladder_loads(relays, 0.2)[-1][1] == pytest.approx(881.7, rel=0.002)
    relays.command(0.2, B)
    away = ladder_loads(relays, 0.3)
    assert len(away) == 1, "it opens cleanly"
    assert away[0][1] == pytest.approx(2740.0, rel=0.002)


def test_a_command_in_the_middle_of_another_one_wins() -> None:
    relays = ladder()
    relays.command(0.0, B)
    relays.command(0.001, OPEN)
    assert relays.next_time == math.inf, "it never touched"
    assert math.isinf(relays.load().ladder_ohm)
    relays.command(1.0, B)
    ladder_loads(relays, 2.0)
    relays.command(2.0, OPEN)
    relays.command(2.0005, B)
    assert relays.next_time == math.inf, "the release was taken back"
    assert relays.load().ladder_ohm == pytest.approx(2740.0, rel=0.002)


def test_another_set_breaks_before_it_makes() -> None:
    relays = ladder()
    relays.command(0.0, B)
    ladder_loads(relays, 0.1)
    relays.command(0.1, Setting(Rung.B, ladder=LadderSet.HIGH))
    moves = ladder_loads(relays, 0.2)
    assert math.isinf(moves[0][1])
    assert moves[-1][1] == pytest.approx(4610.0, rel=0.002)


def test_an_open_return_looks_like_open() -> None:
    relays = ladder()
    relays.command(0.0, Setting(Rung.C, pe_closed=False))
    ladder_loads(relays, 0.1)
    assert math.isinf(relays.load().ladder_ohm)
    assert not relays.return_closed


def test_a_sense_is_blind_around_the_crossings_of_mains() -> None:
    phase = Phase(0.0)
    # 40 V of 325 V, 230 V at 50 Hz: asin(40 / 325) is 0.392 ms from a crossing of zero.
    assert phase.next_conduction(0.0) == pytest.approx(0.392e-3, abs=2e-6)
    assert phase.last_conduction(0.0) == pytest.approx(-0.392e-3, abs=2e-6)
    assert phase.next_conduction(0.005) == 0.005
    assert phase.last_conduction(0.005) == 0.005
    assert pytest.approx(0.785e-3, abs=5e-6) == BLIND_S


@pytest.mark.parametrize("opened", np.linspace(1.0, 1.02, 41).tolist())
def test_an_opening_lies_within_the_doubt(opened: float) -> None:
    sense = Sense(1, Phase(0.1))
    sense.move(0.5, True)
    assert sense.take().on
    sense.move(opened, False)
    told = sense.take()
    assert not told.on
    assert 0.0 <= opened - told.time <= BLIND_S
    assert opened <= told.known <= opened + 0.003


def test_a_contact_that_closes_for_no_time_is_not_seen() -> None:
    sense = Sense(1, Phase(0.0))
    sense.move(0.0, True)
    sense.move(0.0001, False)
    assert math.isinf(sense.next_time)
    assert not sense.on


def test_edges_beyond_the_reach_of_16_bits_begin_a_new_block() -> None:
    stamper = EdgeStamper()
    ticks = np.array([10, 65_545, 65_546, 70_000])
    stamper.put(ticks, np.array([True, False, True, False]))
    blocks = stamper.blocks(1_000_000)
    assert [block.tick for block in blocks] == [10, 65_546]
    assert [block.index for block in blocks] == [0, 2]
    assert np.concatenate([block.times for block in blocks]).tolist() == ticks.tolist()


def test_a_comparator_cannot_rise_twice() -> None:
    stamper = EdgeStamper()
    stamper.put(np.array([10, 20, 30]), np.array([True, True, False]))
    (block,) = stamper.blocks(1_000_000)
    assert block.times.tolist() == [10, 30]
