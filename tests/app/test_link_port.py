"""Real ports: pseudo terminals that are absent, forbidden, held, silent, strange, unplugged."""

import importlib
import os
import sys
import threading
import tty
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
import serial
from link_board import IDENTITY
from serial.tools.list_ports_common import ListPortInfo

from rungbench.errors import (
    BenchError,
    LinkLost,
    NotABoard,
    OtherProtocol,
    PortBusy,
    PortError,
    PortForbidden,
    PortMissing,
    PortSilent,
    RungbenchError,
    WrongUse,
)
from rungbench.link.framing import encode
from rungbench.link.greeting import HELLO_FOR_S
from rungbench.link.messages import Hello, frame_bytes, pack
from rungbench.link.port import SerialLine, list_ports, open_line, open_port

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="needs pseudo terminals")


class Terminal:
    """A pseudo terminal: `device` is the port, the other end is ours."""

    def __init__(self) -> None:
        self.master, self._slave = os.openpty()
        tty.setraw(self._slave)
        self.device = os.ttyname(self._slave)

    def unplug(self) -> None:
        for end in (self.master, self._slave):
            os.close(end)


@pytest.fixture
def terminal() -> Iterator[Terminal]:
    made = Terminal()
    yield made
    for end in (made.master, made._slave):
        try:
            os.close(end)
        except OSError:
            assert end >= 0  # a test has unplugged it


@contextmanager
def device_that(terminal: Terminal, reply: Callable[[bytes], bytes]) -> Iterator[list[bytes]]:
    """A device that answers every piece it hears; yields all that it heard."""
    heard: list[bytes] = []
    done = threading.Event()

    def serve() -> None:
        os.set_blocking(terminal.master, False)
        while not done.wait(0.005):
            try:
                heard.append(os.read(terminal.master, 4096))
            except BlockingIOError:
                continue
            except OSError:
                return  # unplugged
            answer = reply(heard[-1])
            if answer:
                os.write(terminal.master, answer)

    thread = threading.Thread(target=serve)
    thread.start()
    try:
        yield heard
    finally:
        done.set()
        thread.join()


def board(data: bytes) -> bytes:
    """A board that knows hello and nothing else."""
    return frame_bytes(IDENTITY, 0) if frame_bytes(Hello(), 0) in data else b""


def one_sentence(error: RungbenchError) -> str:
    text = str(error)
    assert "\n" not in text
    assert text.endswith((".", ").")), text
    assert ". " not in text.rstrip("."), text
    return text


def test_a_board_behind_a_real_port(terminal: Terminal) -> None:
    with device_that(terminal, board) as heard:
        port = open_port(terminal.device)
        port.close()
    assert port.identity == IDENTITY
    assert not port.lock_step
    assert b"".join(heard) == b"\0" + frame_bytes(Hello(), 0)


def test_a_port_that_does_not_exist() -> None:
    with pytest.raises(PortMissing) as caught:
        open_port("/dev/rungbench-none")
    assert "There is no port /dev/rungbench-none" in one_sentence(caught.value)
    assert caught.value.exit_status == 4


@contextmanager
def without_rights() -> Iterator[None]:
    """Nobody's rights, where the tests run as root, who may open anything."""
    if os.geteuid() != 0:
        yield
        return
    os.seteuid(65534)
    try:
        yield
    finally:
        os.seteuid(0)


def test_a_port_that_may_not_be_opened(terminal: Terminal) -> None:
    importlib.import_module("grp")  # nobody may be unable to read our Python
    os.chmod(terminal.device, 0o600 if os.geteuid() == 0 else 0o000)
    with without_rights(), pytest.raises(PortForbidden) as caught:
        open_port(terminal.device)
    told = one_sentence(caught.value)
    # The group of a pseudo terminal differs between systems; the command names whichever it is.
    assert told.startswith(f"You may not open {terminal.device}")
    assert "sudo usermod -aG " in told or "ask the administrator" in told


