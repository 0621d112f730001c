"""One run as a job for the runner's thread: archive, lot, desk, run, explanations; no Qt."""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final

from rungbench.archive.record import Record
from rungbench.archive.store import Archive, open_archive
from rungbench.archive.writer import RunArchive, open_for_run
from rungbench.desktop.commands import Tell
from rungbench.desktop.run_desk import HelpedDesk, WindowDesk
from rungbench.errors import RungbenchError
from rungbench.link.words import Mode
from rungbench.lots.basis import basis_of, require_same
from rungbench.lots.errors import LotRefused
from rungbench.lots.lot import Lot, LotState
from rungbench.lots.store import Lots
from rungbench.paths import Place
from rungbench.qualify.bench import is_simulated
from rungbench.qualify.desk import Desk
from rungbench.qualify.findings import Explanation, explain
from rungbench.qualify.order import Order
from rungbench.qualify.progress import People
from rungbench.qualify.runner import run
from rungbench.standin.board import StandIn

SIMULATED_HAND: Final = "the simulated operator"


@dataclass(frozen=True, slots=True)
class Assignment:
    """What is to be run, where it is kept, and in which lot it counts.

    `by_hand` has people answer the questions of a simulated bench, too.
    """

    order: Order
    url: str
    archive: Place
    lot: Lot | None = None
    reason: str = ""
    by_hand: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class DeskOpened:
    """The desk on which the window answers; told first."""

    desk: WindowDesk


@dataclass(frozen=True, slots=True, eq=False)
class RunOutcome:
    """A finished run with where it is kept; `trouble` are sentences that change no verdict."""

    record: Record
    archive: Place
    explanations: tuple[Explanation, ...] = ()
    trouble: tuple[str, ...] = field(default=())
    lot: LotState | None = None


def run_work(assignment: Assignment) -> Callable[[StandIn, Tell], RunOutcome]:
    """The work of a `commands.Job` for this assignment.

    Raises
    ------
    WrongUse, ArchiveError, LotRefused : the run may not begin; nothing was presented then.
    """

    def work(standin: StandIn, tell: Tell) -> RunOutcome:
        simulated = standin.identity.simulated
        # The live view's sampling would go on under steps that record edges only.
        standin.stream(Mode.OFF)
        with open_for_run(assignment.archive, simulated) as archive:
            if assignment.lot is not None:
                _enter(assignment, assignment.lot, archive)
            people = People(tell, _desk(assignment, standin, tell))
            record = run(assignment.order, standin, archive, people, url=assignment.url)
            return _outcome(assignment, archive, record)

    return work


def admit(assignment: Assignment) -> None:
    """Refuse a run that may not join its lot, before anything is presented; `LotRefused`."""
    lot = assignment.lot
    if lot is None:
        return
    require_same(lot, assignment.order.charger, basis_of(assignment.order))
    with open_archive(assignment.archive, lot.simulated, create=False) as archive:
        Lots(archive).admit(lot, assignment.order.charger.serial, assignment.reason)


def _enter(assignment: Assignment, lot: Lot, archive: RunArchive) -> None:
    if archive.simulated is not lot.simulated:
        raise LotRefused(
            f"Lot {lot.name!r} and this bench are not of one kind, real or simulated; take the "
            "bench or the lot that fits."
        )
    serial = assignment.order.charger.serial
    archive.beside = Lots(archive).joining(lot, serial, assignment.reason)


def _desk(assignment: Assignment, standin: StandIn, tell: Tell) -> Desk:
    simulated = is_simulated(assignment.url)
    helped = simulated and not assignment.by_hand
    window = WindowDesk(tell, SIMULATED_HAND if helped else "")
    tell(DeskOpened(window))
    if not simulated:
        return window
    # Late: a real bench needs nothing of the simulated one.
    from rungbench.qualify.simulated_desk import SimulatedDesk
    from rungbench.simulated.operator import Operator

    operator = Operator(standin.port)
    if helped:
        return HelpedDesk(window, SimulatedDesk(operator))
    return SimulatedDesk(operator, window)


def _outcome(assignment: Assignment, archive: RunArchive, record: Record) -> RunOutcome:
    trouble = [] if archive.problem is None else [archive.problem]
    return RunOutcome(
        record,
        archive.place,
        explain(record),
        tuple(trouble),
        _standing(assignment, archive, trouble),
    )


def _standing(assignment: Assignment, archive: Archive, trouble: list[str]) -> LotState | None:
    """Where the lot stands after the run; a run that is kept elsewhere is not in it."""
    if assignment.lot is None or trouble:
        return None
    try:
        return Lots(archive).state(assignment.lot.name)
    except RungbenchError as problem:
        trouble.append(str(problem))
        return None
