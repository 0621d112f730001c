"""A limit of a record, found again in its profile and taken from another one."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import partial
from itertools import product
from typing import Any, Final

from pilotsignal.calibration import UNKNOWN_TIME_BASE, KnownPart, VoltCalibration
from pilotsignal.grounds import Need, need_of
from pilotsignal.limit import Limit, Rule
from pilotsignal.quantity import Quantity
from pilotsignal.standard import Profile
from rungbench.archive.record import Record, RunHeader
from rungbench.link.words import CableCode, LadderSet, Rung, Setting
from rungbench.qualify.checks.recognition import cable_limit, window_limit
from rungbench.qualify.checks.timing import least_limit, rating_limit
from rungbench.qualify.ladder_limit import ladder_limit
from rungbench.qualify.regrounds import parts_of
from rungbench.standin.calibration import BenchCalibration

# Values that a profile's tables of duties and currents went into.
_BY_TABLES: Final = ("pulse_width_error_us", "advertised_current", "duty_error")
_WINDOWS: Final = "windows"
_RUNGS: Final = (Rung.B, Rung.C, Rung.D)
_AGAIN: Final = "run the check again to judge it otherwise."


@dataclass(frozen=True, slots=True)
class Ruling:
    """By what a record is judged again: a profile, and a rule instead of that of each limit."""

    profile: Profile
    rule: Rule | None = None
    guard_factor: float = 1.0

    def ruled(self, limit: Limit) -> Limit:
        """The limit under the rule that is asked for; a count keeps its own."""
        if self.rule is None or need_of(limit.unit) is Need.COUNT:
            return limit
        return limit.under(self.rule, self.guard_factor)


@dataclass(frozen=True, slots=True)
class Gap:
    """The other profile has no such limit."""

    why: str


@dataclass(frozen=True, slots=True)
class Unclear:
    """Nobody can tell which limit takes its place."""

    why: str


@dataclass(frozen=True, slots=True)
class Limits:
    """Limits of the profile that a record was judged by, and of the one it is judged by now."""

    record: Record
    old: Profile
    ruling: Ruling

    @property
    def same_profile(self) -> bool:
        return self.old.hash == self.ruling.profile.hash

    def now(self, limit: Limit) -> Limit | Gap | Unclear:
        """What takes the place of `limit`, the rule that is asked for included."""
        if limit.profile != self.old.label or self.same_profile:
            # Declared of the charger, or the same profile: only the rule may be another.
            return self.ruling.ruled(limit)
        candidates = set(self._candidates(limit))
        new = self.ruling.profile
        if not candidates:
            return Unclear(f"{limit.clause} is not found again in {self.old.label}; {_AGAIN}")
        if candidates == {None}:
            return Gap(f"{new.edition} sets no such limit")
        if len(candidates) > 1:
            return Unclear(f"Several limits of {new.label} may stand for {limit.clause}; {_AGAIN}")
        (found,) = candidates
        assert found is not None
        return self.ruling.ruled(found)

    def doubt(self, quantity: Quantity, limit: Limit) -> str:
        """Why a value says nothing under the other profile, a sentence; empty if it does."""
        if self.same_profile:
            return ""
        one, other = self.old, self.ruling.profile
        if limit.unit == _WINDOWS and _windows(one) != _windows(other):
            return f"The states are recognised in other windows; {_AGAIN}"
        if not any(part in quantity.name for part in _BY_TABLES):
            return ""
        if one.pulse_width_level == other.pulse_width_level and _tables(one) == _tables(other):
            return ""
        return f"The record holds {quantity.name} by the tables of {one.label} only; {_AGAIN}"

    def _candidates(self, limit: Limit) -> Iterator[Limit | None]:
        """What stands in the other profile where this limit stands; ``None``: nothing does."""
        other = self.ruling.profile
        for (key, state), known in self.old.limits.items():
            if known == limit:
                yield other.limit(key, state) if other.has(key, state) else None
        for make in _computed(self.record.header):
            if make(self.old) == limit:
                yield make(other)


Make = Callable[[Profile], Limit | None]


def _computed(header: RunHeader) -> Iterator[Make]:
    """Limits that are worked out from several rows of a profile."""
    yield partial(rating_limit, rated_a=header.charger.rated_current_a)
    yield least_limit
    for code in CableCode:
        if code not in (CableCode.OPEN, CableCode.SHORT):
            yield partial(cable_limit, code=code)
    for rung in _RUNGS:
        yield partial(_window, rung)
    parts = parts_of(header)
    for rung, ladder in product(_RUNGS, LadderSet):
        yield partial(_of_ladder, parts, Setting(rung, ladder))


def _window(rung: Rung, profile: Profile) -> Limit:
    return window_limit(profile, profile.windows[str(rung)])


def _of_ladder(parts: Mapping[str, KnownPart], setting: Setting, profile: Profile) -> Limit | None:
    volts = VoltCalibration("none", 1.0, 0.0)
    known = BenchCalibration("parts", volts, 10, UNKNOWN_TIME_BASE, {}, parts)
    return ladder_limit(profile, known, setting)


def _windows(profile: Profile) -> dict[str, tuple[float, float]]:
    return {name: (window.low, window.high) for name, window in profile.windows.items()}


def _tables(profile: Profile) -> list[list[Any]]:
    """Numbers of the tables of duties and currents, whatever clause they come from."""
    tables: tuple[tuple[Any, ...], ...] = (profile.duty_bands, profile.current_bands)
    return [[replace(row, source=None) for row in table] for table in tables]
