"""What stands on the voltage scale: windows, choices of settings, measured levels; no Qt."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Final

from pilotsignal.quantity import Quantity
from pilotsignal.standard import Profile
from rungbench.desktop.figures import number
from rungbench.desktop.setting_words import Parts, Presented
from rungbench.link.messages import Identity
from rungbench.link.words import OPEN, CableCode, LadderSet, Rung, Setting

LOW_V: Final = -13.0
HIGH_V: Final = 13.0
"""Ends of the scale: the range that IEC 61851-1:2017, Table A.4 divides into states."""

_NOT_BANDS: Final = ("invalid", "diode")
_LADDERS: Final = (LadderSet.HIGH, LadderSet.NOMINAL, LadderSet.LOW)


@dataclass(frozen=True, slots=True)
class Band:
    """A window of the standard; between `low_allowed` and `high_allowed` a charger conforms."""

    name: str
    low: float
    high: float
    low_allowed: float | None = None
    high_allowed: float | None = None


@dataclass(frozen=True, slots=True)
class Extras:
    """What is presented besides rung and ladder set."""

    diode_in: bool = True
    pe_closed: bool = True
    cable: CableCode = CableCode.OPEN

    @classmethod
    def of(cls, setting: Setting) -> "Extras":
        """Those of a setting."""
        return cls(setting.diode_in, setting.pe_closed, setting.cable)

    def on(self, setting: Setting) -> Setting:
        """A setting with these; `open` alone stays what it is, so that open is always open."""
        if setting.rung is Rung.OPEN:
            return OPEN
        return replace(setting, diode_in=self.diode_in, pe_closed=self.pe_closed, cable=self.cable)


@dataclass(frozen=True, slots=True)
class Choice:
    """A setting that can be chosen on the scale: `volts` is where it stands."""

    presented: Presented
    volts: float

    @property
    def setting(self) -> Setting:
        return self.presented.setting

    @property
    def label(self) -> str:
        """What the stand-in presents."""
        return self.presented.text

    @property
    def spoken(self) -> str:
        """For screen readers: load, voltage, and whether the outlet may be live."""
        live = ", the outlet may be live" if self.setting.energising else ""
        extras = f", {self.presented.extras}" if self.presented.extras else ""
        return f"{self.label}{extras}, about {number(self.volts, 1)} volts{live}"


@dataclass(frozen=True, slots=True)
class Level:
    """A measured plateau."""

    name: str
    quantity: Quantity

    @property
    def volts(self) -> float:
        return self.quantity.value

    @property
    def expanded(self) -> float:
        return self.quantity.expanded()


def bands(profile: Profile) -> tuple[Band, ...]:
    """The windows of a profile from high to low."""
    found = []
    for name, window in profile.windows.items():
        if name in _NOT_BANDS:
            continue
        key = "low_level" if name == "F" else "high_level"
        state = "A" if name == "F" else name
        limit = profile.limit(key, state) if profile.has(key, state) else None
        inner = (None, None) if limit is None else (limit.low, limit.high)
        found.append(Band(name, window.low, window.high, *inner))
    return tuple(sorted(found, key=lambda band: -band.high))


def choices(parts: Parts, extras: Extras, identity: Identity | None = None) -> tuple[Choice, ...]:
    """All settings that the board can present, from high to low voltage."""
    wanted = [OPEN]
    for rung in (Rung.B, Rung.C, Rung.D):
        wanted += [Setting(rung, ladder) for ladder in _LADDERS]
    wanted.append(Setting(Rung.SHORT))
    found = []
    for plain in wanted:
        setting = extras.on(plain)
        if identity is None or identity.can_present(setting):
            found.append(Choice(parts.presented(setting), parts.presented(plain).volts))
    return tuple(sorted(found, key=lambda choice: -choice.volts))


def index_of(setting: Setting, among: Sequence[Choice]) -> int | None:
    """Place of a setting among the choices; without its extras if they differ."""
    for place, choice in enumerate(among):
        if choice.setting == setting:
            return place
    for place, choice in enumerate(among):
        one = choice.setting
        if (one.rung, one.ladder) == (setting.rung, setting.ladder):
            return place
    return None


def spread(wanted: Iterable[float], least: float, ends: tuple[float, float]) -> list[float]:
    """Places near the wanted ones (in rising order), at least `least` apart, between the ends.

    Where there is not room for all, they are spread evenly.
    """
    places = list(wanted)
    count = len(places)
    low, high = ends
    if count < 2 or (count - 1) * least >= high - low:
        step = (high - low) / max(1, count - 1)
        return [low + number * step for number in range(count)] if count > 1 else places
    groups: list[list[float]] = []  # middle and count of labels that touch
    for place in places:
        groups.append([place, 1.0])
        while True:
            middle, number = groups[-1]
            half = 0.5 * (number - 1.0) * least
            groups[-1][0] = min(max(middle, low + half), high - half)
            if len(groups) < 2:
                break
            before = groups[-2]
            reach = 0.5 * (before[1] + groups[-1][1]) * least
            if groups[-1][0] - before[0] >= reach:
                break
            middle, number = groups.pop()
            total = before[1] + number
            groups[-1] = [(before[0] * before[1] + middle * number) / total, total]
    return [
        middle + (k - 0.5 * (number - 1.0)) * least
        for middle, number in groups
        for k in range(int(number))
    ]
