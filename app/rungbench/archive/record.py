"""What a run leaves behind: plain, frozen, without any storage.

`rungbench.qualify` fills these; `rungbench.archive.store` keeps them and reads
them back equal.
"""

import secrets
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from enum import StrEnum
from types import MappingProxyType
from typing import Any, Final

from pilotsignal.judge import Judgement, Verdict
from pilotsignal.quantity import Quantity

# No letters and digits that are taken for one another when read aloud or copied by hand.
_ID_ALPHABET = "23456789abcdefghjkmnpqrstuvwxyz"
_ID_GROUPS = (5, 5)

NOT_FINISHED = "the program ended before the run was finished"

NOTHING: Final[Mapping[str, Any]] = MappingProxyType({})


class Role(StrEnum):
    """What a check means to the verdict of its run: only required ones decide."""

    REQUIRED = "required"
    OPTIONAL = "optional"
    INDICATIVE = "indicative"


class RunVerdict(StrEnum):
    """Verdict of a run, the first that applies in this order."""

    FAIL = "fail"
    BENCH_FAULT = "bench fault"
    INCOMPLETE = "incomplete"
    UNDECIDED = "undecided"
    PASS = "pass"


class Derivation(StrEnum):
    """How a record came out of another one; nothing was measured for it."""

    JUDGED_AGAIN = "judged again"
    CORRECTED = "corrected"


@dataclass(frozen=True, slots=True)
class Origin:
    """The record that another one was made from, with its hash then, and why and when.

    Raises
    ------
    ValueError : `entered` carries no time zone.
    """

    kind: Derivation
    record: str
    sha256: str
    reason: str
    entered: datetime

    def __post_init__(self) -> None:
        require_utc("entered", self.entered)


@dataclass(frozen=True, slots=True)
class ChargerIdentity:
    """The charger as its label and the user describe it; currents in ampere.

    `set_current_a` is ``None`` where nobody stated it.  `outlet` is ``socket`` or ``cable``.
    `ventilation` is ``allow``, ``refuse`` or empty: nobody declared it.
    """

    maker: str
    model: str
    serial: str
    rated_current_a: float
    set_current_a: float | None
    phases: int
    outlet: str
    notes: str = ""
    ventilation: str = ""


@dataclass(frozen=True, slots=True)
class CheckResult:
    """One thing judged, complete: what is stored in one transaction.

    `captures` are the keys that `Archive.add_capture` returned.  Ticks are board time of 62.5 ns.
    `attempt` counts from 1; a retake is a result of its own.
    """

    check: str
    title: str
    role: Role
    verdict: Verdict
    judgements: tuple[Judgement, ...] = ()
    quantities: tuple[Quantity, ...] = ()
    observations: Mapping[str, str] = field(default_factory=lambda: NOTHING)
    why: str = ""
    captures: tuple[str, ...] = ()
    start_tick: int | None = None
    end_tick: int | None = None
    attempt: int = 1


@dataclass(frozen=True, slots=True)
class RunHeader:
    """All that is known before the first check.

    `board`, `calibration` and `versions` hold what JSON holds.  `left_out` names checks that
    cannot apply and why; `planned` the ids of those that are to run, in order.  `origin` is the
    record that this one was made from; its times are then those of the measurement.

    Raises
    ------
    ValueError : `started` carries no time zone.
    """

    run_id: str
    simulated: bool
    charger: ChargerIdentity
    operator: str
    bench_url: str
    board: Mapping[str, Any]
    calibration: Mapping[str, Any]
    profile: str
    profile_hash: str
    plan: str
    plan_hash: str
    versions: Mapping[str, str]
    started: datetime
    left_out: tuple[tuple[str, str], ...] = ()
    planned: tuple[str, ...] = ()
    origin: Origin | None = None

    def __post_init__(self) -> None:
        require_utc("started", self.started)


@dataclass(frozen=True, slots=True)
class Record:
    """A run as the archive holds it.

    `finished` is ``None`` and `interrupted` says why where the run came to no end of its own.
    `make_safe` is what the bench reported when it was left; `capture_names` maps the names given
    to `Archive.add_capture` to keys.  `expired` are keys of captures whose content was removed,
    and when; `followed_by` the records that were made from this one.
    """

    header: RunHeader
    checks: tuple[CheckResult, ...]
    verdict: RunVerdict
    finished: datetime | None
    interrupted: str | None = None
    make_safe: Mapping[str, Any] = field(default_factory=lambda: NOTHING)
    capture_names: tuple[tuple[str, str], ...] = ()
    expired: tuple[tuple[str, datetime], ...] = ()
    followed_by: tuple[str, ...] = ()

    @property
    def run_id(self) -> str:
        return self.header.run_id


def new_run_id() -> str:
    """Id of a new run: random, short enough to type, never derived from the clock."""
    return "-".join(
        "".join(secrets.choice(_ID_ALPHABET) for _ in range(length)) for length in _ID_GROUPS
    )


def utc_now() -> datetime:
    """The time of day for records; durations never come from it."""
    return datetime.now(UTC)


def require_utc(name: str, moment: datetime) -> None:
    """Refuse a time without zone: nobody could tell later what it meant."""
    if moment.tzinfo is None:
        raise ValueError(f"{name} carries no time zone")


def run_verdict(checks: Iterable[CheckResult], interrupted: str | None = None) -> RunVerdict:
    """Verdict of a run from its checks, by the precedence of `RunVerdict`.

    Of several attempts at a check the last one counts, but a fail is never washed away by a
    retake.  A run without a single required check that passed is never a pass.
    """
    verdicts = set(_deciding(checks))
    if Verdict.FAIL in verdicts:
        return RunVerdict.FAIL
    if Verdict.BENCH_FAULT in verdicts:
        return RunVerdict.BENCH_FAULT
    if interrupted is not None or Verdict.NOT_RUN in verdicts:
        return RunVerdict.INCOMPLETE
    if Verdict.UNDECIDED in verdicts:
        return RunVerdict.UNDECIDED
    return RunVerdict.PASS if Verdict.PASS in verdicts else RunVerdict.INCOMPLETE


def _deciding(checks: Iterable[CheckResult]) -> Iterable[Verdict]:
    attempts: dict[str, list[CheckResult]] = defaultdict(list)
    for result in checks:
        if result.role is Role.REQUIRED:
            attempts[result.check].append(result)
    for results in attempts.values():
        failed = any(result.verdict is Verdict.FAIL for result in results)
        yield Verdict.FAIL if failed else max(results, key=lambda one: one.attempt).verdict
