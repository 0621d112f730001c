"""The lines for flashing in the pages, said by avrdude to a boot loader on a pseudo terminal.

The boot loader answers as Atmel's application note AVR061 ("STK500 Communication Protocol") has
it: commands, `Sync_CRC_EOP` 0x20, `Resp_STK_INSYNC` 0x14, `Resp_STK_OK` 0x10. Signature of the
ATmega328P: 1E 95 0F (its data sheet).
"""

import os
import re
import subprocess
import sys
import threading
import tty
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from board_simulator.build import built

IN_SYNC, OK = b"\x14", b"\x10"
# Command: bytes that follow it, the closing 0x20 included.
LENGTHS = {0x30: 1, 0x41: 2, 0x42: 21, 0x45: 6, 0x50: 1, 0x51: 1, 0x55: 3, 0x56: 5, 0x75: 1}
SIGNATURE = b"\x1e\x95\x0f"


@dataclass
class BootLoader:
    """What a boot loader has been told; it cannot erase, nor write an EEPROM."""

    flash: bytearray = field(default_factory=lambda: bytearray(b"\xff" * 30_720))
    strange: list[str] = field(default_factory=list)

    def serve(self, port: int) -> None:
        """Answer until the port is closed."""
        place = 0
        try:
            while True:
                command = self._read(port, 1)[0]
                if command in (0x64, 0x74):  # STK_PROG_PAGE, STK_READ_PAGE
                    size = int.from_bytes(self._read(port, 2), "big")
                    if self._read(port, 1) != b"F":
                        self.strange.append("memory other than flash")
                    if command == 0x64:
                        self.flash[place : place + size] = self._read(port, size)
                    content = bytes(self.flash[place : place + size]) if command == 0x74 else b""
                    self._read(port, 1)
                elif command in LENGTHS:
                    rest = self._read(port, LENGTHS[command])
                    content = SIGNATURE if command == 0x75 else b""
                    content = {0x41: b"\x04", 0x56: b"\x00"}.get(command, content)
                    if command == 0x55:  # STK_LOAD_ADDRESS, in words
                        place = 2 * int.from_bytes(rest[:2], "little")
                else:
                    self.strange.append(f"command {command:#x}")
                    continue
                os.write(port, IN_SYNC + content + OK)
        except OSError:
            return

    @staticmethod
    def _read(port: int, count: int) -> bytes:
        got = b""
        while len(got) < count:
            got += os.read(port, count - len(got))
        return got


@contextmanager
def a_boot_loader() -> Iterator[tuple[str, BootLoader]]:
    """A port with a boot loader behind it."""
    controller, terminal = os.openpty()
    tty.setraw(terminal)
    loader = BootLoader()
    thread = threading.Thread(target=loader.serve, args=(controller,))
    thread.start()
    try:
        yield os.ttyname(terminal), loader
    finally:
        # With its other side closed for good, reading ends with an error.
        os.close(terminal)
        thread.join()
        os.close(controller)


def image(path: Path) -> bytes:
    """Content of an Intel hex file."""
    lines = [bytes.fromhex(line[1:]) for line in path.read_text("ascii").split()]
    return b"".join(line[4:-1] for line in lines if line[3] == 0)


def said(line: str, folder: Path) -> None:
    done = subprocess.run(
        line.split(), cwd=folder, check=False, capture_output=True, text=True, timeout=60
    )
    assert done.returncode == 0, done.stderr


def test_the_lines_of_the_page_flash_the_prebuilt_and_the_named_file(
    root: Path, tmp_path: Path
) -> None:
    assert built().firmware.exists()  # says which packages are missing
    firmware = root / "hardware_notes" / "firmware"
    page = (root / "hardware_notes" / "build.md").read_text("utf-8")
    first, second = re.findall(r"^avrdude .+$", page, re.M)
    (naming,) = re.findall(r"^python3 (name_board.py .+)$", page, re.M)
    (tmp_path / "prebuilt").symlink_to(firmware / "prebuilt")
    with a_boot_loader() as (port, loader):
        said(first.replace("PORT", port), tmp_path)
        prebuilt = image(firmware / "prebuilt" / "rungbench-atmega328p-16mhz.hex")
        assert loader.flash[: len(prebuilt)] == prebuilt
        assert set(loader.flash[len(prebuilt) :]) == {0xFF}
        said(f"{sys.executable} {firmware / naming}", tmp_path)
        said(second.replace("PORT", port), tmp_path)
        assert loader.flash[: len(prebuilt)] == image(tmp_path / "RB-0001.hex") != prebuilt
    assert loader.strange == []


@pytest.mark.parametrize(
    "words", ["flash", "eeprom BOARD_ID=RB-7 OSCILLATOR=crystal PHASES=1"], ids=["flash", "eeprom"]
)
def test_make_flashes_what_it_built(root: Path, tmp_path: Path, words: str) -> None:
    firmware = root / "hardware_notes" / "firmware"
    with a_boot_loader() as (port, loader):
        said(f"make --no-print-directory BUILD={tmp_path} PORT={port} {words}", firmware)
    part = "identity/" if words.startswith("eeprom") else ""
    content = image(tmp_path / f"{part}rungbench.hex")
    assert loader.flash[: len(content)] == content
    assert (b"RB-7" in content) == bool(part)
    assert loader.strange == []