def test_the_command_names_the_group_of_the_port(
    terminal: Terminal, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise serial.SerialException(13, "could not open port: Permission denied")

    monkeypatch.setattr(serial.Serial, "open", refuse)
    monkeypatch.setattr("grp.getgrgid", lambda _: type("Group", (), {"gr_name": "dialout"}))
    with pytest.raises(PortForbidden) as caught:
        open_port(terminal.device)
    assert "run `sudo usermod -aG dialout $USER`, log out" in one_sentence(caught.value)


def test_a_port_that_another_program_holds(terminal: Terminal) -> None:
    first = open_line(terminal.device)
    with pytest.raises(PortBusy) as caught:
        open_port(terminal.device)
    first.close()
    assert f"Another program holds {terminal.device}" in one_sentence(caught.value)


def test_a_silent_port(terminal: Terminal) -> None:
    with pytest.raises(PortSilent) as caught:
        open_port(terminal.device)
    assert f"within {HELLO_FOR_S:.0f} s" in one_sentence(caught.value)
    # It was given back: it can be opened again.
    open_line(terminal.device).close()


@pytest.mark.parametrize(
    ("reply", "error", "words"),
    [
        (b"\x14\x10", NotABoard, "boot loader"),
        (
            encode(0x10, 0, b"\x02" + pack(IDENTITY)[1][1:]),
            OtherProtocol,
            "speaks version 2 of the link and this program version 1; update Rungbench",
        ),
    ],
)
def test_devices_that_are_no_board_of_ours(
    terminal: Terminal, reply: bytes, error: type[RungbenchError], words: str
) -> None:
    with device_that(terminal, lambda _: reply), pytest.raises(error) as caught:
        open_port(terminal.device)
    assert words in one_sentence(caught.value).replace("\n", " ")


def test_a_file_is_no_port(tmp_path: Path) -> None:
    file = tmp_path / "notes.txt"
    file.write_text("no port")
    with pytest.raises(PortError) as caught:
        open_port(str(file))
    assert "is a file and no serial port" in one_sentence(caught.value)
    assert file.read_text() == "no port"


def read_often(line: SerialLine) -> None:
    for _ in range(10):
        line.read()


def test_a_cable_that_is_pulled(terminal: Terminal) -> None:
    line = open_line(terminal.device)
    terminal.unplug()
    with pytest.raises(LinkLost) as caught:
        read_often(line)
    assert f"The link on {terminal.device} broke" in one_sentence(caught.value)
    line.close()


@pytest.mark.parametrize("url", ["nosuch://x", "gopher://bench", "socket://"])
def test_a_url_that_makes_no_sense(url: str) -> None:
    with pytest.raises(RungbenchError) as caught:
        open_port(url)
    assert url in one_sentence(caught.value)


def test_an_unknown_scheme_is_wrong_use() -> None:
    with pytest.raises(WrongUse, match="nosuch://x is no usable port"):
        open_port("nosuch://x")


def test_a_socket_that_nobody_serves() -> None:
    with pytest.raises(PortError) as caught:
        open_port("socket://127.0.0.1:1")
    assert "socket://127.0.0.1:1 cannot be opened" in one_sentence(caught.value)


def test_an_import_error_that_pyserial_hides_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    package = tmp_path / "rb_broken_handlers"
    package.mkdir()
    (package / "__init__.py").touch()
    (package / "protocol_brk.py").write_text("import a_module_that_is_not_there\n")
    monkeypatch.syspath_prepend(tmp_path)
    monkeypatch.setattr(
        serial,
        "protocol_handler_packages",
        [*serial.protocol_handler_packages, "rb_broken_handlers"],
    )
    with pytest.raises(BenchError) as caught:
        open_port("brk://x")
    assert not isinstance(caught.value, PortError)
    assert "a_module_that_is_not_there" in one_sentence(caught.value)


def test_the_simulated_bench_opens() -> None:
    port = open_port("sim://sound")
    try:
        assert port.lock_step
        assert port.identity.simulated
    finally:
        port.close()


def test_listing_ports_opens_none(terminal: Terminal, monkeypatch: pytest.MonkeyPatch) -> None:
    opened: list[str] = []
    found = [ListPortInfo(device) for device in (terminal.device, "/dev/another")]
    monkeypatch.setattr(serial.Serial, "open", lambda self: opened.append(self.port))
    monkeypatch.setattr("serial.tools.list_ports.comports", lambda: found)
    listed = list_ports()
    assert opened == []
    assert [port.url for port in listed] == sorted([terminal.device, "/dev/another"])
