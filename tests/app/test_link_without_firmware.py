"""Boards that cannot answer hello: only a boot loader, or no port for want of a driver."""

import os
import sys
import threading
import tty
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from rungbench.cli.main import run
from rungbench.errors import BootLoaderOnly, NothingHeard
from rungbench.link import greeting, port
from rungbench.link.port import open_line, open_port
from rungbench.link.usb import DriverMissing, without_port

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="needs pseudo terminals")

# Atmel application note AVR061, STK500 Communication Protocol: Cmnd_STK_GET_SYNC 0x30,
# Sync_CRC_EOP 0x20, Resp_STK_INSYNC 0x14, Resp_STK_OK 0x10.
GET_SYNC, IN_SYNC = b"\x30\x20", b"\x14\x10"


@contextmanager
def a_device(answer: bytes) -> Iterator[tuple[str, list[bytes]]]:
    """A port with something that answers sync and nothing else; what it heard."""
    master, slave = os.openpty()
    tty.setraw(slave)
    os.set_blocking(master, False)
    heard: list[bytes] = []
    done = threading.Event()

    def serve() -> None:
        while not done.wait(0.005):
            try:
                heard.append(os.read(master, 4096))
            except BlockingIOError:
                continue
            if answer and heard[-1].endswith(GET_SYNC):
                os.write(master, answer)

    thread = threading.Thread(target=serve)
    thread.start()
    try:
        yield os.ttyname(slave), heard
    finally:
        done.set()
        thread.join()
        os.close(master)
        os.close(slave)


@pytest.fixture(autouse=True)
def _impatient(monkeypatch: pytest.MonkeyPatch) -> None:
    """Three seconds of silence are tried in `test_link_port`; here a moment will do."""
    monkeypatch.setattr(greeting, "HELLO_FOR_S", 0.4)


def test_a_boot_loader_without_firmware() -> None:
    with a_device(IN_SYNC) as (device, heard), pytest.raises(BootLoaderOnly) as caught:
        open_port(device)
    text = str(caught.value)
    assert f"make flash PORT={device}" in text
    assert "hardware_notes/firmware" in text
    assert text.count(".") == text.count(". ") + 1 or text.endswith(".")
    # Hello came first; only then was the boot loader asked, and nothing else was said to it.
    said = b"".join(heard)
    assert said.index(GET_SYNC) > 0
    assert set(said[said.index(GET_SYNC) :]) == set(GET_SYNC)


def test_the_flash_command_is_that_of_the_makefile(root: Path) -> None:
    makefile = (root / "hardware_notes/firmware/Makefile").read_text()
    assert "\nflash:" in makefile
    assert "$(PORT)" in makefile
    assert "\neeprom:" in makefile
    assert "BOARD_ID" in makefile


@pytest.mark.parametrize("answer", [b"", b"\x15", b"\x14"])
def test_silence_stays_silence(answer: bytes) -> None:
    with a_device(answer) as (device, heard):
        with pytest.raises(NothingHeard, match="Nothing answers on"):
            open_port(device)
        assert GET_SYNC in b"".join(heard)
        open_line(device).close()  # it was given back


def test_a_port_with_a_scheme_is_not_asked(monkeypatch: pytest.MonkeyPatch) -> None:
    opened: list[int] = []

    def refuse(url: str, baud: int = port.BAUD) -> port.SerialLine:
        opened.append(baud)
        raise AssertionError(url)

    monkeypatch.setattr(port, "open_line", refuse)
    with pytest.raises(AssertionError):
        open_port("socket://127.0.0.1:1")
    assert opened == [port.BAUD]


# Drivers --------------------------------------------------------------------------------------


def plug(devices: Path, place: str, ids: tuple[str, str, str], port_name: str = "") -> None:
    """A device as /sys/bus/usb/devices has it, with one interface of a class."""
    vendor, product, kind = ids
    device, interface = devices / place, devices / f"{place}:1.0"
    for folder in (device, interface):
        folder.mkdir(parents=True)
    (device / "idVendor").write_text(f"{vendor}\n")
    (device / "idProduct").write_text(f"{product}\n")
    (device / "product").write_text("USB Serial\n")
    (interface / "bInterfaceClass").write_text(f"{kind}\n")
    (interface / "bInterfaceSubClass").write_text("02\n")
    if port_name:
        (interface / port_name).mkdir()


@pytest.fixture
def devices(tmp_path: Path) -> Path:
    found = tmp_path / "devices"
    plug(found, "1-1", ("046d", "c31c", "03"))  # a keyboard
    plug(found, "1-2", ("1a86", "7523", "ff"), "ttyUSB0")
    plug(found, "1-3", ("2341", "0043", "02"), "tty")
    plug(found, "1-4", ("0bda", "8153", "ff"))  # a network card: its vendor makes no bridges
    return found


def test_devices_with_a_port_lack_nothing(devices: Path) -> None:
    assert without_port(devices) == ()
    assert without_port(devices / "none") == ()


@pytest.mark.parametrize(
    ("ids", "module"),
    [
        (("1a86", "7523", "ff"), "ch341"),
        (("0403", "6001", "ff"), "ftdi_sio"),
        (("10c4", "ea60", "ff"), "cp210x"),
        (("067b", "2303", "ff"), "pl2303"),
        (("2341", "0043", "02"), "cdc_acm"),
    ],
)
def test_a_device_without_a_driver(devices: Path, ids: tuple[str, str, str], module: str) -> None:
    plug(devices, "2-1", ids)
    (found,) = without_port(devices)
    assert found == DriverMissing(f"{ids[0]}:{ids[1]}", "USB Serial", module)
    assert f"sudo modprobe {module}" in found.text()


def test_the_list_and_the_missing_port_tell_of_it(
    devices: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    plug(devices, "2-1", ("1a86", "7523", "ff"))
    monkeypatch.setattr("rungbench.cli.bench.without_port", lambda: without_port(devices))
    monkeypatch.setattr("rungbench.link.port.without_port", lambda: without_port(devices))
    assert int(run(["bench", "ports"])) == 0
    assert "The USB device 1a86:7523 (USB Serial)" in capsys.readouterr().err
    assert int(run(["bench", "show", "--bench", "/dev/ttyRB9"])) == 4
    error = capsys.readouterr().err
    assert error.startswith("There is no port /dev/ttyRB9, and the USB device 1a86:7523")
    assert "sudo modprobe ch341" in error
    assert error.count("\n") == 1
