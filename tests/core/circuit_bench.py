"""A stand-in and its measuring path for tests of the circuit's fit: true, calibrated, and drawn."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from pilotsignal.budget import combine, type_b
from pilotsignal.calibration import KnownPart, VoltCalibration
from pilotsignal.calibration_rows import volt_rows
from pilotsignal.circuit import FAST_SILICON, Load, PilotCircuit, Source
from pilotsignal.circuit_fit import Seen
from pilotsignal.diode import Diode, Point
from pilotsignal.known_standin import KnownDiode, KnownLoad, KnownStandIn, part_quantity
from pilotsignal.quantity import Quantity

SETTINGS = ("open", "B", "C", "D", "short", "B bypassed")
LINE = VoltCalibration(
    "CAL-1", 0.0293, -15.0, u_gain_relative=0.002, u_offset_v=0.010, u_linearity_v=0.004
)
U_NOISE_V = 0.001
CURRENTS_A = (0.003, 0.006)


@dataclass(frozen=True)
class Parts:
    """Values in ohm and volts; their calibrated ones are the defaults."""

    permanent: float = 2740.0
    switched_c: float = 1300.0
    switched_d: float = 270.0
    short: float = 80.0
    input_ohm: float = 1e6
    drop_1: float = FAST_SILICON.drop(CURRENTS_A[0])
    drop_2: float = FAST_SILICON.drop(CURRENTS_A[1])

    def load(self, setting: str) -> Load:
        rung = setting.split()[0]
        if rung == "open":
            return Load(input_ohm=self.input_ohm)
        if rung == "short":
            return Load(short_ohm=self.short, input_ohm=self.input_ohm)
        beside = {"B": math.inf, "C": self.switched_c, "D": self.switched_d}[rung]
        ladder = 1.0 / (1.0 / self.permanent + 1.0 / beside)
        return Load(ladder, "bypassed" not in setting, input_ohm=self.input_ohm)

    @property
    def diode(self) -> Diode:
        first, second = (
            Point(current, drop)
            for current, drop in zip(CURRENTS_A, (self.drop_1, self.drop_2), strict=True)
        )
        return Diode.through(first, second)


U_PARTS: Mapping[str, float] = {
    "permanent": 2.74,
    "switched_c": 1.3,
    "switched_d": 0.27,
    "short": 0.08,
    "input_ohm": 2000.0,
    "drop_1": 0.004,
    "drop_2": 0.004,
}


@dataclass(frozen=True)
class CircuitBench:
    """What is known: `line` and uncertainties; `drawn` holds what is true instead."""

    line: VoltCalibration = LINE
    u_parts: Mapping[str, float] = field(default_factory=lambda: U_PARTS)
    u_noise_v: float = U_NOISE_V
    u_steadiness_v: float = 0.002

    def known(self, name: str) -> Quantity:
        unit = "V" if name.startswith("drop") else "ohm"
        part = KnownPart(f"{name}@CAL-1", getattr(Parts(), name), self.u_parts[name], unit)
        return part_quantity(part)

    @property
    def standin(self) -> KnownStandIn:
        diode = KnownDiode(self.known("drop_1"), CURRENTS_A[0], self.known("drop_2"), CURRENTS_A[1])
        return KnownStandIn(diode, self.known("input_ohm"), u_steadiness_v=self.u_steadiness_v)

    def known_load(self, setting: str) -> KnownLoad:
        names = {"B": ("permanent",), "C": ("permanent", "switched_c")}
        names["D"] = ("permanent", "switched_d")
        ladder = tuple(self.known(name) for name in names.get(setting.split()[0], ()))
        short = self.known("short") if setting == "short" else None
        return KnownLoad(setting, ladder, "bypassed" not in setting, short)

    def level(self, setting: str, name: str, volts: float) -> Quantity:
        noise = type_b(f"noise-{name}@{setting}", "noise", self.u_noise_v, "V")
        return combine(name, "V", volts, "test", [noise, *volt_rows(self.line, volts)])

    def seen(self, setting: str, high_v: float, low_v: float | None = None) -> Seen:
        """Plateaus of one setting as measured; no low one without pulses."""
        measured = [self.level(setting, "high_plateau_v", high_v)]
        if low_v is not None:
            measured.append(self.level(setting, "low_plateau_v", low_v))
        return Seen(self.known_load(setting), tuple(measured))

    def exact(
        self, source: Source, settings: tuple[str, ...], parts: Parts = Parts()
    ) -> list[Seen]:
        """What a faultless measurement of the plateaus says."""
        circuits = [PilotCircuit(source, parts.load(one), parts.diode) for one in settings]
        return [
            self.seen(setting, one.high_v, one.low_v)
            for setting, one in zip(settings, circuits, strict=True)
        ]

    def _drawn_parts(self, rng: np.random.Generator) -> Parts:
        """Parts as they may be; two drops in 3000 pairs would be no diode and are drawn again."""
        while True:
            errors = {name: u * rng.standard_normal() for name, u in self.u_parts.items()}
            parts = replace(Parts(), **{n: getattr(Parts(), n) + e for n, e in errors.items()})
            if parts.drop_2 - parts.drop_1 > 0.002:
                return parts

    def drawn(
        self, source: Source, settings: tuple[str, ...], rng: np.random.Generator
    ) -> list[Seen]:
        """Plateaus as a bench sees them whose every hidden error is drawn from what it states."""
        parts = self._drawn_parts(rng)
        inputs: dict[str, float] = {}

        def off(one: Quantity) -> float:
            rows = [row for row in one.rows if row.u > 0.0]
            for row in rows:
                inputs.setdefault(row.id, row.u * rng.standard_normal())
            return sum(row.sensitivity * inputs[row.id] for row in rows)

        found = []
        for seen in self.exact(source, settings, parts):
            setting = seen.load.setting
            moved = [
                one.value + off(one) + self.u_steadiness_v * rng.standard_normal()
                for one in seen.measured
            ]
            found.append(self.seen(setting, moved[0], moved[1]))
        return found
