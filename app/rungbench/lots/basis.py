"""What a lot demands of every run, so that all its units are judged alike."""

from collections.abc import Iterator

from rungbench.archive.record import ChargerIdentity, RunHeader
from rungbench.archive.rows import search_key
from rungbench.lots.errors import LotRefused
from rungbench.lots.lot import Basis, Lot
from rungbench.qualify.order import Order, left_out
from rungbench.qualify.safety import OUTLET_DEAD
from rungbench.qualify.sheet import Sheet

_NAMES = ("maker", "model")
_STATED = ("rated_current_a", "set_current_a", "phases", "outlet", "ventilation")


def basis_of(order: Order) -> Basis:
    """The basis of a run that is to come."""
    gone = left_out(order)
    planned = tuple(check.id for check in order.plan.checks if check.id not in gone)
    plan, profile = order.plan, order.profile
    return Basis(plan.name, plan.hash, profile.label, profile.hash, (*planned, OUTLET_DEAD))


def basis_of_run(header: RunHeader) -> Basis:
    """The basis of a run that is recorded."""
    return Basis(header.plan, header.plan_hash, header.profile, header.profile_hash, header.planned)


def require_same(lot: Lot, charger: ChargerIdentity, basis: Basis) -> None:
    """Refuse a run of another model, or one that is judged by anything else than the lot.

    Raises
    ------
    LotRefused : it is; the sentence says what differs.
    """
    for what in _differences(lot, charger, basis):
        raise LotRefused(
            f"The run does not belong in lot {lot.name!r}: {what}; all units of a lot are "
            "described and judged alike."
        )


def _differences(lot: Lot, charger: ChargerIdentity, basis: Basis) -> Iterator[str]:
    yield from _of_charger(lot.sheet, charger)
    wanted = lot.basis
    for name, one, other in (
        ("plan", (basis.plan, basis.plan_hash), (wanted.plan, wanted.plan_hash)),
        ("profile", (basis.profile, basis.profile_hash), (wanted.profile, wanted.profile_hash)),
    ):
        if one != other:
            yield f"its {name} is {_named(*one)}, that of the lot {_named(*other)}"
    if set(basis.planned) != set(wanted.planned):
        differ = sorted(set(basis.planned) ^ set(wanted.planned))
        yield f"not the same checks apply ({', '.join(differ)})"


def _of_charger(sheet: Sheet, charger: ChargerIdentity) -> Iterator[str]:
    for name in _NAMES:
        stated, found = getattr(sheet, name) or "", getattr(charger, name)
        if search_key(stated) != search_key(found):
            yield f"its {name} is {found!r}, that of the lot's model sheet {stated!r}"
    for name in _STATED:
        stated, found = getattr(sheet, name), getattr(charger, name)
        if stated is not None and stated != found:
            yield f"its {name} is {found}, that of the lot's model sheet {stated}"


def _named(name: str, digest: str) -> str:
    return f"{name} ({digest[:8]})"
