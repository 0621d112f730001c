"""What a step brings home, for its checks to be judged from."""

from dataclasses import dataclass, replace

from pilotsignal.measure import PilotMeasurement
from pilotsignal.response import Window
from rungbench.link.words import Setting
from rungbench.qualify.desk import Answer, Question
from rungbench.qualify.plan import Step
from rungbench.standin.record import Applied, BoardRecord, Losses


@dataclass(frozen=True, slots=True)
class Asked:
    """A question with its answer: board ticks of both, and of what it was to bring about.

    `answer` is ``None`` where nobody answered in time, `shown` where it never showed.
    """

    question: Question
    put: int
    answer: Answer | None
    answered: int
    shown: int | None = None

    @property
    def trouble(self) -> str:
        """Why it was not done, or nothing."""
        if self.answer is None:
            return f"Nobody answered within {self.question.limit_s:g} s: {self.question.text}"
        if self.answer.reply == "done":
            return ""
        return f"It could not be done ({self.answer.reason}): {self.question.text}"


@dataclass(frozen=True, slots=True, eq=False)
class Sample:
    """One of several measurements of a step: of a sweep, or of a long stay.

    `before` is what was recorded on the way to it, edges and mains only.
    """

    tick: int
    measurement: PilotMeasurement | None
    record: BoardRecord
    asked: Asked | None = None
    before: BoardRecord | None = None

    @property
    def records(self) -> tuple[BoardRecord, ...]:
        """Both records, in order of time."""
        return (self.record,) if self.before is None else (self.before, self.record)

    def parts(self, number: int) -> tuple[tuple[str, BoardRecord], ...]:
        """Both records, each with a name; `number` counts the samples of the step from 1."""
        ampere = self.asked.question.ampere if self.asked else None
        name = f"part {number}" if ampere is None else f"{ampere:g} A, part {number}"
        if self.before is None:
            return ((name, self.record),)
        return ((f"before {name}", self.before), (name, self.record))


@dataclass(frozen=True, slots=True, eq=False)
class Evidence:
    """One pass through one step.

    `before` is the setting that the step came from, `live_before` the phases that were live then.
    `seen` are all phases that were live at any time during the step, settling included.  `window`
    is what the old setting's high level lies in.  `limit_s` is what mains was watched against.
    `fine` is a second record with the fastest sampling, and `fine_measurement` what it tells, where
    the profile counts the pulse width at a level that the comparator does not see.  `asked` is what
    the operator was asked, `series` what a sweep or a long stay measured, `back` the tick at which
    the pilot pulsed again after a fault.
    """

    step: Step
    before: Setting
    applied: Applied
    record: BoardRecord
    measurement: PilotMeasurement | None = None
    live_before: frozenset[int] = frozenset()
    seen: frozenset[int] = frozenset()
    window: Window | None = None
    limit_s: float = 0.0
    fine: BoardRecord | None = None
    fine_measurement: PilotMeasurement | None = None
    captures: tuple[str, ...] = ()
    attempt: int = 1
    asked: Asked | None = None
    series: tuple[Sample, ...] = ()
    back: int | None = None

    @property
    def live(self) -> frozenset[int]:
        """Phases live at the end."""
        return self.record.mains

    @property
    def pulsing(self) -> bool:
        """Whether the pilot pulsed at all during the record."""
        return self.record.edges.times.size > 1

    @property
    def records(self) -> tuple[BoardRecord, ...]:
        """All records of the step."""
        return tuple(record for _, record in self.parts)

    @property
    def parts(self) -> tuple[tuple[str, BoardRecord], ...]:
        """All records of the step, each with what sets it apart, the step's own one first."""
        fine = () if self.fine is None else (("fastest samples", self.fine),)
        series = tuple(part for n, one in enumerate(self.series, 1) for part in one.parts(n))
        return (("", self.record), *fine, *series)

    @property
    def losses(self) -> Losses:
        """What is missing in the first record that is not whole."""
        return next((one.losses for one in self.records if one.losses), Losses())

    @property
    def pulse(self) -> PilotMeasurement | None:
        """What tells pulse width and frequency."""
        return self.fine_measurement or self.measurement

    @property
    def where(self) -> str:
        """The rung, for people."""
        return self.applied.reported.text()

    def with_captures(self, keys: tuple[str, ...]) -> "Evidence":
        """The same evidence, with the keys that its captures are stored under."""
        return replace(self, captures=keys)
