"""One measured quantity over the runs that count: of a lot, or of all lots of a supplier."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import islice
from types import MappingProxyType
from typing import Any, Final

import numpy as np
import sqlalchemy as sa

from rungbench.archive import schema
from rungbench.lots.control import Floats, frozen
from rungbench.lots.counting import LotRun
from rungbench.lots.errors import LotRefused
from rungbench.lots.lot import LotState

SEPARATOR: Final = ":"
_SAMPLED_RUNS: Final = 5


@dataclass(frozen=True, slots=True)
class Name:
    """A quantity of a check, written ``CHECK:QUANTITY``; `judged` if a limit stands against it."""

    check: str
    quantity: str
    judged: bool = False

    @property
    def text(self) -> str:
        return f"{self.check}{SEPARATOR}{self.quantity}"


@dataclass(frozen=True, slots=True)
class Place:
    """A run that counts, and whose it is."""

    lot: str
    serial: str
    run: LotRun


@dataclass(frozen=True, slots=True)
class Value:
    """What one unit gave; `u` is the standard uncertainty, in the unit of the value."""

    place: Place
    value: float
    u: float

    @property
    def lot(self) -> str:
        return self.place.lot

    @property
    def serial(self) -> str:
        return self.place.serial

    @property
    def run_id(self) -> str:
        return self.place.run.run_id

    @property
    def started(self) -> datetime:
        return self.place.run.started


@dataclass(frozen=True, slots=True, eq=False)
class Series:
    """A quantity over the units of one or more lots, in the order of testing.

    `numbers` and `u` (standard uncertainty) are in `unit`, one of each for each of `places`.
    `low` and `high` are ``None`` where there is no such limit, or where it is not the same for
    all runs: `note` says so then.
    """

    name: Name
    unit: str
    places: tuple[Place, ...]
    numbers: Floats
    u: Floats
    low: float | None
    high: float | None
    note: str = ""

    def __len__(self) -> int:
        return len(self.places)

    @property
    def values(self) -> tuple[Value, ...]:
        """Each number with its uncertainty and whose it is."""
        pairs = zip(self.places, self.numbers.tolist(), self.u.tolist(), strict=True)
        return tuple(Value(place, number, u) for place, number, u in pairs)

    def value(self, at: int) -> Value:
        """One of `values`."""
        return Value(self.places[at], float(self.numbers[at]), float(self.u[at]))

    def bench_uncertainty(self) -> float:
        """Median standard uncertainty of a value; 0 without values."""
        return float(np.median(self.u)) if len(self) else 0.0

    def part(self, lot: str) -> "Series":
        """What belongs to one lot."""
        here = [at for at, place in enumerate(self.places) if place.lot == lot]
        return replace(
            self,
            places=tuple(self.places[at] for at in here),
            numbers=frozen(self.numbers[here]),
            u=frozen(self.u[here]),
        )


def names_of(connection: sa.Connection, states: Sequence[LotState]) -> tuple[Name, ...]:
    """Quantities that the runs of these lots have, in the order of their checks."""
    quantities, checks, judgements = schema.quantities, schema.checks, schema.judgements
    query = (
        sa.select(
            checks.c.check_id,
            quantities.c.name,
            sa.func.count(judgements.c.position).label("judged"),
        )
        .join_from(checks, quantities, quantities.c.check == checks.c.number)
        .outerjoin(judgements, _judged())
        .where(checks.c.run.in_(_some_runs(states)))
        .group_by(checks.c.check_id, quantities.c.name)
        .order_by(sa.func.min(checks.c.number), sa.func.min(quantities.c.position))
    )
    rows = connection.execute(query)
    return tuple(Name(check, name, judged > 0) for check, name, judged in rows)


def titles_of(connection: sa.Connection, states: Sequence[LotState]) -> Mapping[str, str]:
    """The title of each check that the runs of these lots have, by its id."""
    checks = schema.checks
    query = (
        sa.select(checks.c.check_id, sa.func.min(checks.c.title).label("title"))
        .where(checks.c.run.in_(_some_runs(states)))
        .group_by(checks.c.check_id)
    )
    return MappingProxyType({row.check_id: row.title for row in connection.execute(query)})


def _some_runs(states: Sequence[LotState]) -> list[int]:
    """A few runs of each lot: all are of one plan, but a failing one may end early."""
    return [
        place.run.number
        for state in states
        for place in islice(_places([state]).values(), _SAMPLED_RUNS)
    ]


def name_of(known: Iterable[Name], wanted: str) -> Name:
    """The quantity that somebody names: ``CHECK:QUANTITY``, a check, or a quantity.

    A check alone stands for the quantity that it judges.

    Raises
    ------
    LotRefused : there is none, or more than one; the sentence names them.
    """
    known = list(known)
    text = wanted.strip()
    for fits in (
        [name for name in known if name.text == text],
        [name for name in known if name.check == text and name.judged],
        [name for name in known if name.quantity == text],
    ):
        if len(fits) == 1:
            return fits[0]
        if fits:
            several = ", ".join(name.text for name in fits)
            raise LotRefused(f"{wanted!r} may be any of {several}; name one of them.")
    if not known:
        raise LotRefused("No run of the lot counts yet; test its units first.")
    raise LotRefused(
        f"There is no quantity {wanted!r}; those are {', '.join(name.text for name in known)}."
    )


def series_of(connection: sa.Connection, states: Sequence[LotState], name: Name) -> Series:
    """One quantity over all units of these lots whose run counts.

    Of several attempts at a check the last one is taken, as the verdict takes it.

    Raises
    ------
    LotRefused : it was recorded in several units.
    """
    checks, quantities = schema.checks.c, schema.quantities.c
    wanted = (quantities.name == name.quantity) & (checks.check_id == name.check)
    rows = connection.execute(_query(states, wanted)).all()
    return _series(name, _places(states), rows)


def every_series_of(connection: sa.Connection, states: Sequence[LotState]) -> tuple[Series, ...]:
    """As `series_of`, all quantities against which a limit stands, in one look."""
    places = _places(states)
    judged = schema.judgements.c.position.is_not(None)
    by_name: dict[tuple[str, str], list[Any]] = defaultdict(list)
    for row in connection.execute(_query(states, judged)).all():
        by_name[row[:2]].append(row)
    return tuple(_series(Name(*name, judged=True), places, rows) for name, rows in by_name.items())


def _series(name: Name, places: Mapping[int, Place], rows: Iterable[Any]) -> Series:
    newest = {row.run: row for row in rows if row.run in places}
    kept = sorted(newest.values(), key=lambda row: row.run)
    units = {row.unit for row in kept}
    if len(units) > 1:
        raise LotRefused(
            f"{name.text} was recorded in {', '.join(sorted(units))}; look at one lot at a time."
        )
    limits = {(row.low, row.high) for row in kept if row.judged is not None}
    low, high = next(iter(limits)) if len(limits) == 1 else (None, None)
    return Series(
        name,
        units.pop() if units else "",
        tuple(places[row.run] for row in kept),
        frozen([row.value for row in kept]),
        frozen([row.u for row in kept]),
        low,
        high,
        "The limits differ from run to run; none is drawn." if len(limits) > 1 else "",
    )


def _query(states: Sequence[LotState], wanted: sa.ColumnElement[bool]) -> sa.Select[Any]:
    """Rows in such an order that of one run the last attempt and its first judgement come last."""
    joined, quantities, checks = schema.lot_runs, schema.quantities, schema.checks
    judgements = schema.judgements
    return (
        sa.select(
            checks.c.check_id,
            *(quantities.c[column] for column in ("name", "run", "value", "u", "unit")),
            *(judgements.c[column] for column in ("low", "high")),
            judgements.c.position.label("judged"),
        )
        .join_from(joined, quantities, quantities.c.run == joined.c.run)
        .join(checks, checks.c.number == quantities.c.check)
        .outerjoin(judgements, _judged())
        .where(joined.c.lot.in_([state.lot.number for state in states]), wanted)
        .order_by(
            quantities.c.run,
            checks.c.number,
            checks.c.attempt,
            quantities.c.position,
            judgements.c.position.desc(),
        )
    )


def _judged() -> sa.ColumnElement[bool]:
    judgements, quantities = schema.judgements.c, schema.quantities.c
    same = judgements.quantity == quantities.position
    return (judgements.check == quantities.check) & same


def _places(states: Sequence[LotState]) -> dict[int, Place]:
    found: dict[int, Place] = {}
    for state in states:
        for unit in state.units:
            run = unit.counts
            if run is not None:
                found[run.number] = Place(state.lot.name, unit.serial, run)
    return found
