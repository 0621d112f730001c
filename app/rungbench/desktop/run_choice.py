"""What a run can be chosen from: model sheets, lots, plans, profiles; no Qt.

All of it comes from files and the archive, so `offer` belongs on a thread of errands.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from pilotsignal.errors import PilotSignalError
from pilotsignal.standard import BUILT_IN, Profile, load_profile
from rungbench.archive.record import ChargerIdentity
from rungbench.archive.store import open_archive
from rungbench.desktop.run_options import NOTHING_STATED, Options
from rungbench.errors import RungbenchError, WrongUse
from rungbench.lots.decision import LotDecision
from rungbench.lots.lot import Lot, LotState
from rungbench.lots.store import Lots
from rungbench.paths import Place, paths
from rungbench.qualify.desk import Ask
from rungbench.qualify.order import Order, check_charger
from rungbench.qualify.plan import Plan
from rungbench.qualify.plan_file import load_plan, shipped_plans
from rungbench.qualify.sheet import INVENTED, Sheet, read_sheet

_NEEDED: Final = {
    "maker": "maker",
    "model": "model",
    "rated_current_a": "rated current",
    "phases": "number of phases",
    "outlet": "outlet",
}


@dataclass(frozen=True, slots=True)
class Model:
    """A model sheet to choose: invented, from a file, typed by hand, or that of a lot."""

    title: str
    sheet: Sheet
    lot: Lot | None = None
    invented: bool = False

    @property
    def missing(self) -> tuple[str, ...]:
        """What the sheet does not state and a run needs."""
        return tuple(
            word for key, word in _NEEDED.items() if getattr(self.sheet, key) in (None, "")
        )


@dataclass(frozen=True, slots=True)
class Offer:
    """All that can be chosen on one bench; `trouble` are sentences about what cannot be used."""

    models: tuple[Model, ...] = ()
    plans: tuple[Plan, ...] = ()
    profiles: tuple[Profile, ...] = ()
    trouble: tuple[str, ...] = ()

    def plan(self, name: str) -> Plan | None:
        """The plan of that name."""
        return next((plan for plan in self.plans if plan.name == name), None)

    def profile(self, name: str) -> Profile | None:
        """The profile of that name."""
        return next((one for one in self.profiles if one.name == name), None)


@dataclass(frozen=True, slots=True)
class Choice:
    """What was chosen for the runs to come; `plan` as it stands in its file."""

    model: Model
    plan: Plan
    profile: Profile
    operator: str = ""
    options: Options = NOTHING_STATED

    @property
    def amended(self) -> Plan:
        """The plan as it will be run."""
        return self.options.amended(self.plan)

    def order(self, serial: str, *, armed: bool, reason: str = "") -> Order:
        """The order for one charger; `reason` is why it is tested again.

        Raises
        ------
        WrongUse : the charger is not fully described, or in a way that no charger can be.
        """
        missing = self.model.missing
        if missing:
            raise WrongUse(
                f"The model sheet {self.model.title!r} does not state: {', '.join(missing)}; "
                "complete it, then start again."
            )
        order = self.draft(serial, reason, armed=armed)
        check_charger(order.charger, self.profile)
        return order

    def draft(self, serial: str, reason: str = "", *, armed: bool = False) -> Order:
        """The same without a look at whether the charger can be so."""
        charger = self._charger(serial, reason)
        cannot = frozenset(Ask(word) for word in self.model.sheet.cannot or ())
        cannot |= self.options.cannot
        return Order(self.amended, charger, self.profile, self.operator, armed, cannot)

    def _charger(self, serial: str, reason: str) -> ChargerIdentity:
        sheet, stated = self.model.sheet, self.options
        again = f"Tested again: {reason.strip()}" if reason.strip() and not self.model.lot else ""
        return ChargerIdentity(
            maker=sheet.maker or "",
            model=sheet.model or "",
            serial=serial,
            rated_current_a=sheet.rated_current_a or 0.0,
            set_current_a=stated.set_current_a or sheet.set_current_a,
            phases=sheet.phases or 0,
            outlet=sheet.outlet or "",
            notes=". ".join(filter(None, (sheet.notes or "", again))),
            ventilation=stated.ventilation or sheet.ventilation or "",
        )


def sheets_folder() -> Path:
    """Where the user's model sheets lie, beside plans and profiles."""
    return paths().config_file.parent / "sheets"


def offer(archive: Place, *, simulated: bool) -> Offer:
    """What there is; what cannot be used is told and left out."""
    trouble: list[str] = []
    models = [*_lots(archive, simulated, trouble), *_sheets(trouble)]
    if simulated:
        models = [Model("Simulated charger", INVENTED, invented=True), *models]
    return Offer(tuple(models), tuple(_plans(trouble)), tuple(_profiles(trouble)), tuple(trouble))


def _sheets(trouble: list[str]) -> Iterator[Model]:
    for file in sorted(sheets_folder().glob("*.toml")):
        try:
            yield Model(file.stem, read_sheet(file))
        except RungbenchError as problem:
            trouble.append(str(problem))


def _lots(archive: Place, simulated: bool, trouble: list[str]) -> Iterator[Model]:
    if not archive.exists():
        return
    try:
        with open_archive(archive, simulated, create=False) as opened:
            states = Lots(opened).states()
    except RungbenchError as problem:
        trouble.append(str(problem))
        return
    yield from (lot_model(state) for state in reversed(states) if state.end is None)


def lot_model(state: LotState) -> Model:
    """The model sheet of a lot, with the lot's plan."""
    lot = state.lot
    open_still = state.standing.decision is LotDecision.OPEN
    word = "" if open_still else f" ({state.standing.decision})"
    return Model(f"Lot {lot.name}{word}", replace(lot.sheet, plan=lot.basis.plan), lot=lot)


def with_lot(found: Offer, state: LotState) -> tuple[Offer, Model]:
    """What there is with a lot as it stands now; its model comes first."""
    model = lot_model(state)
    others = [one for one in found.models if one.lot is None or one.lot.name != state.lot.name]
    return replace(found, models=(model, *others)), model


def _plans(trouble: list[str]) -> Iterator[Plan]:
    for name in shipped_plans():
        yield load_plan(name)
    own = paths().plans
    for file in sorted(own.glob("*.toml")):
        try:
            yield load_plan(file.stem, own)
        except RungbenchError as problem:
            trouble.append(str(problem))


def _profiles(trouble: list[str]) -> Iterator[Profile]:
    for name in BUILT_IN:
        yield load_profile(name)
    for file in sorted(paths().profiles.glob("*.toml")):
        try:
            yield load_profile(file)
        except (RungbenchError, PilotSignalError) as problem:
            trouble.append(str(problem))
