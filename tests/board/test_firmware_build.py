"""What the firmware takes of the microcontroller, and what its build promises.

The microcontroller's own figures are of the data sheet of the ATmega328P: 2048 bytes of memory,
32 kB of flash, of which a boot loader takes up to 2 kB.
"""

import re
import subprocess
import sys
from pathlib import Path

import pytest
from board_session import BoardSession
from board_simulator.build import built
from board_simulator.line import FirmwareLine
from board_simulator.memory import BoardMemory
from board_simulator.process import BoardProcess
from board_simulator.strain import strain, symbol

from rungbench.link.messages import Identity
from rungbench.link.words import Oscillator

MEMORY_BYTES = 1950  # of 2048, the deepest stack included
FLASH_BYTES = 14 * 1024
SIZES = r"^\| (flash, of 32,768|together, of 2,048) \| ([\d,]+) \|$"
# Tables in flash, which the disassembler takes for instructions.
TABLES = {"__vectors", "__trampolines_end"}
OWN_REGISTERS = re.compile(r"\br[2-7]\b")


@pytest.fixture(scope="module")
def firmware(root: Path) -> Path:
    return root / "hardware_notes" / "firmware"


def sections(elf: Path) -> dict[str, tuple[int, int]]:
    """Size and address of each section."""
    listing = subprocess.run(["avr-size", "-A", elf], capture_output=True, text=True, check=True)
    found = re.findall(r"^(\.\S+) +(\d+) +(\d+)$", listing.stdout, re.M)
    return {name: (int(size), int(address)) for name, size, address in found}


def functions(elf: Path) -> dict[str, str]:
    """Instructions of each function."""
    listing = subprocess.run(["avr-objdump", "-d", elf], capture_output=True, text=True, check=True)
    parts = re.split(r"^[0-9a-f]{8} <(.+)>:$", listing.stdout, flags=re.M)
    return dict(zip(parts[1::2], parts[2::2], strict=True))


def make(folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        ["make", "--no-print-directory", "-C", folder, *words],
        check=False,
        capture_output=True,
        text=True,
    )


def test_flash_and_memory_with_the_deepest_stack_suffice(firmware: Path) -> None:
    size = {name: bytes_ for name, (bytes_, _) in sections(built().firmware).items()}
    flash = size[".text"] + size[".data"]
    fixed = sum(size[name] for name in (".rings", ".data", ".bss", ".noinit"))
    stack = strain().stack
    print(f"flash {flash}, memory {fixed} and {stack} of stack: {fixed + stack}")
    assert flash < FLASH_BYTES
    assert stack > 50
    assert fixed + stack < MEMORY_BYTES
    page = (firmware / "README.md").read_text("utf-8")
    stated = {name: int(number.replace(",", "")) for name, number in re.findall(SIZES, page, re.M)}
    printed = make(firmware, f"BUILD={built().firmware.parent}").stdout.splitlines()[-1]
    assert f"flash {flash} of 32768 bytes, memory {fixed} and deepest measured stack " in printed
    (kept,) = re.findall(r"stack (\d+), together (\d+) of 2048 bytes$", printed)
    assert int(kept[1]) == fixed + int(kept[0])
    if is_the_compiler_of(firmware):
        assert int(kept[0]) == stack, "STACK in the Makefile"
        assert stated["flash, of 32,768"] == flash
        build = (firmware.parent / "build.md").read_text("utf-8")
        assert f"{flash} bytes of flash verified" in build
        assert stated["together, of 2,048"] == pytest.approx(fixed + stack, abs=16)


def test_rings_lie_where_the_interrupts_count_on_them() -> None:
    found = sections(built().firmware)
    assert found[".rings"][1] == 0x800100
    assert found[".data"][1] >= 0x800100 + found[".rings"][0]
    assert symbol("_end") < 0x900


