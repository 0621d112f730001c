"""A lot of 500 inspected from drawing to decision on simulated chargers, by the commands alone.

``python tests/app/lot_inspection.py`` (with the sources on the path) prints what happens.  It is
what an inspector does: make the lot, ask for the next unit, test it, close the lot, look at it.
The chargers are made up: each has its own source resistance, delays and supply, drawn from its
number; a few are given a fault.
"""

import json
import subprocess
import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

LOT_SIZE = 500
AQL = 1.5
SEED = "inspection-1"

SHEET = """
maker = "Example"
model = "Demo 11"
rated_current_a = 16
set_current_a = 16
phases = 3
outlet = "cable"
plan = "quick"
serial_pattern = "DX-[0-9]{4}"
"""

# Faults that a charger of a lot may have, as keys of the simulated bench.
TOO_HIGH = "voc_high_v=13.1"
TOO_SLOW = "open_ms=160"
WRONG_RESISTOR = "source_ohm=1100"
# The bench's own: its USB cable is pulled.
UNPLUGGED = "unplug_after_s=4"
RETEST = "the USB cable was pulled"

Command = Callable[[Sequence[str]], tuple[int, str]]


@dataclass
class Inspection:
    """One inspection; `faults` are keys by the place of a unit in the sample, from 0."""

    folder: Path
    command: Command
    faults: Mapping[int, str] = field(default_factory=dict)
    name: str = "NI-500"
    statuses: list[int] = field(default_factory=list)

    def json(self, *words: str) -> dict[str, Any]:
        """JSON of a command that must end well."""
        status, out = self.command([*words, "--demo", "--json"])
        assert status in (0, 1), (words, status)
        found = json.loads(out)
        assert isinstance(found, dict)
        return found

    def make(self) -> dict[str, Any]:
        """Make the lot from a list of 500 serial numbers."""
        sheet, serials = self.folder / "model.toml", self.folder / "serials.txt"
        sheet.write_text(SHEET, encoding="utf-8")
        numbers = range(1, LOT_SIZE + 1)
        serials.write_text("".join(f"DX-{number:04}\n" for number in numbers), encoding="utf-8")
        words = ("--supplier", "Northern Imports", "--size", str(LOT_SIZE), "--aql", str(AQL))
        files = ("--sheet", str(sheet), "--serials", str(serials), "--seed", SEED)
        return self.json("lot", "new", self.name, *words, *files)

    def test_units(self) -> None:
        """Test one unit after the other until the lot is decided, each at most twice."""
        place, last = -1, 0
        while (unit := self.json("lot", "next", self.name)["next"]) is not None:
            again = unit["unit"] == last
            place += 0 if again else 1
            keys = charger(unit["unit"], "" if again else self.faults.get(place, ""))
            words = ("--retest", RETEST) if again else ()
            self.statuses.append(self._qualify(unit["serial"], keys, words))
            last = unit["unit"]
            assert len(self.statuses) <= 2 * LOT_SIZE

    def _qualify(self, serial: str, keys: str, more: Sequence[str]) -> int:
        words = ("--lot", self.name, "--serial", serial, "--operator", "R. Example", *more)
        status, _ = self.command(["qualify", "--bench", f"sim://sound?{keys}", *words, "--json"])
        return status


def charger(number: int, fault: str) -> str:
    """Keys of the simulated charger of a unit; a fault takes the place of its trait."""
    rng = np.random.default_rng(number)
    traits = {
        "seed": str(int(rng.integers(1, 3))),
        "source_ohm": f"{rng.normal(1000.0, 2.5):.2f}",
        "voc_high_v": f"{rng.normal(12.05, 0.03):.4f}",
        "voc_low_v": f"{rng.normal(-11.95, 0.03):.4f}",
        "frequency_hz": f"{rng.normal(1000.2, 0.15):.4f}",
        "open_ms": f"{rng.normal(42.0, 4.0):.2f}",
        "close_s": f"{rng.normal(0.8, 0.05):.3f}",
    }
    if fault:
        key, value = fault.split("=")
        traits[key] = value
    return "&".join(f"{key}={value}" for key, value in traits.items())


def by_process(words: Sequence[str]) -> tuple[int, str]:
    """A command as a user starts it."""
    done = subprocess.run(
        [sys.executable, "-m", "rungbench", *words], capture_output=True, text=True, check=False
    )
    if done.stderr:
        print(done.stderr.strip(), file=sys.stderr)
    return done.returncode, done.stdout


def main() -> None:
    import tempfile

    with tempfile.TemporaryDirectory() as folder:
        faults = {7: TOO_SLOW, 19: UNPLUGGED}
        inspection = Inspection(Path(folder), by_process, faults)
        inspection.make()
        inspection.test_units()
    for words in (
        ["lot", "close", inspection.name, "--demo"],
        ["lot", "show", inspection.name, "--demo"],
        ["lot", "show", inspection.name, "--demo", "--quantity", "source-resistance"],
    ):
        print(f"$ rungbench {' '.join(words)}")
        print(by_process(words)[1])


if __name__ == "__main__":
    main()
