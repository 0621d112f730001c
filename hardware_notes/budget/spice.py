"""Runs a netlist of this folder in ngspice and reads what it computed."""

import subprocess
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

HERE = Path(__file__).resolve().parent

Floats = npt.NDArray[np.float64]


class SpiceError(RuntimeError):
    """ngspice is not there, or did not do what it was told."""


@dataclass(frozen=True, slots=True)
class Deck:
    """A kept netlist, values for its braces, and the lines that drive it."""

    netlist: str
    values: Mapping[str, float]
    drive: str

    def text(self, analysis: str, vectors: str, output: Path) -> str:
        """What ngspice reads."""
        given = "\n".join(f".param {name}={value:.10g}" for name, value in self.values.items())
        circuit = (HERE / self.netlist).read_text("ascii")
        control = (
            ".control\nset wr_singlescale\nset numdgt=12\n"
            f"{analysis}\nwrdata {output} {vectors}\n.endc\n.end\n"
        )
        return "\n".join((f"* {self.netlist}", given, circuit, self.drive, control))

    def run(self, analysis: str, vectors: str) -> tuple[Floats, ...]:
        """The scale and each vector of one analysis.

        Raises
        ------
        SpiceError : ngspice is missing, failed, or computed something else.
        """
        with tempfile.TemporaryDirectory() as folder:
            deck, output = Path(folder) / "deck.cir", Path(folder) / "deck.data"
            deck.write_text(self.text(analysis, vectors, output), "ascii")
            try:
                done = subprocess.run(
                    ["ngspice", "-b", str(deck)], capture_output=True, text=True, check=False
                )
            except FileNotFoundError:
                raise SpiceError(
                    "ngspice is not installed; on Debian: apt install ngspice"
                ) from None
            if not output.exists():
                raise SpiceError(f"ngspice computed nothing:\n{done.stdout}\n{done.stderr}")
            columns = np.loadtxt(output, unpack=True)
        if len(columns) != 1 + len(vectors.split()):
            raise SpiceError(f"ngspice gave {len(columns)} columns for {vectors}")
        return tuple(columns)