def test_only_the_interrupts_use_their_registers(firmware: Path) -> None:
    source = (firmware / "src" / "interrupts.S").read_text("utf-8")
    own = set(re.findall(r"^([a-z]\w+):", source, re.M))
    vectors = {f"__vector_{number}" for number in (5, 10, 13, 18, 19, 21)}
    code = functions(built().firmware)
    assert vectors <= set(code)
    used = {
        name: OWN_REGISTERS.findall(text)
        for name, text in code.items()
        if name not in own | vectors | TABLES and OWN_REGISTERS.search(text)
    }
    # r7 is given its value once; nothing of the compiler's library touches the rest.
    assert used == {"edges_begin": ["r7"]}


def test_nothing_sleeps_and_memory_is_all_fixed() -> None:
    code = functions(built().firmware)
    assert not {"malloc", "calloc", "realloc", "free"} & set(code)
    assert not any(re.search(r"\tsleep\b", text) for text in code.values())


def test_watchdog_and_heartbeat_live_from_the_main_loop_alone() -> None:
    code = functions(built().firmware)
    feeders = {name for name, text in code.items() if re.search(r"\twdr\b", text)}
    # Each of the two also feeds it once while it switches it off or on.
    assert feeders == {"early", "main"}
    callers = {name for name, text in code.items() if "<relays_beat>" in text}
    assert callers == {"main"}


def is_the_compiler_of(firmware: Path) -> bool:
    """Whether the compiler here is the one that made the prebuilt file and the page's figures."""
    made_by = re.search(
        r"avr-gcc (\d[\d.]*\d)", (firmware / "prebuilt/README.md").read_text("utf-8")
    )
    assert made_by is not None
    here = subprocess.check_output(["avr-gcc", "-dumpversion"], text=True)
    return here.strip() == made_by[1]


def test_the_prebuilt_file_is_that_of_the_sources(firmware: Path) -> None:
    prebuilt = firmware / "prebuilt" / "rungbench-atmega328p-16mhz.hex"
    assert greeted(BoardProcess(firmware=prebuilt)).firmware == greeted(BoardProcess()).firmware
    if is_the_compiler_of(firmware):
        now = built().firmware.with_suffix(".hex").read_text("ascii")
        assert prebuilt.read_text("ascii") == now, "make prebuilt"


def greeted(process: BoardProcess) -> Identity:
    try:
        return BoardSession(FirmwareLine(process)).hello()
    finally:
        process.close()


def test_a_board_without_a_name_says_so() -> None:
    identity = greeted(BoardProcess())
    assert identity.board_id == "RB-UNSET"
    assert identity.oscillator is Oscillator.UNKNOWN
    assert (identity.phases_sensed, identity.hold_c_s, identity.hold_d_s) == (3, 60, 60)


@pytest.mark.parametrize(
    "memory",
    [
        BoardMemory(hold_c_s=61),
        BoardMemory(hold_d_s=61),
        BoardMemory(hold_c_s=0),
        BoardMemory(hold_d_s=65_535),
        BoardMemory(phases=4),
    ],
    ids=repr,
)
def test_a_memory_beyond_the_rules_is_as_good_as_none(memory: BoardMemory) -> None:
    identity = greeted(BoardProcess(memory=memory))
    assert identity.board_id == "RB-UNSET"
    assert (identity.phases_sensed, identity.hold_c_s, identity.hold_d_s) == (3, 60, 60)


def test_make_eeprom_gives_a_board_its_name(firmware: Path, tmp_path: Path) -> None:
    words = ["BOARD_ID=RB-0042", "OSCILLATOR=resonator", "PHASES=1", "HOLD_C=30", "HOLD_D=5"]
    done = make(firmware, "eeprom-image", f"BUILD={tmp_path}", *words)
    assert done.returncode == 0, done.stderr
    told(greeted(BoardProcess(firmware=tmp_path / "identity" / "rungbench.elf")))


def told(identity: Identity) -> None:
    assert identity.board_id == "RB-0042"
    assert identity.oscillator is Oscillator.RESONATOR
    assert (identity.phases_sensed, identity.hold_c_s, identity.hold_d_s) == (1, 30, 5)


def name_board(firmware: Path, folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, firmware / "name_board.py", *words],
        check=False,
        capture_output=True,
        text=True,
        cwd=folder,
    )


