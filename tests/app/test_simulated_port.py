"""The simulated bench as a pyserial port: lock-step time, faults of the link, repeatability."""

import time
from collections.abc import Iterator

import pytest
import serial
from simulated_run import B, SimulatedRun, simulated

from rungbench.errors import LinkLost, WrongUse
from rungbench.link.framing import Trouble
from rungbench.link.messages import (
    EdgeBlock,
    Health,
    Hello,
    Mode,
    SampleBlock,
    SetMode,
    frame_bytes,
)
from rungbench.link.port import open_line, open_port
from rungbench.simulated.protocol_sim import Serial


@pytest.fixture
def port() -> Iterator[Serial]:
    opened = serial.serial_for_url("sim://sound")
    assert isinstance(opened, Serial)
    yield opened
    opened.close()


def test_pyserial_finds_the_handler(port: Serial) -> None:
    assert port.lock_step
    assert port.is_open
    assert port.read(64)


def test_the_port_greets_like_any_other() -> None:
    opened = open_port("sim://sound")
    assert opened.lock_step
    assert opened.identity.simulated
    opened.close()


def test_a_wrong_address_is_wrong_use() -> None:
    with pytest.raises(WrongUse, match="no key 'colour'"):
        open_line("sim://sound?colour=red")


def test_time_advances_in_read_only_and_by_20_ms_at_most(port: Serial) -> None:
    bench = port.bench
    assert bench is not None
    port.write(b"\0" + frame_bytes(Hello(), 0) + frame_bytes(SetMode(Mode.STREAM8), 1))
    assert bench.time == 0.0
    time.sleep(0.05)
    assert port.in_waiting > 0
    assert bench.time == 0.0
    for _ in range(50):
        before = bench.time
        port.read(8192)
        assert 0.0 <= bench.time - before <= 0.0200001
    assert bench.time > 0.5


def test_bytes_that_wait_are_read_before_time_moves(port: Serial) -> None:
    bench = port.bench
    assert bench is not None
    port.write(frame_bytes(Hello(), 0))
    while port.in_waiting:
        assert len(port.read(1)) == 1
        assert bench.time == 0.0
    port.read(1)
    assert bench.time == pytest.approx(0.02)


def test_a_closed_port_does_nothing(port: Serial) -> None:
    port.close()
    with pytest.raises(serial.PortNotOpenError):
        port.read()
    with pytest.raises(serial.PortNotOpenError):
        port.write(b"\0")


def test_speed_is_a_ceiling() -> None:
    with simulated("speed=2") as run:
        run.listen(0.1)
        started, tick = time.monotonic(), run.now
        run.listen(0.6)
        passed = time.monotonic() - started
        assert (run.now - tick) / 16e6 / passed <= 2.3
        assert passed < 3.0


def test_without_speed_a_second_takes_a_fraction_of_one() -> None:
    with simulated() as run:
        started = time.monotonic()
        run.listen(20.0)
        assert time.monotonic() - started < 10.0


def conversation(url: str) -> bytes:
    """All bytes of a run in B."""
    heard = b""
    run = SimulatedRun(url)
    run.present(B)
    run.ask(SetMode(Mode.STREAM10))
    for message in run.listen(2.0):
        if isinstance(message, SampleBlock):
            heard += message.counts.tobytes()
        elif isinstance(message, EdgeBlock):
            heard += message.offsets.tobytes() + message.tick.to_bytes(6, "little")
    run.line.close()
    return heard


def test_the_same_seed_gives_the_same_bytes() -> None:
    first = conversation("sim://sound?seed=5&noise_v=0.05&jitter_us=0.2")
    assert len(first) > 50_000
    assert conversation("sim://sound?seed=5&noise_v=0.05&jitter_us=0.2") == first
    assert conversation("sim://sound?seed=6&noise_v=0.05&jitter_us=0.2") != first


def test_lost_frames_show_and_nothing_is_damaged() -> None:
    with simulated("frame_loss=0.05") as run:
        run.listen(20.0)
        lost = sum(trouble.count for trouble in run.troubles)
        assert {trouble.trouble for trouble in run.troubles} == {Trouble.LOST}
        health = sum(isinstance(message, Health) for message in run.heard)
        # 200 health frames, of which one in twenty: 10, within four deviations of 3.
        assert 1 <= lost <= 23
        assert health + lost == pytest.approx(200, abs=3)


def test_damaged_bytes_are_found_by_the_checksum() -> None:
    with simulated("byte_error=0.002") as run:
        run.listen(20.0)
        kinds = {trouble.trouble for trouble in run.troubles}
        assert Trouble.DAMAGED in kinds
        assert Trouble.REORDERED not in kinds


def test_a_pulled_cable_ends_the_link() -> None:
    with simulated("unplug_after_s=2.5") as run:
        with pytest.raises(LinkLost, match="pulled"):
            run.listen(10.0)
        assert run.now / 16e6 == pytest.approx(2.4, abs=0.11)
        with pytest.raises(LinkLost):
            run.say(Hello())


def test_a_minute_of_samples_and_edges_takes_seconds() -> None:
    with simulated() as run:
        run.present(B)
        run.ask(SetMode(Mode.STREAM10))
        started = time.process_time()
        heard = run.listen(60.0)
        used = time.process_time() - started
        samples = sum(m.counts.size for m in heard if isinstance(m, SampleBlock))
        assert samples == pytest.approx(60 * 16e6 / 832, rel=0.01)
        # The host's own unpacking is in it. Generous: machines that run tests are slow and shared.
        assert used < 8.0
