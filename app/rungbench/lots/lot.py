"""A lot as the archive holds it: plain, frozen, without any storage."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, fields
from datetime import datetime
from typing import Any

from rungbench.archive.record import NOTHING
from rungbench.archive.rows import plain
from rungbench.lots.counting import Unit
from rungbench.lots.decision import LotDecision, Standing, Tally
from rungbench.lots.moving import Move
from rungbench.lots.sampling import SamplingPlan
from rungbench.lots.switching import Advice
from rungbench.qualify.sheet import Sheet


@dataclass(frozen=True, slots=True)
class Basis:
    """What every run of a lot is judged by: plan and profile with their hashes, checks in order."""

    plan: str
    plan_hash: str
    profile: str
    profile_hash: str
    planned: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class LotOrder:
    """A lot that is to be made.

    Parameters
    ----------
    serials : serial numbers of all its units; empty: nobody knows them, so places are drawn.
    seed : as `drawing.check_seed` allows; empty: a new one.
    resubmits : name of the rejected lot that is presented again; empty: an original inspection.
    """

    name: str
    supplier: str
    sheet: Sheet
    basis: Basis
    plan: SamplingPlan
    serials: tuple[str, ...] = ()
    seed: str = ""
    resubmits: str = ""
    operator: str = ""
    notes: str = ""


@dataclass(frozen=True, slots=True)
class Lot:
    """A lot with its plan and the seed of its sample; `simulated` if it is one of a demo archive.

    `advice` is what the switching rules asked for when it was made.
    """

    number: int
    name: str
    made: datetime
    simulated: bool
    supplier: str
    sheet: Sheet
    basis: Basis
    plan: SamplingPlan
    seed: str
    seed_given: bool
    list_sha256: str | None
    advice: Advice
    resubmits: str | None = None
    operator: str = ""
    notes: str = ""

    @property
    def listed(self) -> bool:
        """Whether the sample was drawn from a list of serial numbers, not from places."""
        return self.list_sha256 is not None


@dataclass(frozen=True, slots=True)
class LotEnd:
    """How a lot was closed; `LotDecision.OPEN` is a lot closed without a decision."""

    decision: LotDecision
    tally: Tally
    closed: datetime
    reason: str = ""
    operator: str = ""


@dataclass(frozen=True, slots=True)
class LotState:
    """A lot as far as it has come; `units` are those of the sample, in rising order."""

    lot: Lot
    units: tuple[Unit, ...]
    standing: Standing
    end: LotEnd | None = None
    again: tuple[str, ...] = field(default=())
    """Names of the lots in which it was presented again."""
    moves: tuple[Move, ...] = field(default=())
    """Corrections: runs that had joined as another unit, the oldest first."""

    @property
    def next_unit(self) -> Unit | None:
        """The unit to test next, unless the lot is decided or closed."""
        if self.end is not None or self.standing.decision is not LotDecision.OPEN:
            return None
        return next((unit for unit in self.units if unit.counts is None), None)


def sheet_row(sheet: Sheet) -> dict[str, Any]:
    """A model sheet as plain values; what it does not state is left out."""
    return {key: plain(value) for key, value in asdict(sheet).items() if value is not None}


def sheet_of(row: Mapping[str, Any] = NOTHING) -> Sheet:
    """Inverse of `sheet_row`; keys of a later program are passed over."""
    known = {one.name for one in fields(Sheet)}
    values = {key: value for key, value in row.items() if key in known}
    if "cannot" in values:
        values["cannot"] = tuple(values["cannot"])
    return Sheet(**values)
