"""A finished record judged again under another profile or rule: nothing is measured.

Every value of the record meets the limit that takes the place of its own.  What cannot be judged
that way, because a value or a limit depends on more than the record holds, becomes undecided; what
was never measured stays so.  The old record is not touched; the new one names it.
"""

import hashlib
import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Final

from pilotsignal.judge import Judgement, Verdict, judge
from pilotsignal.limit import Limit, Rule
from pilotsignal.quantity import Quantity
from pilotsignal.standard import Profile
from rungbench.archive.chain import record_hash
from rungbench.archive.record import (
    CheckResult,
    Derivation,
    Origin,
    Record,
    Role,
    RunHeader,
    new_run_id,
    run_verdict,
    utc_now,
)
from rungbench.errors import WrongUse
from rungbench.qualify.case import found
from rungbench.qualify.checks.timing import STATE_IT
from rungbench.qualify.order import versions
from rungbench.qualify.regrounds import grounds_of, volts_doubt_told
from rungbench.qualify.relimit import Gap, Limits, Ruling, Unclear

_AT_LEAST: Final = "_at_least"
_NO_LIMIT: Final = re.compile(r" sets no limit '(\w+)'$")


def judge_again(record: Record, old: Profile, ruling: Ruling, reason: str = "") -> Record:
    """The record under another ruling, ready for `Archive.add_derived`.

    Parameters
    ----------
    old : the profile that the record was judged by.
    reason : why, in the user's words.

    Raises
    ------
    WrongUse : the record has no end, `old` is not its profile, or the ruling is what it has.
    """
    _check(record, old, ruling)
    limits = Limits(record, old, ruling)
    results, gone = [], {}
    for result in record.checks:
        again = _result(result, limits)
        if isinstance(again, Gap):
            gone[result.check] = again.why
        else:
            results.append(again)
    wanted = tuple(_wanted_now(record.header, ruling.profile))
    results += [_not_measured(check, record.run_id) for check in wanted]
    return replace(
        record,
        header=_header(record, ruling, reason, _Changed(gone, wanted)),
        checks=tuple(results),
        verdict=run_verdict(results, record.interrupted),
        followed_by=(),
        expired=(),
    )


def _check(record: Record, old: Profile, ruling: Ruling) -> None:
    if record.finished is None:
        raise WrongUse(f"Record {record.run_id} has no end; only a finished one is judged again.")
    if old.hash != record.header.profile_hash:
        raise WrongUse(
            f"Record {record.run_id} was judged by {record.header.profile} "
            f"({record.header.profile_hash[:12]}), which is not at hand as it was then; put that "
            "file into the folder of profiles, or judge the record that it was made from."
        )
    if ruling.profile.hash == old.hash and ruling.rule is None:
        raise WrongUse(
            f"Record {record.run_id} is judged by {old.label} already; state another --profile or "
            "a --rule."
        )


# Checks -------------------------------------------------------------------------------------------


def _result(result: CheckResult, limits: Limits) -> CheckResult | Gap:
    """A check under the new ruling, or why it is left out."""
    if not result.judgements or _decided_otherwise(result):
        return result
    judged = [_judgement(one, limits) for one in result.judgements]
    kept = [one for one in judged if isinstance(one, Judgement)]
    if not kept:
        return next(one for one in judged if isinstance(one, Gap))
    finding = found(*kept)
    return replace(result, judgements=finding.judgements, verdict=finding.verdict, why=finding.why)


def _decided_otherwise(result: CheckResult) -> bool:
    """Whether something else than its judgements made the check's verdict."""
    return found(*result.judgements).verdict is not result.verdict


def _judgement(old: Judgement, limits: Limits) -> Judgement | Gap:
    limit = limits.now(old.limit)
    if isinstance(limit, Gap):
        return limit
    if isinstance(limit, Unclear):
        return _undecided(old, old.limit, limit.why)
    quantity = old.quantity
    if quantity is None:
        return replace(old, limit=limit)
    if old.verdict is Verdict.UNDECIDED and old.conformance_probability is None:
        # There were no grounds to judge it, or a doubt that no limit takes away.
        return replace(old, limit=limit)
    if doubt := limits.doubt(quantity, limit):
        return _undecided(old, limit, doubt)
    if _same_bounds(old.limit, limit):
        return replace(old, limit=limit)
    return _judged(old, limit, limits.record)


