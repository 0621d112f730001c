"""What a setting presents, in resistances and in the voltage that it should bring; no Qt."""

from dataclasses import dataclass
from typing import Final

from pilotsignal.errors import ProfileError
from pilotsignal.standard import Profile
from rungbench.link.words import CableCode, LadderSet, Rung, Setting
from rungbench.standin.calibration import BenchCalibration

_SWITCHED: Final = {Rung.C: "switched_c", Rung.D: "switched_d"}
_SHORT: Final = "short"


@dataclass(frozen=True, slots=True)
class Presented:
    """What a setting puts on the contact: `ohm` is ``None`` where nothing is, `volts` expected."""

    setting: Setting
    ohm: float | None
    volts: float

    @property
    def text(self) -> str:
        """The load in a few words, such as ``2740 Ω, diode``."""
        if self.ohm is None:
            return "nothing"
        if self.setting.rung is Rung.SHORT:
            return f"{self.ohm:.0f} Ω, no diode"
        return f"{self.ohm:.0f} Ω, {'diode' if self.setting.diode_in else 'no diode'}"

    @property
    def extras(self) -> str:
        """What else is not as usual."""
        pe = "" if self.setting.pe_closed else "PE return open"
        cable = self.setting.cable
        plug = "" if cable is CableCode.OPEN else f"cable code {cable}"
        if cable not in (CableCode.OPEN, CableCode.SHORT):
            plug += " A"
        return ", ".join(filter(None, (pe, plug)))


class Parts:
    """Nominal parts of the ladder: those of the calibration, else those of the profile."""

    def __init__(self, profile: Profile, calibration: BenchCalibration | None = None) -> None:
        self._profile, self._calibration = profile, calibration

    def presented(self, setting: Setting) -> Presented:
        """The load of a setting, and the high level that a nominal charger shows with it."""
        supply = self._nominal("open_high", 12.0)
        if setting.rung is Rung.OPEN or not setting.pe_closed:
            return Presented(setting, None, supply)
        source = self._nominal("source_resistance", 1000.0)
        ohm = self._ohm(setting)
        diode = 0.0 if setting.rung is Rung.SHORT or not setting.diode_in else self._drop()
        return Presented(setting, ohm, (supply - diode) * ohm / (source + ohm) + diode)

    def _ohm(self, setting: Setting) -> float:
        if setting.rung is Rung.SHORT:
            return self._part(_SHORT, "short_test")
        permanent = self._resistor("permanent", setting.ladder)
        switched = _SWITCHED.get(setting.rung)
        if switched is None:
            return permanent
        other = self._resistor(switched, setting.ladder)
        return permanent * other / (permanent + other)

    def _resistor(self, role: str, ladder: LadderSet) -> float:
        name = role if ladder is LadderSet.NOMINAL else f"{role}_{ladder}"
        return self._part(name, f"ladder_{ladder}_{role.removeprefix('switched_')}")

    def _drop(self) -> float:
        return self._part("diode_drop", "diode_drop")

    def _part(self, name: str, in_profile: str) -> float:
        known = self._calibration.parts.get(name) if self._calibration else None
        return known.value if known is not None else self._profile.part(in_profile).nominal

    def _nominal(self, key: str, otherwise: float) -> float:
        try:
            nominal = self._profile.limit(key).nominal
        except ProfileError:
            return otherwise
        return otherwise if nominal is None else nominal