def test_a_finished_file_is_given_a_name_without_a_compiler(firmware: Path, tmp_path: Path) -> None:
    words = ["--oscillator", "resonator", "--phases", "1", "--hold-c", "30", "--hold-d", "5"]
    done = name_board(firmware, tmp_path, "RB-0042", *words)
    assert (done.returncode, done.stderr) == (0, "")
    told(greeted(BoardProcess(firmware=tmp_path / "RB-0042.hex")))
    # Nothing but the name differs; what told a board its name once may tell it another one.
    prebuilt = firmware / "prebuilt" / "rungbench-atmega328p-16mhz.hex"
    again = name_board(firmware, tmp_path, "RB-9", "--from", "RB-0042.hex", "-o", "again.hex")
    once = name_board(firmware, tmp_path, "RB-9", "--from", str(prebuilt), "-o", "once.hex")
    assert (again.returncode, once.returncode) == (0, 0)
    assert (tmp_path / "again.hex").read_bytes() == (tmp_path / "once.hex").read_bytes()
    pages = [image(path) for path in (prebuilt, tmp_path / "RB-0042.hex")]
    differing = [at for at, (one, other) in enumerate(zip(*pages, strict=True)) if one != other]
    assert 0 < len(differing) <= 17
    assert differing[-1] - differing[0] < 17


def image(path: Path) -> bytes:
    """Content of an Intel hex file; its own reader, apart from that of the script."""
    rows = [bytes.fromhex(line[1:]) for line in path.read_text("ascii").split()]
    return b"".join(row[4:-1] for row in rows if row[3] == 0)


@pytest.mark.parametrize(
    ("words", "status", "complaint"),
    [
        (("RB 1;",), 2, "letters, digits, dots, dashes"),
        (("RB-0123456789",), 2, "1 to 12"),
        (("RB-1", "--hold-c", "61"), 2, "hold limits are 1 to 60 s"),
        (("RB-1", "--phases", "4"), 2, "invalid choice"),
        (("RB-1", "--from", "nowhere.hex"), 4, "nowhere.hex: No such file"),
        (("RB-1", "--from", "damaged.hex"), 4, "is damaged or no Intel hex file"),
        (("RB-1", "--from", "other.hex"), 4, "is no firmware of this board"),
        (("RB-1", "-o", "nowhere/file.hex"), 4, "nowhere/file.hex: No such file"),
    ],
)
def test_naming_refuses_what_is_wrong(
    firmware: Path, tmp_path: Path, words: tuple[str, ...], status: int, complaint: str
) -> None:
    prebuilt = (firmware / "prebuilt" / "rungbench-atmega328p-16mhz.hex").read_text("ascii")
    (tmp_path / "damaged.hex").write_text(prebuilt.replace("0", "1", 1), encoding="ascii")
    (tmp_path / "other.hex").write_text(":0400000001020304F2\n:00000001FF\n", encoding="ascii")
    done = name_board(firmware, tmp_path, *words)
    assert done.returncode == status
    assert complaint in done.stderr
    assert "Traceback" not in done.stderr
    assert not list(tmp_path.glob("RB*.hex"))


@pytest.mark.parametrize(
    ("words", "complaint"),
    [
        ((), "say who the board is"),
        (("BOARD_ID=RB 1;",), "letters, digits"),
        (("BOARD_ID=.RB",), "the first no dot"),
        (("BOARD_ID=RB-1", "OSCILLATOR=quartz"), "OSCILLATOR is crystal, resonator or unknown"),
        (("BOARD_ID=RB-1", "HOLD_C=61"), "hold limits are 1 to 60 s"),
        (("BOARD_ID=RB-1", "PHASES=4"), "PHASES is 0 to 3"),
        (("BOARD_ID=RB-0123456789",), "BOARD_ID has 1 to 12 characters"),
    ],
)
def test_make_eeprom_refuses_what_is_wrong(
    firmware: Path, tmp_path: Path, words: tuple[str, ...], complaint: str
) -> None:
    done = make(firmware, "eeprom-image", f"BUILD={tmp_path}", *words)
    assert done.returncode != 0
    assert complaint in done.stdout + done.stderr
    assert not (tmp_path / "identity" / "rungbench.hex").exists()