def _undecided(old: Judgement, limit: Limit, why: str) -> Judgement:
    """Undecided, with its value; without one by a limit that decides nothing."""
    if not limit.deciding:
        return replace(old, limit=limit)
    return Judgement(Verdict.UNDECIDED, why, old.quantity, limit)


def _same_bounds(one: Limit, other: Limit) -> bool:
    names = ("low", "high", "rule", "guard_factor", "deciding", "can_pass")
    return all(getattr(one, name) == getattr(other, name) for name in names)


def _judged(old: Judgement, limit: Limit, record: Record) -> Judgement:
    quantity = old.quantity
    assert quantity is not None
    doubt = volts_doubt_told(record.header, limit.unit)
    if doubt:
        return Judgement(Verdict.UNDECIDED, f"uncalibrated: {doubt}", quantity, limit)
    judgement = judge(quantity, limit, grounds=grounds_of(record, quantity))
    return _with_doubts(judgement, quantity, record.header)


def _with_doubts(judgement: Judgement, quantity: Quantity, header: RunHeader) -> Judgement:
    """Take back what the check itself would not have said."""
    if quantity.name.endswith(_AT_LEAST) and not _certain_bound(judgement, quantity):
        why = "It was not watched for as long as this limit."
        return replace(judgement, verdict=Verdict.UNDECIDED, why=why)
    unstated = header.charger.set_current_a is None and quantity.name == "pulse_width_error_us"
    if unstated and judgement.verdict is Verdict.FAIL and quantity.value < 0:
        why = f"The pulse is shorter than the rating asks for: {STATE_IT}."
        return replace(judgement, verdict=Verdict.UNDECIDED, why=why, conformance_probability=None)
    return judgement


def _certain_bound(judgement: Judgement, quantity: Quantity) -> bool:
    """Whether a value that is a lower bound carries this verdict."""
    limit = judgement.limit
    if judgement.verdict is Verdict.PASS:
        return limit.high is None
    if judgement.verdict is Verdict.FAIL:
        return limit.high is not None and quantity.value > limit.high
    return True


# What the other profile asks for besides ----------------------------------------------------------


def _wanted_now(header: RunHeader, profile: Profile) -> Iterator[str]:
    """Checks that were left out for want of a limit which the other profile has."""
    for check, why in header.left_out:
        match = _NO_LIMIT.search(why)
        if match is not None and profile.has(match[1]):
            yield check


def _not_measured(check: str, run_id: str) -> CheckResult:
    why = f"It was left out when record {run_id} was measured; run it to judge it."
    return CheckResult(check, check, Role.REQUIRED, Verdict.NOT_RUN, why=why)


@dataclass(frozen=True, slots=True)
class _Changed:
    """Checks that the new ruling leaves out and why, and those that it asks for besides."""

    gone: dict[str, str]
    wanted: tuple[str, ...]


def _header(record: Record, ruling: Ruling, reason: str, changed: _Changed) -> RunHeader:
    header = record.header
    name, digest = _names(ruling)
    left_out = [(check, why) for check, why in header.left_out if check not in changed.wanted]
    planned = [check for check in header.planned if check not in changed.gone]
    said = f"by {name}. {reason}".strip()
    origin = Origin(Derivation.JUDGED_AGAIN, record.run_id, record_hash(record), said, utc_now())
    return replace(
        header,
        run_id=new_run_id(),
        profile=name,
        profile_hash=digest,
        versions=versions(),
        left_out=(*left_out, *changed.gone.items()),
        planned=(*planned, *changed.wanted),
        origin=origin,
    )


def _names(ruling: Ruling) -> tuple[str, str]:
    """Name and hash on the record: another rule makes another one, so that no lot mixes them."""
    profile = ruling.profile
    if ruling.rule is None:
        return profile.label, profile.hash
    text = str(ruling.rule)
    if ruling.rule is not Rule.SIMPLE:
        text += f", w = {ruling.guard_factor:g} U"
    digest = hashlib.sha256(f"{profile.hash} {text}".encode()).hexdigest()
    return f"{profile.label}, all limits under {text}", digest
