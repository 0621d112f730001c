"""How well a stand-in tells the source resistance, and what better parts buy.

``python -m pilotsignal.source_study`` prints the table.  Nothing is measured: a nominal charger
(12 V, 1000 ohm) is put through the fit with the uncertainties of several benches.
"""

import sys
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from pilotsignal.budget import RECTANGULAR, combine, half_width, type_a
from pilotsignal.calibration import KnownPart, VoltCalibration
from pilotsignal.calibration_rows import volt_rows
from pilotsignal.circuit import FAST_SILICON, Ladder, PilotCircuit, Source
from pilotsignal.circuit_fit import Seen, SourceFit, fit_source
from pilotsignal.known_standin import KnownDiode, KnownLoad, KnownStandIn, part_quantity
from pilotsignal.quantity import Quantity

RANGE_V: Final = 30.0
COLUMNS: Final = (("open", "B"), ("open", "B", "C"), ("open", "B", "C", "D"))
_LADDER: Final = Ladder(input_ohm=1e6)
_OHMS: Final = {"permanent": 2740.0, "switched_c": 1300.0, "switched_d": 270.0}
_RUNGS: Final = {
    "open": (),
    "B": ("permanent",),
    "C": ("permanent", "switched_c"),
    "D": ("permanent", "switched_d"),
}
_CURRENTS_A: Final = (0.003, 0.009)
_SPAN_K: Final = 10.0
_SILICON_V_PER_K: Final = 0.002  # a diode's drop falls by about this: common practice, no source


@dataclass(frozen=True, slots=True)
class Equipment:
    """A bench by its errors; all of them are bounds (half widths), none is standard.

    Parameters
    ----------
    meter_relative, meter_v : of the multimeter on its 20 V range, of reading and in digits.
    bits : of the converter over 30 V.
    nonlinearity_lsb : its integral non-linearity.
    dithered : noise of half a step or more is there, so that steps average out.
    resistor_relative : of each resistor of the ladder.
    diode_v : of its drop, as measured.
    diode_k : how far from its calibration the diode's temperature may be.
    drift_per_k : of the divider, relative.
    """

    meter_relative: float = 0.005
    meter_v: float = 0.020
    bits: int = 10
    nonlinearity_lsb: float = 0.5
    dithered: bool = False
    resistor_relative: float = 0.01
    diode_v: float = 0.0055
    diode_k: float = _SPAN_K
    drift_per_k: float = 100e-6


HOBBY: Final = Equipment()
"""Ten bits over 30 V without noise, as the 10-bit converters of 8-bit microcontrollers do it (non-
linearity of half a step: from memory); a multimeter of 0.5 % + 2 digits of 10 mV; resistors known
to 1 %; the drop of the diode by the same meter (0.5 % + 2 digits of 1 mV), used within 10 K."""

VARIANTS: Final[tuple[tuple[str, Equipment], ...]] = (
    ("hobby calibration", HOBBY),
    ("multimeter 0.05 % + 2 mV", replace(HOBBY, meter_relative=0.0005, meter_v=0.002)),
    ("diode kept within 2 K", replace(HOBBY, diode_k=2.0)),
    ("diode not measured, 0.55 to 0.85 V", replace(HOBBY, diode_v=0.15, diode_k=0.0)),
    ("resistors 0.1 %", replace(HOBBY, resistor_relative=0.001)),
    ("noise of half a step", replace(HOBBY, dithered=True)),
    ("12 bits, 1 step non-linear", replace(HOBBY, bits=12, nonlinearity_lsb=1.0)),
    (
        "resistors 0.1 % and noise of half a step",
        replace(HOBBY, resistor_relative=0.001, dithered=True),
    ),
    (
        "resistors 0.1 %, 12 bits, noise, diode within 2 K",
        replace(
            HOBBY,
            resistor_relative=0.001,
            bits=12,
            nonlinearity_lsb=1.0,
            dithered=True,
            diode_k=2.0,
        ),
    ),
    (
        "all of that and the better multimeter",
        Equipment(0.0005, 0.002, 12, 1.0, True, 0.001, 0.0024, 2.0),
    ),
)


