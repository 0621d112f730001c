"""The rules that the window keeps with a bench, without Qt: arming, the watch, what is seen."""

from collections.abc import Iterator
from contextlib import contextmanager

import pytest

from rungbench.desktop.session import ARMED_S, Session
from rungbench.desktop.snapshots import Sampled
from rungbench.link.words import OPEN, TICK_S, Mode, Rung, Setting
from rungbench.qualify.bench import open_bench
from rungbench.qualify.safety import ALARM, WATCH_S
from rungbench.standin.errors import NotArmed, Refused

B, C = Setting(Rung.B), Setting(Rung.C)


@contextmanager
def session(keys: str = "") -> Iterator[Session]:
    with open_bench(f"sim://sound?speed=max{keys}") as standin:
        one = Session(standin)
        one.begin()
        yield one


def pass_time(one: Session, seconds: float) -> None:
    end = one.standin.now_tick + round(seconds / TICK_S)
    while one.standin.now_tick < end:
        one.step()


def test_an_energising_setting_needs_its_own_arming() -> None:
    with session() as one:
        with pytest.raises(NotArmed, match=r"Ctrl\+F9"):
            one.present(C)
        one.arm()
        one.present(C)
        assert one.snapshot().setting == C
        with pytest.raises(NotArmed):
            one.present(Setting(Rung.D))


def test_an_arming_ends_by_itself() -> None:
    with session() as one:
        one.arm()
        left = one.snapshot().armed_left_s
        assert left is not None
        assert left == pytest.approx(ARMED_S, abs=0.2)
        pass_time(one, ARMED_S + 0.1)
        assert one.snapshot().armed_left_s is None
        with pytest.raises(NotArmed):
            one.present(C)


def test_another_setting_uses_the_arming_up() -> None:
    with session() as one:
        one.arm()
        one.present(B)
        assert one.snapshot().armed_left_s is None
        with pytest.raises(NotArmed):
            one.present(C)


def test_after_c_the_outlet_is_watched_and_nothing_armed() -> None:
    with session() as one:
        one.present(B)
        pass_time(one, 1.0)
        one.arm()
        one.present(C)
        pass_time(one, 2.0)
        snapshot = one.snapshot()
        assert snapshot.mains == {1, 2, 3}
        assert snapshot.hold_left_s is not None
        one.go_open()
        assert one.snapshot().watch_left_s == pytest.approx(WATCH_S, abs=0.2)
        with pytest.raises(Refused, match=r"still being watched"):
            one.arm()
        pass_time(one, WATCH_S + 0.1)
        snapshot = one.snapshot()
        assert (snapshot.watch_left_s, snapshot.alarm, snapshot.setting) == (None, "", OPEN)


def test_welded_contacts_are_shouted_and_block_arming() -> None:
    with session("&welded=yes") as one:
        one.present(B)
        pass_time(one, 1.0)
        one.arm()
        one.present(C)
        pass_time(one, 2.0)
        one.go_open()
        pass_time(one, WATCH_S + 0.1)
        assert one.snapshot().alarm == ALARM
        with pytest.raises(Refused, match=r"switch off the supply"):
            one.arm()
        one.note_alarm()
        pass_time(one, 0.2)
        assert one.snapshot().alarm == ALARM  # it is live still


def test_mains_at_b_is_shouted() -> None:
    with session("&mains_in_b=yes") as one:
        one.present(B)
        pass_time(one, WATCH_S + 1.0)
        assert one.snapshot().alarm == ALARM


def test_the_board_may_leave_c_by_itself() -> None:
    with session() as one:
        one.present(B)
        pass_time(one, 1.0)
        one.arm()
        one.present(C)
        limit = one.standin.identity.hold_c_s
        end = one.standin.now_tick + round((limit + 1) / TICK_S)
        said = ""
        while one.standin.now_tick < end:
            said = one.step() or said
            one.snapshot()
        assert "by itself (hold limit reached)" in said
        assert one.snapshot().setting == OPEN


def test_settings_that_the_board_lacks_are_refused() -> None:
    with session() as one:
        one.standin.identity = type(one.standin.identity)("1", "T", rungs=(Rung.OPEN, Rung.B))
        with pytest.raises(Refused, match=r"no parts"):
            one.present(Setting(Rung.SHORT))


@pytest.mark.parametrize(("mode", "rate"), [(Mode.STREAM10, 19_231), (Mode.STREAM8, 76_923)])
def test_all_samples_and_pulses_are_seen_once(mode: Mode, rate: int) -> None:
    # 16 MHz / (13 x 64) and 16 MHz / (13 x 16): the converter of the ATmega328P, its data sheet.
    with session() as one:
        one.present(B)
        one.sample(mode)
        pass_time(one, 2.0)
        one.snapshot()
        start, samples, pulses = one.standin.now_tick, 0, 0
        while one.standin.now_tick < start + round(2.0 / TICK_S):
            one.step()
            stretch = one.snapshot().stretch
            samples += stretch.volts.size
            pulses += stretch.duty_percent.size
        passed = (one.standin.now_tick - start) * TICK_S
        assert samples / passed == pytest.approx(rate, rel=0.03)
        assert pulses / passed == pytest.approx(1000.3, rel=0.03)


def test_a_stretch_to_measure_belongs_to_one_setting() -> None:
    with session() as one:
        one.present(B)
        taken: list[Sampled] = []
        for _ in range(600):
            one.step()
            sampled = one.snapshot().sampled
            taken += [sampled] if sampled is not None else []
        assert len(taken) >= 2
        for sampled in taken:
            assert sampled.setting == B
            assert sampled.capture.duration_s == pytest.approx(0.5, abs=0.06)
            assert sampled.capture.volts().max() < 10.5


def test_lost_frames_are_counted_with_the_stretch() -> None:
    with session("&frame_loss=0.05") as one:
        one.present(B)
        lost = 0
        for _ in range(600):
            one.step()
            sampled = one.snapshot().sampled
            if sampled is not None:
                lost += sampled.losses.samples_missing
                assert len(sampled.capture.gaps) > 0 or not sampled.losses.samples_missing
        assert lost > 0
