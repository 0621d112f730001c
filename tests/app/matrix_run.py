"""One charger through the full plan on the simulated bench, and what became of each check."""

import tempfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

from pilotsignal.judge import Judgement
from pilotsignal.standard import load_profile
from rungbench.archive.record import ChargerIdentity, CheckResult, Record, Role
from rungbench.archive.store import open_archive
from rungbench.link.port import open_port
from rungbench.qualify.bench import calibration_for
from rungbench.qualify.order import Order
from rungbench.qualify.plan import Plan
from rungbench.qualify.plan_file import load_plan
from rungbench.qualify.progress import People
from rungbench.qualify.runner import run
from rungbench.qualify.simulated_desk import SimulatedDesk
from rungbench.simulated.operator import Operator
from rungbench.standin.board import StandIn

IEC, SAE = "iec-61851-1-2017", "sae-j1772-2017"
TETHERED = ChargerIdentity(
    "Example", "Matrix 11", "M-0001", 16.0, 16.0, 3, "cable", ventilation="refuse"
)
# Without a disc behind it an archive is faster.
_MEMORY = Path("/dev/shm")


Meet = Callable[[StandIn, Operator], People]


@dataclass(frozen=True, slots=True)
class Job:
    """A simulated charger by its keys, as it is declared, and the profile that judges it."""

    keys: str
    charger: ChargerIdentity = TETHERED
    profile: str = IEC

    @property
    def url(self) -> str:
        return f"sim://sound?{self.keys}" if self.keys else "sim://sound"


@dataclass(frozen=True, slots=True)
class Outcome:
    """Verdicts by check, indicative ones left out, since they never decide; and why.

    `near` are checks with a value that lies closer to its limit than its expanded uncertainty.
    """

    verdict: str
    interrupted: str
    checks: Mapping[str, str]
    why: Mapping[str, str]
    near: frozenset[str]

    def having(self, *verdicts: str) -> frozenset[str]:
        """Checks that came to one of these verdicts."""
        return frozenset(name for name, one in self.checks.items() if one in verdicts)


def full_record(job: Job, plan: Plan | None = None, people: Meet | None = None) -> Record:
    """The record of a run through the full plan, or through another one.

    `people` gives who the run deals with, from the stand-in and the hand at the simulated bench;
    usually the hand does what it is asked.
    """
    folder = _MEMORY if _MEMORY.is_dir() else None
    with tempfile.TemporaryDirectory(prefix="rungbench-matrix-", dir=folder) as place:
        port = open_port(job.url)
        hand = Operator(port)
        profile = load_profile(job.profile)
        order = Order(plan or load_plan("full"), job.charger, profile, "nobody", True)
        with (
            open_archive(Path(place) / "matrix.sqlite", simulated=True) as archive,
            StandIn.behind(port, calibration_for(job.url)) as standin,
        ):
            met = People(desk=SimulatedDesk(hand)) if people is None else people(standin, hand)
            return run(order, standin, archive, met, url=job.url)


def outcome(job: Job, plan: Plan | None = None) -> Outcome:
    """What became of each check that decides."""
    record = full_record(job, plan)
    checks: dict[str, str] = {}
    why: dict[str, str] = {}
    deciding = [result for result in record.checks if result.role is not Role.INDICATIVE]
    for result in deciding:
        _note(result, checks, why)
    near = frozenset(result.check for result in deciding if any(map(_near, result.judgements)))
    return Outcome(record.verdict.value, record.interrupted or "", checks, why, near)


def _near(judgement: Judgement) -> bool:
    """Whether a value lies within its expanded uncertainty of a limit."""
    quantity, limit = judgement.quantity, judgement.limit
    if quantity is None:
        return False
    bounds = [bound for bound in (limit.low, limit.high) if bound is not None]
    return any(abs(quantity.value - bound) <= quantity.expanded() for bound in bounds)


def _note(result: CheckResult, checks: dict[str, str], why: dict[str, str]) -> None:
    """The last attempt counts, but a fail is never washed away by a later one."""
    if checks.get(result.check) != "fail":
        checks[result.check] = result.verdict.value
        why[result.check] = result.why
