"""The run in the window: what was chosen, who is on the bench, how far the run is, what it came to.

Both faces of the run, the view and the inspection mode, show this one and call it.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime
from enum import StrEnum
from typing import Final

from PySide6.QtCore import QObject, Signal, Slot

from rungbench.desktop.commands import Job
from rungbench.desktop.errands import Cancel, Errand, Errands
from rungbench.desktop.room import Room
from rungbench.desktop.run_choice import Choice, Model, Offer, offer, with_lot
from rungbench.desktop.run_desk import WindowDesk
from rungbench.desktop.run_intake import Intake, Repeated, newest_by_serial, untested
from rungbench.desktop.run_job import (
    Assignment,
    DeskOpened,
    RunOutcome,
    admit,
    run_work,
)
from rungbench.desktop.run_options import Options
from rungbench.desktop.run_papers import Papers, papers_folder, write_papers
from rungbench.desktop.run_progress import Line, Progress, planned
from rungbench.desktop.run_shift import Shift
from rungbench.desktop.run_shift_count import ShiftCount
from rungbench.desktop.snapshots import JobEnd, LinkState, Snapshot
from rungbench.errors import RungbenchError, WrongUse
from rungbench.lots.lot import LotState
from rungbench.paths import Place
from rungbench.qualify.desk import Answer, Want, Wish
from rungbench.qualify.progress import Paused
from rungbench.qualify.sheet import INVENTED_SERIAL
from rungbench.settings import Settings, load_settings

TITLE: Final = "run"
_SECTION: Final = "run"


class Phase(StrEnum):
    """Where the bench is between two chargers."""

    CHOOSE = "choose"
    """A serial number is wanted."""
    READY = "ready"
    """The charger is named; the run may begin."""
    RUNNING = "running"
    DONE = "done"


@dataclass(slots=True)
class _Bench:
    """What goes with the bench that is connected."""

    url: str = ""
    simulated: bool = False
    archive: Place | None = None
    settings: Settings | None = None


class RunControl(QObject):
    """See the module; lives on the main thread.

    `changed` after anything that is shown changed, `ticked` when only time passed, `checked` with
    the id of a check that was stored, `ended` with a `RunOutcome`.
    """

    changed = Signal()
    ticked = Signal()
    checked = Signal(str)
    ended = Signal(object)

    def __init__(self, room: Room) -> None:
        super().__init__()
        self.room = room
        self.phase = Phase.CHOOSE
        self.offer = Offer()
        self.choice: Choice | None = None
        self.serial = ""
        self.reason = ""
        self.asks_reason = False
        self.sentence = ""
        self.by_hand = room.preferences.get(_SECTION, "by hand", False)
        self.progress: Progress | None = None
        self.outcome: RunOutcome | None = None
        self.errands = Errands("run", self)
        self.counting = ShiftCount(room.preferences, self.errands, self.tell)
        self.counting.counted.connect(self._counted)
        self._handed: LotState | None = None  # before there was anything to choose from
        self._desk: WindowDesk | None = None
        self._proposed = ""
        self._early: list[Wish] = []  # wanted before the desk was open
        self._bench = _Bench()
        room.worker.link.connect(self._on_link)
        room.worker.told.connect(self._on_told)
        room.worker.job_ended.connect(self._on_job_ended)
        room.worker.snapshot.connect(self._on_snapshot)
        self._on_link(room.worker.link_now)

    def close(self) -> None:
        """End the thread; what was chosen is remembered."""
        self.errands.close()

    # What is chosen -----------------------------------------------------------------------------

    @property
    def simulated(self) -> bool:
        """Whether the bench is simulated."""
        return self._bench.simulated

    @property
    def archive(self) -> Place | None:
        """Where runs on this bench are kept."""
        return self._bench.archive

    @property
    def shift(self) -> Shift:
        """The shift so far."""
        return self.counting.shift

    @property
    def running(self) -> bool:
        """Whether a run goes on."""
        return self.phase is Phase.RUNNING

    @property
    def at_s(self) -> float | None:
        """The board's time."""
        snapshot = self.room.worker.snapshot_now
        return None if snapshot is None else snapshot.at_s

    @property
    def intake(self) -> Intake | None:
        """What scans are taken by."""
        if self.choice is None:
            return None
        # A lot has rules of its own about chargers that come again.
        tested = {} if self.choice.model.lot else newest_by_serial(self.shift.newest)
        return Intake(self.choice.model.sheet, tested)

    @property
    def lines(self) -> tuple[Line, ...]:
        """The checks of this run, or of the one that would begin now."""
        if self.progress is not None:
            return tuple(self.progress.lines.values())
        return () if self.choice is None else tuple(planned(self.choice.draft(self.serial)))

    def choose_model(self, model: Model) -> None:
        """Another model sheet, with its plan and, for a lot, its profile."""
        if self.choice is None or self.running:
            return
        plan = self.offer.plan(model.sheet.plan or "") or self.choice.plan
        profile = self.choice.profile
        if model.lot is not None:
            profile = self.offer.profile(model.lot.basis.profile.split(" ")[0]) or profile
        # What was stated of one model holds for no other.
        chosen = Choice(model, plan, profile, self.choice.operator)
        self._choose(chosen)
        self._new_charger()

    def choose_plan(self, name: str) -> None:
        """Another plan."""
        plan = self.offer.plan(name)
        if self.choice is not None and plan is not None and not self.running:
            self._choose(replace(self.choice, plan=plan))

    def choose_profile(self, name: str) -> None:
        """Another set of limits."""
        profile = self.offer.profile(name)
        if self.choice is not None and profile is not None and not self.running:
            self._choose(replace(self.choice, profile=profile))

    def choose_options(self, options: Options) -> None:
        """What is stated beside sheet and plan, for this model."""
        if self.choice is not None and not self.running and self.choice.model.lot is None:
            self._choose(replace(self.choice, options=options))

    def name_operator(self, name: str) -> None:
        """Who does it from now on."""
        if self.choice is not None:
            self._choose(replace(self.choice, operator=name.strip()))

    def let_answer_by_hand(self, by_hand: bool) -> None:
        """Whether people answer the questions of a simulated bench, too."""
        self.by_hand = by_hand
        self.room.preferences.put(_SECTION, "by hand", by_hand)

    def add_model(self, model: Model) -> None:
        """A model sheet from a file or by hand; it is chosen."""
        self.offer = replace(self.offer, models=(model, *self.offer.models))
        if self.choice is None:
            self._take_offer(self.offer)
        self.choose_model(model)

    def take_lot(self, state: LotState) -> None:
        """A lot whose next unit is tested; its sheet, plan and limits are chosen with it."""
        if self.running:
            self.tell("A run goes on; the lot can be chosen when it has ended.")
            return
        if self.choice is None:
            self._handed = state
            return
        self.offer, model = with_lot(self.offer, state)
        self.choose_model(model)

    def _choose(self, choice: Choice) -> None:
        self.choice = choice
        put = self.room.preferences.put
        put(_SECTION, "model", choice.model.title)
        put(_SECTION, "plan", choice.plan.name)
        put(_SECTION, "profile", choice.profile.name)
        put(_SECTION, "operator", choice.operator)
        self.changed.emit()

    # The charger --------------------------------------------------------------------------------

    def scan(self, text: str) -> bool:
        """A scan, or a serial number that was typed; whether it names the charger to come."""
        intake = self.intake
        if intake is None or self.running or not text.strip():
            return False
        if self.phase is Phase.DONE:
            self._new_charger()
        self.asks_reason = False
        try:
            self.serial = intake.take(text, self.reason)
            self.phase, self.sentence = Phase.READY, ""
        except Repeated as repeated:
            self.serial, self.phase = "", Phase.CHOOSE
            self.sentence, self.asks_reason = str(repeated), True
        except WrongUse as problem:
            self.serial, self.phase, self.sentence = "", Phase.CHOOSE, str(problem)
        self.changed.emit()
        return self.phase is Phase.READY

    def state_reason(self, reason: str) -> None:
        """Why a charger is tested again."""
        self.reason = reason.strip()

    def next_charger(self) -> None:
        """Put this one away."""
        if not self.running:
            self._new_charger()
            self.changed.emit()

    def _new_charger(self) -> None:
        self.phase, self.serial, self.reason = Phase.CHOOSE, "", ""
        self.outcome, self.progress, self.sentence, self.asks_reason = None, None, "", False
        self._propose()

    def _propose(self) -> None:
        """Invented chargers are named at once."""
        if self.choice is not None and self.choice.model.invented:
            self._proposed = untested(INVENTED_SERIAL, newest_by_serial(self.shift.newest))
            self.serial, self.phase = self._proposed, Phase.READY

    # The run ------------------------------------------------------------------------------------

    def start(self, *, armed: bool) -> None:
        """Begin the run, after the cautions if it may energise.

        `armed` is for one deliberate key only, which no scanner sends.
        """
        if self.running or self.choice is None:
            return
        if self.phase is not Phase.READY:
            self.tell("Name the charger first: scan its serial number, or type it, then Enter.")
            return
        if not self.room.worker.link_now.up:
            self.tell("There is no bench; connect one, then start again.")
            return
        snapshot = self.room.worker.snapshot_now
        if snapshot is not None and snapshot.alarm:
            self.tell("The outlet was live after open; switch off the supply, note the alarm.")
            return
        if armed and self.choice.plan.energises:
            self.room.cautions.confirmed(lambda: self._admit(armed=True))
        else:
            self._admit(armed=armed)

    def _admit(self, *, armed: bool) -> None:
        if self.choice is None or self._bench.archive is None or self.phase is not Phase.READY:
            return
        choice = self.choice
        try:
            order = choice.order(self.serial, armed=armed, reason=self.reason)
        except WrongUse as problem:
            self.tell(str(problem))
            return
        lot = choice.model.lot
        assignment = Assignment(
            order, self._bench.url, self._bench.archive, lot, self.reason, self.by_hand
        )
        self.phase, self.sentence = Phase.RUNNING, ""
        self.progress, self.outcome, self._desk = Progress(order), None, None
        self._early.clear()
        self.changed.emit()
        self.errand(
            lambda _cancel: admit(assignment), lambda _: self._begin(assignment), self._refused
        )

    def _begin(self, assignment: Assignment) -> None:
        if self.running:
            self.room.worker.start(Job(TITLE, run_work(assignment)))

    def _refused(self, sentence: str) -> None:
        self.phase, self.progress = Phase.READY, None
        if self.choice is not None and self.choice.model.lot is not None:
            self.asks_reason = "tested" in sentence
            self.phase = Phase.CHOOSE if self.asks_reason else Phase.READY
        self.tell(sentence)

    def stop(self) -> None:
        """Back to open; a run is recorded as interrupted."""
        self.room.worker.open()

    def pause(self) -> None:
        """Pause on open, or go on."""
        paused = self.progress is not None and self.progress.stage == "paused"
        self._want(Wish(Want.GO_ON if paused else Want.PAUSE))
        if self.running:
            self.tell("" if paused else "The run pauses when the stand-in is on open.")

    def skip(self, reason: str) -> None:
        """Skip the next step; the record keeps the reason, without one nothing is skipped."""
        if reason.strip():
            self._want(Wish(Want.SKIP, reason=reason.strip()))
        else:
            self.tell("A step is skipped only with a reason, which the record keeps; state one.")

    def repeat(self, step: str = "") -> None:
        """Perform a step again, the last one without a name."""
        self._want(Wish(Want.REPEAT, step=step))

    def answer(self, answer: Answer) -> None:
        """Answer the open question."""
        question = None if self.progress is None else self.progress.question
        if question is None or self._desk is None:
            return
        if answer.reply == "cannot" and not answer.reason.strip():
            self.tell("State why it cannot be done; the record keeps it.")
            return
        self._desk.reply(question.number, answer)

    def _want(self, wish: Wish) -> None:
        if not self.running:
            return
        if self._desk is None:
            self._early.append(wish)
        else:
            self._desk.want(wish)

    # Papers and shift ---------------------------------------------------------------------------

    def report_and_next(self) -> None:
        """Write the inspection report, and make room for the next charger."""
        if self.outcome is None:
            self.tell("There is no finished run to report; run one first.")
            return
        outcome = self.outcome
        self.next_charger()
        folder = papers_folder(self.room.preferences)
        self.errand(lambda _: write_papers(outcome, folder), self._reported, self.tell)

    def _reported(self, papers: Papers) -> None:
        self.tell(f"The inspection report is {papers.report}.")

    def new_shift(self, since: datetime | None = None) -> None:
        """Count from then on, from now on without it."""
        self.counting.begin(since)
        self.changed.emit()

    def _counted(self) -> None:
        if self.phase is Phase.READY and self.serial == self._proposed:
            self._propose()
        self.changed.emit()

    # What comes back ----------------------------------------------------------------------------

    @Slot(object)
    def _on_link(self, link: LinkState) -> None:
        if (link.url, link.simulated) != (self._bench.url, self._bench.simulated) or (
            link.up and self.choice is None
        ):
            self._connect(link)
        self.changed.emit()

    def _connect(self, link: LinkState) -> None:
        if self.running or not link.url:
            return
        try:
            chosen = load_settings()
            archive = chosen.archive_for(link.simulated)
        except RungbenchError as problem:
            self.tell(str(problem))
            return
        self._bench = _Bench(link.url, link.simulated, archive, chosen.settings)
        simulated = link.simulated
        self.errand(lambda _: offer(archive, simulated=simulated), self._take_offer, self.tell)
        self.counting.look_in(archive, simulated=simulated)

    def _take_offer(self, found: Offer) -> None:
        settings = self._bench.settings
        if settings is None:
            return
        self.offer = found
        get = self.room.preferences.get
        model = next(
            (one for one in found.models if one.title == get(_SECTION, "model", "")),
            found.models[0] if found.models else None,
        )
        plan = found.plan(get(_SECTION, "plan", settings.plan)) or found.plans[0]
        profile = found.profile(get(_SECTION, "profile", settings.profile)) or found.profiles[0]
        if model is None:
            self.choice = None
            self.tell("There is no model sheet; describe the charger, or open a sheet.")
            return
        operator = get(_SECTION, "operator", settings.operator)
        self.choice = Choice(model, plan, profile, operator)
        self.choose_model(model)
        if found.trouble:
            self.tell(" ".join(found.trouble))
        if self._handed is not None and not self.running:
            handed, self._handed = self._handed, None
            self.take_lot(handed)

    @Slot(object)
    def _on_told(self, told: object) -> None:
        if isinstance(told, DeskOpened):
            self._desk = told.desk
            for wish in self._early:
                told.desk.want(wish)
            self._early.clear()
            return
        if self.progress is None or not self.progress.take(told, self.at_s):
            return
        if self.progress.alarm:
            self.room.alarm(self.progress.alarm)
        if isinstance(told, Paused):
            self.sentence = ""
        self.changed.emit()
        if self.progress.latest:
            self.checked.emit(self.progress.latest)

    @Slot(object)
    def _on_job_ended(self, end: JobEnd) -> None:
        if end.title != TITLE or not self.running:
            return
        self._desk = None
        if isinstance(end.result, RunOutcome):
            self.outcome, self.phase = end.result, Phase.DONE
            self.sentence = " ".join(end.result.trouble)
            self._hand_over(end.result)
            self.ended.emit(end.result)
        else:
            self.phase, self.sentence = Phase.READY, end.sentence
        self.counting.count()
        self.changed.emit()

    def _hand_over(self, outcome: RunOutcome) -> None:
        """Report and JSON to wherever the settings want them."""
        settings = self._bench.settings
        if settings is None or not (settings.after_run_folder or settings.after_run_command):
            return
        from rungbench.desktop.run_papers import handed_over

        self.errand(lambda _: handed_over(outcome, settings), self.tell, self.tell)

    @Slot(object)
    def _on_snapshot(self, _snapshot: Snapshot) -> None:
        if self.running:
            self.ticked.emit()

    def tell(self, sentence: str) -> None:
        """A sentence for whoever stands there; shown in place until the next one."""
        self.sentence = sentence
        self.changed.emit()

    def errand(
        self,
        work: Callable[[Cancel], object],
        done: Callable[..., None],
        failed: Callable[[str], None],
    ) -> None:
        """Have something done on the thread of errands."""
        self.errands.start(Errand(work, done, failed))
