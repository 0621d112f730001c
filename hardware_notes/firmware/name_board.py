"""Puts the board's name into a finished firmware file; needs neither a compiler nor packages.

    python3 name_board.py RB-0001 --oscillator crystal --phases 3

Reads ``prebuilt/rungbench-atmega328p-16mhz.hex`` beside it and writes ``RB-0001.hex`` into the
current folder. The board that is flashed with it writes the name into its EEPROM when it starts,
as with ``make eeprom``. Status 0: written; 2: wrong use; 4: the file cannot be read or written.
"""

import argparse
import re
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

PREBUILT = Path(__file__).parent / "prebuilt" / "rungbench-atmega328p-16mhz.hex"
MARK = b"stand-in"  # src/identity.c
NAME_BYTES = 12
OSCILLATORS = ("unknown", "crystal", "resonator")
LONGEST_HOLD_S = 60
ROW_BYTES = 16


class NotUsableError(Exception):
    """A file that is no firmware of this board; the text says what to do."""


@dataclass(frozen=True, slots=True)
class Told:
    """What the board is told: seconds of hold on C and D, phases that have a sense."""

    board_id: str
    oscillator: str
    phases: int
    hold_c_s: int
    hold_d_s: int

    def block(self) -> bytes:
        """As ``told`` of ``src/identity.c``, behind its mark."""
        numbers = (OSCILLATORS.index(self.oscillator), self.phases, self.hold_c_s, self.hold_d_s)
        return bytes((1, *self.board_id.encode("ascii").ljust(NAME_BYTES, b"\0"), *numbers))


def image_of(text: str) -> bytes:
    """Content of an Intel hex file that begins at 0 and has no gaps.

    Raises
    ------
    NotUsableError : it is no such file.
    """
    image = bytearray()
    for line in text.split():
        try:
            row = bytes.fromhex(line.removeprefix(":"))
        except ValueError:
            row = b""
        if not line.startswith(":") or len(row) < 5 or len(row) != row[0] + 5 or sum(row) & 0xFF:
            raise NotUsableError("is damaged or no Intel hex file; fetch it again.")
        if row[3] == 0:
            if int.from_bytes(row[1:3], "big") != len(image):
                raise NotUsableError("has gaps, so it is no firmware of this board.")
            image += row[4:-1]
    return bytes(image)


def hex_of(image: bytes) -> str:
    """An Intel hex file of 16 bytes a row, from address 0 on."""
    rows = [_row(at, 0, image[at : at + ROW_BYTES]) for at in range(0, len(image), ROW_BYTES)]
    return "".join([*rows, _row(0, 1, b"")])


def _row(address: int, kind: int, content: bytes) -> str:
    row = bytes((len(content), address >> 8, address & 0xFF, kind, *content))
    return f":{row.hex().upper()}{-sum(row) & 0xFF:02X}\n"


def named(image: bytes, told: Told) -> bytes:
    """The firmware with what the board is told in it.

    Raises
    ------
    NotUsableError : the place for it is not there, or there twice.
    """
    if image.count(MARK) != 1:
        raise NotUsableError("has no place for a name, so it is no firmware of this board.")
    block, place = told.block(), image.index(MARK) + len(MARK)
    if place + len(block) > len(image):
        raise NotUsableError("ends too early; fetch it again.")
    return image[:place] + block + image[place + len(block) :]


def _board_id(text: str) -> str:
    if not re.fullmatch(rf"[A-Za-z0-9_-][A-Za-z0-9._-]{{0,{NAME_BYTES - 1}}}", text):
        raise argparse.ArgumentTypeError(
            f"a board's name has 1 to {NAME_BYTES} letters, digits, dots, dashes, the first no dot"
        )
    return text


def _hold_s(text: str) -> int:
    if not text.isdecimal() or not 1 <= int(text) <= LONGEST_HOLD_S:
        raise argparse.ArgumentTypeError(f"hold limits are 1 to {LONGEST_HOLD_S} s")
    return int(text)


def _options(words: Sequence[str]) -> argparse.Namespace:
    parser = argparse.ArgumentParser(description="Put the board's name into a firmware file.")
    parser.add_argument("board_id", metavar="BOARD_ID", type=_board_id, help="such as RB-0001")
    parser.add_argument("--oscillator", choices=OSCILLATORS, default="unknown")
    parser.add_argument("--phases", type=int, choices=range(4), default=3)
    parser.add_argument("--hold-c", type=_hold_s, default=LONGEST_HOLD_S, metavar="S")
    parser.add_argument("--hold-d", type=_hold_s, default=LONGEST_HOLD_S, metavar="S")
    parser.add_argument("--from", dest="source", type=Path, default=PREBUILT, metavar="FILE")
    parser.add_argument("-o", dest="target", type=Path, metavar="FILE", help="BOARD_ID.hex if none")
    return parser.parse_args(words)


def main(words: Sequence[str]) -> int:
    """Write the named file."""
    asked = _options(words)
    told = Told(asked.board_id, asked.oscillator, asked.phases, asked.hold_c, asked.hold_d)
    target = asked.target or Path(f"{asked.board_id}.hex")
    try:
        image = named(image_of(asked.source.read_text("ascii")), told)
        target.write_text(hex_of(image), encoding="ascii")
    except NotUsableError as problem:
        sys.stderr.write(f"{asked.source} {problem}\n")
        return 4
    except UnicodeDecodeError:
        sys.stderr.write(f"{asked.source} is damaged or no Intel hex file; fetch it again.\n")
        return 4
    except OSError as problem:
        sys.stderr.write(f"{problem.filename}: {problem.strerror}; name another file.\n")
        return 4
    sys.stdout.write(f"{target}: firmware for {told.board_id}, oscillator {told.oscillator}\n")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