@dataclass(frozen=True, slots=True)
class StudyRow:
    """U (95 %) of the source resistance in ohm, for each of `COLUMNS`."""

    name: str
    expanded_ohm: tuple[float, ...]


def study() -> tuple[StudyRow, ...]:
    """All variants at all columns."""
    return tuple(
        StudyRow(name, tuple(source_of(bench, rungs).source_ohm.expanded() for rungs in COLUMNS))
        for name, bench in VARIANTS
    )


def table(rows: Sequence[StudyRow]) -> str:
    """The study as a table of Markdown."""
    head = ["bench", *(", ".join(rungs) for rungs in COLUMNS)]
    body = [[row.name, *(f"{ohm:.1f}" for ohm in row.expanded_ohm)] for row in rows]
    lines = [head, ["---", *("---:" for _ in COLUMNS)], *body]
    return "".join(f"| {' | '.join(line)} |\n" for line in lines)


def source_of(bench: Equipment, rungs: Sequence[str]) -> SourceFit:
    """The fit of a nominal charger's high plateaus by a bench, at some rungs."""
    seen = [Seen(_known_load(bench, rung), (_level(bench, rung),)) for rung in rungs]
    first, second = (_drop(bench, current) for current in _CURRENTS_A)
    diode = KnownDiode(first, _CURRENTS_A[0], second, _CURRENTS_A[1])
    sense = part_quantity(KnownPart("input_ohm", _LADDER.input_ohm, 2e4 * RECTANGULAR, "ohm"))
    return fit_source(seen, KnownStandIn(diode, sense))


def _level(bench: Equipment, rung: str) -> Quantity:
    volts = PilotCircuit(Source(), _LADDER.load(rung)).high_v
    step = RANGE_V / 2**bench.bits
    line = VoltCalibration(
        "study",
        step,
        -RANGE_V / 2,
        # Scatter of the line through ten points or so, each read to a digit.
        u_gain_relative=0.1 * bench.meter_v / 12.0,
        u_offset_v=0.1 * bench.meter_v,
        u_meter_relative=bench.meter_relative * RECTANGULAR,
        u_meter_v=bench.meter_v * RECTANGULAR,
        u_nonlinearity_lsb=bench.nonlinearity_lsb * RECTANGULAR,
        drift_relative_per_k=bench.drift_per_k * RECTANGULAR,
        span_k=_SPAN_K,
    )
    noise = type_a(f"noise-high_plateau_v@{rung}", "noise", 0.0002, "V", 1000.0)
    left = 0.0 if bench.dithered else 0.5 * step
    rounding = half_width(f"step-high_plateau_v@{rung}", "converter step", left, "V")
    rows = [noise, rounding, *volt_rows(line, volts)]
    return combine("high_plateau_v", "V", volts, "study", rows)


def _known_load(bench: Equipment, rung: str) -> KnownLoad:
    parts = [
        KnownPart(name, _OHMS[name], _OHMS[name] * bench.resistor_relative * RECTANGULAR, "ohm")
        for name in _RUNGS[rung]
    ]
    return KnownLoad(rung, tuple(part_quantity(part) for part in parts))


def _drop(bench: Equipment, current_a: float) -> Quantity:
    """Drop at a current: the meter's error and the temperature move both points together."""
    rows = [half_width("diode-meter", "diode, meter", bench.diode_v, "V")]
    rows.append(
        half_width("diode-kelvin", "diode, temperature", bench.diode_k * _SILICON_V_PER_K, "V")
    )
    apart = half_width(f"diode-{1e3 * current_a:.0f}mA", "diode, reading", 0.0005, "V")
    drop = FAST_SILICON.drop(current_a)
    return combine(f"diode_drop_{1e3 * current_a:.0f}ma", "V", drop, "study", [*rows, apart])


def largest(fit: SourceFit, count: int = 3) -> tuple[str, ...]:
    """The largest contributions to the source resistance's U, in words."""
    rows = fit.source_ohm.budget()[:count]
    return tuple(f"{row.component} {row.contribution:.1f} ohm" for row in rows)


if __name__ == "__main__":
    sys.stdout.write(table(study()))
