"""The stand-in on a simulated bench: settings read back, records whole or with their gaps."""

import math
import time
from collections.abc import Callable, Iterator

import numpy as np
import pytest

from pilotsignal.measure import measure
from rungbench.acquire import Acquisition, Loss
from rungbench.errors import LinkLost, PortMissing
from rungbench.link.messages import TICKS_PER_SECOND, EventKind, FromBoard, Mode, Rung, Setting
from rungbench.link.port import open_port
from rungbench.qualify.bench import calibration_for
from rungbench.simulated.bench import Bench
from rungbench.simulated.operator import Operator, ticks
from rungbench.standin.board import StandIn
from rungbench.standin.errors import FellOpen, NotApplied, NotArmed, Refused

B, C, D = Setting(Rung.B), Setting(Rung.C), Setting(Rung.D)
INTERVALS = {Mode.STREAM10: 832, Mode.STREAM8: 208}


class Held:
    """A stand-in, with the simulated bench behind it."""

    def __init__(self, keys: str = "") -> None:
        port = open_port(f"sim://sound?{keys}" if keys else "sim://sound")
        self.hand = Operator(port)
        self.bench: Bench = self.hand._bench
        self.standin = StandIn.behind(port, calibration_for("sim://"))

    @property
    def open(self) -> bool:
        if not self.bench.unplugged:
            self.bench.advance(0.1)
        return math.isinf(self.bench._ladder.load().ladder_ohm)


@pytest.fixture
def held() -> Iterator[Held]:
    one = Held()
    with one.standin:
        yield one


def test_a_setting_is_read_back(held: Held) -> None:
    applied = held.standin.present(B)
    assert (applied.asked, applied.reported) == (B, B)
    assert applied.tick > 0
    assert held.standin.setting == B
    assert held.standin.hold(B) is applied, "what is presented is not presented again"


def test_it_is_left_on_open() -> None:
    one = Held()
    with one.standin as standin:
        standin.arm_energising()
        standin.present(B)
        standin.present(C)
        standin.wait(1.5)
        assert standin.mains == {1, 2, 3}
    assert one.open


def test_it_is_left_on_open_after_an_exception() -> None:
    one = Held()

    def use() -> None:
        with one.standin as standin:
            standin.present(B)
            raise ArithmeticError

    with pytest.raises(ArithmeticError):
        use()
    assert one.open


def test_energising_needs_an_armed_run(held: Held) -> None:
    held.standin.present(B)
    with pytest.raises(NotArmed, match="arm the run first"):
        held.standin.present(C)
    assert held.standin.setting == B


def test_each_energising_setting_gets_a_nonce_of_its_own(held: Held) -> None:
    held.standin.arm_energising()
    for setting in (B, C, D, C, B, C):
        assert held.standin.present(setting).reported == setting


def test_disarming_takes_the_right_away(held: Held) -> None:
    held.standin.arm_energising()
    held.standin.present(B)
    held.standin.disarm()
    with pytest.raises(NotArmed):
        held.standin.present(C)


@pytest.mark.parametrize("mode", [Mode.STREAM10, Mode.STREAM8])
def test_a_record_is_continuous_in_board_time(held: Held, mode: Mode) -> None:
    held.standin.present(B)
    held.standin.wait(1.0)
    record = held.standin.record(1.0, mode)
    assert not record.losses
    assert 1.0 <= record.duration_s < 1.15
    capture = record.capture
    assert capture is not None
    assert capture.gaps == ()
    assert capture.interval_s == pytest.approx(INTERVALS[mode] * 62.5e-9)
    assert capture.first_tick is not None
    assert 0 < capture.first_tick - record.start_tick < TICKS_PER_SECOND // 5
    assert capture.duration_s >= record.duration_s - 0.15
    edges = record.edges
    assert edges.times[0] >= record.start_tick
    assert edges.times[-1] < record.end_tick
    assert np.all(np.diff(edges.times) > 0)
    assert np.all(edges.rising[1:] != edges.rising[:-1])
    assert edges.times.size == pytest.approx(2000 * record.duration_s, abs=12)


def test_both_converters_tell_the_same_volts(held: Held) -> None:
    """8 bits are the upper ones of 10: coarser, and not shifted."""
    levels = []
    for mode in (Mode.STREAM10, Mode.STREAM8):
        record = held.standin.record(0.5, mode)
        assert record.capture is not None
        found = measure(record.capture)
        assert found.high_plateau_v is not None
        levels.append(found.high_plateau_v)
    fine, coarse = levels
    assert abs(fine.value - 12.038) < fine.expanded() + 0.005
    assert abs(coarse.value - fine.value) < coarse.expanded()


def test_records_follow_one_another(held: Held) -> None:
    first = held.standin.record(0.3, Mode.STREAM10)
    second = held.standin.record(0.3, Mode.STREAM10)
    assert first.capture is not None
    assert second.capture is not None
    assert first.end_tick <= second.start_tick
    last = (first.capture.first_tick or 0) + first.capture.samples.size * 832
    assert (second.capture.first_tick or 0) >= last


