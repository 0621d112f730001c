"""Keep-alives go out only while the runner renews its lease."""

import time
from collections.abc import Callable
from contextlib import suppress

import pytest
from link_board import ScriptedLine

from rungbench.acquire import Acquisition, Loss, LossKind, port_thread
from rungbench.acquire.port_thread import HUNG_S, KEEP_ALIVE_EVERY_S, LEASE_S
from rungbench.errors import LinkLost
from rungbench.link.line import READ_S
from rungbench.link.messages import OPEN, KeepAlive, Present, Rung, Setting

B = Setting(Rung.B)


def run_scripted(renew: Callable[[float], bool], for_s: float) -> list[float]:
    """Seconds after the start at which keep-alives went out; `renew` tells when the lease is."""
    line = ScriptedLine()
    acquisition = Acquisition(line.port(), clock=line.clock)
    begun = line.clock.now_s

    def runner(line: ScriptedLine) -> None:
        elapsed = line.clock.now_s - begun
        if renew(elapsed):
            acquisition.renew_lease()
        line.broken = elapsed > for_s

    line.on_read = runner
    acquisition.start()
    acquisition._thread.join(10)
    acquisition.close()
    return [when - begun for when in line.times_of(KeepAlive)]


def test_a_renewed_lease_keeps_the_board_alive_every_250_ms() -> None:
    times = run_scripted(lambda _: True, for_s=10.0)
    gaps = [after - before for before, after in zip(times, times[1:], strict=False)]
    assert times[0] == pytest.approx(0.0, abs=READ_S)
    assert gaps == pytest.approx([KEEP_ALIVE_EVERY_S] * len(gaps), abs=READ_S)
    assert len(times) > 35


def test_a_hung_runner_is_kept_alive_for_half_a_second_only() -> None:
    times = run_scripted(lambda elapsed: elapsed < 2.0, for_s=8.0)
    assert 2.0 < times[-1] <= 2.0 + LEASE_S + READ_S
    # The board falls open 1 s after the last one.
    assert times[-1] + 1.0 < 2.0 + 1.5 + 2 * READ_S


@pytest.mark.parametrize("lock_step", [False, True])
def test_the_port_thread_opens_for_a_runner_that_hangs(lock_step: bool) -> None:
    """Once, and not on a line whose time stands still while the runner computes."""
    line = ScriptedLine(lock_step=lock_step)
    acquisition = Acquisition(line.port(), clock=line.clock)

    def since_b(line: ScriptedLine) -> float:
        said = [when for when, message in line.said if message == Present(B)]
        return line.clock.now_s - said[0] if said else 0.0

    def runner(line: ScriptedLine) -> None:
        if since_b(line) < 2.0:
            acquisition.renew_lease()
        line.broken = since_b(line) > 6.0

    line.on_read = runner
    losses: list[LossKind] = []
    with acquisition:
        acquisition.send(Present(B))
        with suppress(LinkLost):  # which comes when all before it was taken
            while True:
                item = acquisition.next()
                losses += [item.kind] if isinstance(item, Loss) else []
    presented = next(when for when, said in line.said if said == Present(B))
    opened = [when - presented for when, said in line.said if said == Present(OPEN)]
    if lock_step:
        assert (losses.count(LossKind.HUNG), [when for when in opened if when < 6.0]) == (0, [])
    else:
        assert losses.count(LossKind.HUNG) == 1
        assert opened[0] == pytest.approx(2.0 + HUNG_S, abs=2 * READ_S)
        assert all(when > 6.0 for when in opened[1:])


def test_nothing_is_opened_while_nothing_is_presented() -> None:
    line = ScriptedLine()
    acquisition = Acquisition(line.port(), clock=line.clock)
    line.on_read = lambda line: setattr(line, "broken", line.reads > 200)
    acquisition.start()
    acquisition._thread.join(10)
    assert line.requests() == []
    acquisition.close()


def test_a_runner_that_comes_back_is_kept_alive_at_once() -> None:
    times = run_scripted(lambda elapsed: elapsed < 1.0 or elapsed > 5.0, for_s=6.0)
    assert not [when for when in times if 1.0 + LEASE_S + READ_S < when < 5.0]
    assert min(when for when in times if when > 4.0) == pytest.approx(5.0, abs=3 * READ_S)


def test_a_runner_that_never_renews_gets_the_lease_of_the_start() -> None:
    times = run_scripted(lambda _: False, for_s=4.0)
    assert times
    assert times[-1] <= LEASE_S + READ_S


def test_on_a_lock_step_line_keep_alives_follow_the_board() -> None:
    """However slow the computer is, the board hears one at least every 370 ms of its own time."""
    line = ScriptedLine(lock_step=True)
    with Acquisition(line.port()) as acquisition:
        while line.tick < 5 * 16_000_000:
            acquisition.renew_lease()
            acquisition.next()
            time.sleep(0.002)
        times = line.times_of(KeepAlive)
    gaps = [after - before for before, after in zip(times, times[1:], strict=False)]
    assert len(times) >= 5.0 / 0.37
    # 250 ms, seen by a health of every 100 ms.
    assert all(0.25 <= gap <= 0.37 for gap in gaps)


def test_on_a_lock_step_line_time_stands_still_while_the_runner_computes() -> None:
    line = ScriptedLine(lock_step=True)
    with Acquisition(line.port()) as acquisition:
        acquisition.next()
        reads = line.reads
        time.sleep(0.25)
        assert line.reads == reads


def test_on_a_lock_step_line_a_hung_runner_does_not_stop_the_board_for_ever(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(port_thread, "HOLD_S", 0.5)
    line = ScriptedLine(lock_step=True)
    with Acquisition(line.port()) as acquisition:
        acquisition.next()
        reads, said = line.reads, len(line.times_of(KeepAlive))
        time.sleep(1.3)
        assert 1 <= line.reads - reads <= 3
        # The lease ran out with the first half second, so the board is on its own.
        assert len(line.times_of(KeepAlive)) == said
