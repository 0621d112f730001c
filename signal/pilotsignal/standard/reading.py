"""From the tables of a profile file to its rows."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, TypeVar

from pilotsignal.errors import ProfileError
from pilotsignal.limit import Limit, Rule
from pilotsignal.standard.rows import (
    ContactBand,
    CurrentBand,
    DutyBand,
    Interval,
    Part,
    SpecialDuty,
    Table,
    Window,
)

STATES: Final = ("A", "B", "C", "D", "E", "F")
WINDOWS: Final = ("A", "B", "C", "D", "E", "invalid", "F", "diode")
SECTIONS: Final = (
    "profile",
    "limit",
    "recognise",
    "duty_to_current",
    "current_to_duty",
    "special_duty",
    "cable",
    "proximity",
    "part",
)
_RULES: Final = tuple(str(rule) for rule in Rule)
_ROW_KEYS: Final = frozenset({"clause", "unit", "confidence", "low", "high"})
_BOUNDED: Final = (0.0, 100.0)

Row = TypeVar("Row")
Tables = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Reader:
    """Reads the sections of one file.

    Parameters
    ----------
    file : its name, for complaints.
    tables : what the file holds.
    edition : edition of rows that name none.
    label : name of the profile as every limit carries it.
    """

    file: str
    tables: Tables
    edition: str
    label: str

    def check_sections(self) -> None:
        """Refuse sections that nobody reads, by `ProfileError`."""
        for section in self.tables:
            if section not in SECTIONS:
                known = ", ".join(SECTIONS)
                raise ProfileError(
                    f"{self.file}, table {section}, key {section!r}: it is not known; "
                    f"the tables are {known}."
                )

    def limits(self) -> dict[tuple[str, str | None], Limit]:
        """Limits by key and state; ``None`` where a limit holds in every state."""
        found: dict[tuple[str, str | None], Limit] = {}
        for key, entries in self._named("limit"):
            if is_row(entries):
                found[key, None] = self._limit(f"[limit.{key}]", entries)
                continue
            for state, row in entries.items():
                name = f"[limit.{key}.{state}]"
                if state not in STATES:
                    self._table(name, {}).fail(state, f"no state; states are {', '.join(STATES)}")
                found[key, state] = self._limit(name, self._is_table(name, row))
        return found

    def windows(self) -> dict[str, Window]:
        """Recognition windows by state, with ``invalid`` and ``diode``."""
        found = {}
        for key, entries in self._named("recognise"):
            table = self._table(f"[recognise.{key}]", entries)
            if key not in WINDOWS:
                table.fail(key, f"it is none of {', '.join(WINDOWS)}")
            table.choice("unit", ("V",))
            window = Window(table.number("low"), table.number("high"), table.source())
            if not window.low < window.high:
                table.fail("low", "it does not lie below 'high'")
            table.finish()
            found[key] = window
        self._complete(found)
        return found

    def parts(self) -> dict[str, Part]:
        """Parts by name."""
        return {
            key: _part(self._table(f"[part.{key}]", entries))
            for key, entries in self._named("part")
        }

    def duty_bands(self) -> tuple[DutyBand, ...]:
        """Bands of duty in rising order; they do not overlap."""
        rows = self._listed("duty_to_current", _duty_band)
        return self._ordered("duty_to_current", "duty", rows, lambda row: row.duty)

    def current_bands(self) -> tuple[CurrentBand, ...]:
        """Bands of current in rising order; they do not overlap."""
        rows = self._listed("current_to_duty", _current_band)
        return self._ordered("current_to_duty", "current", rows, lambda row: row.current)

    def special_duties(self) -> tuple[SpecialDuty, ...]:
        """Duties that stand for no current."""
        return tuple(self._listed("special_duty", _special_duty))

    def contact_bands(self, section: str) -> tuple[ContactBand, ...]:
        """Bands of ``cable`` or ``proximity``, in rising order within each quantity."""
        rows = self._listed(section, _contact_band)
        ordered: tuple[ContactBand, ...] = ()
        for quantity in ("resistance", "voltage"):
            chosen = [row for row in rows if row.quantity == quantity]
            ordered += self._ordered(section, quantity, chosen, lambda row: row.band)
        return ordered

    def _limit(self, name: str, entries: Tables) -> Limit:
        table = self._table(name, entries)
        source = table.source()
        try:
            limit = Limit(
                low=table.maybe_number("low"),
                high=table.maybe_number("high"),
                unit=table.text("unit"),
                profile=self.label,
                clause=source.clause,
                rule=Rule(table.choice("rule", _RULES, str(Rule.GUARDED))),
                confidence=source.confidence,
                nominal=table.maybe_number("nominal"),
                decides=table.flag("decides", True),
                can_pass=table.flag("can_pass", True),
                guard_factor=_default(table.maybe_number("guard_factor"), 1.0),
                note=table.maybe_text("note"),
            )
        except ProfileError as problem:
            if str(problem).startswith(self.file):
                raise
            table.fail("low", str(problem))
        table.finish()
        return limit

    def _named(self, section: str) -> Iterator[tuple[str, Tables]]:
        tables = self._is_table(f"[{section}]", self.tables.get(section, {}))
        for key, entries in tables.items():
            yield key, self._is_table(f"[{section}.{key}]", entries)

    def _listed(self, section: str, read: Callable[[Table], Row]) -> list[Row]:
        entries = self.tables.get(section, [])
        if not isinstance(entries, list):
            self._table(f"[[{section}]]", {}).fail(section, "write it with double brackets")
        rows = []
        for count, entry in enumerate(entries, 1):
            name = f"[[{section}]] number {count}"
            table = self._table(name, self._is_table(name, entry))
            rows.append(read(table))
            table.finish()
        return rows

    def _ordered(
        self, section: str, key: str, rows: Sequence[Row], band: Callable[[Row], Interval]
    ) -> tuple[Row, ...]:
        ordered = sorted(rows, key=lambda row: band(row).low)
        for left, right in zip(ordered, ordered[1:], strict=False):
            if not band(left).before(band(right)):
                self._table(f"[[{section}]]", {}).fail(
                    key, f"the bands {band(left)} and {band(right)} overlap"
                )
        return tuple(ordered)

    def _complete(self, windows: Mapping[str, Window]) -> None:
        missing = [name for name in WINDOWS if name not in windows]
        if missing:
            self._table("[recognise]", {}).fail(missing[0], "the window is missing; add it")
        scale = [windows[name] for name in WINDOWS if name != "diode"]
        for upper, lower, name in zip(scale, scale[1:], WINDOWS[1:], strict=False):
            if lower.high > upper.low:
                self._table(f"[recognise.{name}]", {}).fail(
                    "high", "the window overlaps the one above it"
                )

    def _table(self, name: str, entries: Tables) -> Table:
        return Table(self.file, name, entries, self.edition)

    def _is_table(self, name: str, entries: Any) -> Tables:
        if not isinstance(entries, dict):
            self._table(name, {}).fail(name.strip("[]"), "a table is expected here")
        return entries


def is_row(entries: Tables) -> bool:
    """Whether `entries` is a row itself, not a table of rows."""
    return any(key in _ROW_KEYS or not isinstance(value, dict) for key, value in entries.items())


def _default(value: float | None, default: float) -> float:
    return default if value is None else value


def _part(table: Table) -> Part:
    nominal, tolerance = table.number("nominal"), table.maybe_number("tolerance_percent")
    spread = abs(nominal) * _default(tolerance, 0.0) / 100.0
    low = _default(table.maybe_number("low"), nominal - spread)
    high = _default(table.maybe_number("high"), nominal + spread)
    if not low <= nominal <= high:
        table.fail("nominal", "it lies outside its own tolerance")
    part = Part(low, nominal, high, table.text("unit"), table.source())
    table.finish()
    return part


def _duty_band(table: Table) -> DutyBand:
    kind = table.choice("kind", ("none", "digital", "current"))
    duty = table.interval("duty")
    if duty.low < _BOUNDED[0] or duty.high > _BOUNDED[1]:
        table.fail("duty", f"{duty} leaves 0 to 100 %")
    fixed, slope = table.maybe_number("current_a"), table.maybe_number("slope")
    if (kind == "current") != ((fixed is None) != (slope is None)):
        table.fail("current_a", "a row of kind current has either 'current_a' or 'slope', no other")
    zero = _default(table.maybe_number("zero"), 0.0)
    return DutyBand(
        duty, kind, table.text("text"), table.source(), fixed, _default(slope, 0.0), zero
    )


def _current_band(table: Table) -> CurrentBand:
    slope = table.number("slope")
    if slope <= 0.0:
        table.fail("slope", f"{slope} is not a positive number of amperes per percent")
    return CurrentBand(table.interval("current"), slope, table.number("zero"), table.source())


def _special_duty(table: Table) -> SpecialDuty:
    return SpecialDuty(table.number("duty"), table.text("text"), table.source())


def _contact_band(table: Table) -> ContactBand:
    quantity = "voltage" if "voltage" in table.entries else "resistance"
    kind = table.choice("kind", ("error", "current", "absent", "latched", "pressed"))
    current = table.maybe_number("current_a")
    if (kind == "current") != (current is not None):
        table.fail("current_a", "it belongs to rows of kind current, and only there")
    return ContactBand(
        quantity=quantity,
        band=table.interval(quantity),
        kind=kind,
        text=table.text("text"),
        source=table.source(),
        nominal=table.maybe_number("nominal_ohm" if quantity == "resistance" else "nominal_v"),
        current_a=current,
        one_phase_a=table.maybe_number("one_phase_a"),
    )