def test_mains_is_told_with_events(held: Held) -> None:
    held.standin.arm_energising()
    held.standin.present(B)
    held.standin.wait(1.0)
    held.standin.begin(Mode.OFF)
    held.standin.present(C)
    assert held.standin.wait_until(lambda: len(held.standin.mains) == 3, 3.0)
    record = held.standin.end()
    assert record.capture is None
    assert {event.phase for event in record.mains_events(EventKind.MAINS_ON)} == {1, 2, 3}
    assert record.mains == {1, 2, 3}
    held.standin.present(B)
    held.standin.wait(0.5)
    assert held.standin.mains == frozenset()
    assert held.standin.live_since(record.start_tick) == {1, 2, 3}
    assert held.standin.live_since(held.standin.now_tick) == frozenset()


def test_waiting_gives_up_in_board_time(held: Held) -> None:
    before = held.standin.now_tick
    assert not held.standin.wait_until(lambda: False, 2.0)
    assert 2.0 <= (held.standin.now_tick - before) / TICKS_PER_SECOND < 2.2


def test_losses_are_told_and_never_bridged() -> None:
    one = Held("frame_loss=0.03&seed=4")
    with one.standin as standin:
        standin.present(B)
        standin.wait(1.0)
        record = standin.record(2.0, Mode.STREAM10)
    capture = record.capture
    assert capture is not None
    assert record.losses.frames_lost > 0
    assert record.losses.samples_missing > 0
    assert "frames lost" in record.losses.text()
    assert sum(gap.missing for gap in capture.gaps) == record.losses.samples_missing
    assert capture.samples.size + record.losses.samples_missing == pytest.approx(
        2.0 / capture.interval_s, rel=0.06
    )
    if record.losses.edges_missing:
        assert sum(gap.missing for gap in record.edges.gaps) <= record.losses.edges_missing
        assert record.edges.gaps


def test_requests_get_through_a_bad_link() -> None:
    one = Held("frame_loss=0.2&seed=2")
    with one.standin as standin:
        standin.arm_energising()
        for setting in (B, C, B, C):
            assert standin.present(setting).reported == setting
    assert one.open


def test_the_emergency_stop_ends_it(held: Held) -> None:
    held.standin.arm_energising()
    held.standin.present(B)
    held.standin.present(C)
    held.hand.interlock(False, held.standin.now_tick + ticks(0.5))
    with pytest.raises(FellOpen, match="left C for open by itself .interlock open."):
        held.standin.wait(2.0)
    assert not held.standin.run_armed
    assert held.open
    held.standin.arm_energising()
    with pytest.raises(Refused, match="interlock open"):
        held.standin.present(C)


def test_the_hold_limit_ends_it(held: Held) -> None:
    held.standin.arm_energising()
    held.standin.present(B)
    held.standin.present(C)
    with pytest.raises(FellOpen, match="hold limit"):
        held.standin.wait(70.0)
    assert held.open


def test_a_pulled_cable_is_a_lost_link() -> None:
    one = Held("unplug_after_s=2")
    with one.standin as standin:
        standin.present(B)
        with pytest.raises(LinkLost, match="USB"):
            standin.wait(5.0)
    one.bench.advance(1.5)
    assert one.open


def test_a_wish_to_stop_ends_a_wait(held: Held) -> None:
    class Wish(Exception):
        pass

    def wish() -> None:
        raise Wish

    held.standin.check_stop = wish
    with pytest.raises(Wish):
        held.standin.wait(1.0)


def test_end_without_begin(held: Held) -> None:
    with pytest.raises(NotApplied, match="Nothing was being recorded"):
        held.standin.end()


def test_a_port_that_is_not_there() -> None:
    with pytest.raises(PortMissing):
        StandIn.open("/dev/does-not-exist")


@pytest.mark.parametrize(("empty", "lost"), [(24, False), (30, True)])
def test_only_what_is_waited_for_in_vain_is_silence(
    empty: int, lost: bool, held: Held, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each look waits 0.2 s, and 5 s of them are a silent board; computing in between is none."""
    taken = Acquisition.next
    left = [empty]

    def looked(acquisition: Acquisition, timeout: float = 0.2) -> FromBoard | Loss | None:
        left[0] -= 1
        return None if left[0] >= 0 else taken(acquisition, timeout)

    monkeypatch.setattr(Acquisition, "next", looked)
    if lost:
        with pytest.raises(LinkLost, match="fallen silent"):
            held.standin.wait(0.1)
    else:
        held.standin.wait(0.1)


def test_a_long_computation_is_no_silence(held: Held, monkeypatch: pytest.MonkeyPatch) -> None:
    held.standin.wait(0.1)
    now = time.monotonic()
    monkeypatch.setattr(time, "monotonic", lambda: now + 60.0)
    monkeypatch.setattr(Acquisition, "next", _once_empty(Acquisition.next))
    held.standin.wait(0.1)


def _once_empty(
    taken: Callable[[Acquisition, float], FromBoard | Loss | None],
) -> Callable[[Acquisition, float], FromBoard | Loss | None]:
    looked: list[None] = []

    def look(acquisition: Acquisition, timeout: float = 0.2) -> FromBoard | Loss | None:
        looked.append(None)
        return None if len(looked) == 1 else taken(acquisition, timeout)

    return look
