"""Builds the firmware and the simulator, once, whoever asks first."""

import ctypes
import fcntl
import functools
import os
import shutil
import subprocess
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[3]
FOLDER = ROOT / "build" / "board"
_TABLE = ROOT / "app" / "system_packages"
# Other tests need other packages, and say so themselves.
_NEEDED = {
    *("gcc", "make", "libc6-dev", "gcc-avr", "avr-libc", "avrdude", "simavr", "libsimavr-dev"),
}


class CannotBuild(Exception):
    """Firmware or simulator could not be built; says what is missing."""


@dataclass(frozen=True, slots=True)
class Built:
    """What was built."""

    firmware: Path
    board_sim: Path
    circuit_probe: Path


@functools.cache
def built() -> Built:
    """Firmware and simulator of the sources as they are now.

    Raises
    ------
    CannotBuild : packages are missing, or a compiler refuses.
    """
    missing = missing_packages()
    if missing:
        raise CannotBuild(
            "The tests of the firmware need Debian packages that are not there; run as root: "
            f"apt-get install -y --no-install-recommends {' '.join(missing)}"
        )
    FOLDER.mkdir(parents=True, exist_ok=True)
    # Several test processes ask at once: the first one builds, the others wait and find it done.
    with (FOLDER / "lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        _make(ROOT / "hardware_notes" / "firmware", FOLDER / "firmware")
        _make(ROOT / "tests" / "board" / "simulator", FOLDER / "simulator")
    return Built(
        firmware=FOLDER / "firmware" / "rungbench.elf",
        board_sim=FOLDER / "simulator" / "board_sim",
        circuit_probe=FOLDER / "simulator" / "circuit_probe",
    )


def missing_packages() -> list[str]:
    """Debian packages of the table that firmware and simulator are built with and are not there."""
    rows = [line.split() for line in _TABLE.read_text("utf-8").splitlines()]
    wanted = [row for row in rows if len(row) == 3 and row[0] == "test" and row[2] in _NEEDED]
    return [package for _, content, package in wanted if not _present(content)]


def _present(content: str) -> bool:
    if content.startswith("/"):
        return Path(content).exists()
    if ".so" not in content:
        return shutil.which(content) is not None
    try:
        ctypes.CDLL(content)
    except OSError:
        return False
    return True


def _make(source: Path, into: Path) -> None:
    environment = {key: value for key, value in os.environ.items() if not key.startswith("MAKE")}
    done = subprocess.run(
        ["make", "--no-print-directory", "-C", str(source), f"BUILD={into}"],
        capture_output=True,
        text=True,
        env=environment,
        check=False,
    )
    if done.returncode:
        raise CannotBuild(f"{source} could not be built:\n{done.stdout}{done.stderr}")
