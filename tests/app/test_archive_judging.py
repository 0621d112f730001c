"""A record judged again: as a run by the other profile or rule would have been, or undecided."""

from dataclasses import replace
from pathlib import Path

import pytest
from qualify_runs import DEMO, Run, last

from pilotsignal.judge import Verdict
from pilotsignal.limit import Limit, Rule
from pilotsignal.standard import Profile, load_profile
from pilotsignal.standard.profile import parse_profile
from rungbench.archive.chain import record_hash
from rungbench.archive.record import Derivation, Record, RunVerdict
from rungbench.archive.store import open_archive
from rungbench.archive.verify import verify
from rungbench.errors import WrongUse
from rungbench.qualify.order import Order, left_out
from rungbench.qualify.plan_file import load_plan
from rungbench.qualify.rejudge import judge_again
from rungbench.qualify.relimit import Limits, Ruling
from rungbench.standin.board import Calibrate
from rungbench.standin.calibration import uncalibrated

IEC = load_profile("iec-61851-1-2017")
SAE = load_profile("sae-j1772-2017")
# Another frequency, another window of B, another time for mains; all else as in the edition.
OWN = parse_profile(
    "own.toml",
    b"""
[profile]
name = "house"
title = "House rules"
edition = "House rules 1"
based_on = "iec-61851-1-2017"

[limit.frequency]
low = 1001.5
high = 1010.0
unit = "Hz"
clause = "1"
confidence = "H"

[limit.mains_on_after_c_s]
high = 0.05
unit = "s"
clause = "2"
confidence = "H"
""",
)
CHARGER = replace(DEMO, set_current_a=16.0)


def ran(folder: Path, profile: str = IEC.name, calibrate: Calibrate | None = None) -> Record:
    plan = load_plan("quick")
    return Run(folder, charger=CHARGER, plan=plan, profile=profile, calibrate=calibrate).record()


@pytest.fixture(scope="module")
def record(tmp_path_factory: pytest.TempPathFactory) -> Record:
    return ran(tmp_path_factory.mktemp("iec"))


@pytest.fixture(scope="module")
def other(tmp_path_factory: pytest.TempPathFactory) -> Record:
    """The same charger on the same bench, run by the other profile."""
    return ran(tmp_path_factory.mktemp("sae"), SAE.name)


def test_by_another_profile_it_comes_to_what_a_run_by_it_does(
    record: Record, other: Record
) -> None:
    """The second run is another measurement: it agrees where the record can answer at all."""
    again = judge_again(record, IEC, Ruling(SAE))
    found, wanted = last(again), last(other)
    assert found.keys() == wanted.keys()
    assert set(again.header.planned) == set(other.header.planned)
    assert dict(again.header.left_out) == dict(other.header.left_out)
    undecided = {name for name, one in found.items() if one.verdict is Verdict.UNDECIDED}
    for name, one in found.items():
        if name not in undecided:
            assert one.verdict is wanted[name].verdict, name
            assert [j.limit for j in one.judgements] == [j.limit for j in wanted[name].judgements]
    # SAE J1772 judges the width at half height, which the record holds nowhere.
    by_width = ("pulse-width", "advertised-current", "least-current")
    assert undecided == {name for name in found if name.startswith(by_width)} != set()
    assert again.verdict is RunVerdict.UNDECIDED


def test_a_check_that_the_record_left_out_is_not_made_up(other: Record) -> None:
    """SAE J1772 sets no limit for some that IEC 61851-1:2017, Annex A, does."""
    gone = left_out(Order(load_plan("full"), CHARGER, SAE))
    left = {check for check, why in gone.items() if "sets no limit" in why}
    assert {"mains-off-loop", "mains-kept"} <= left < gone.keys()
    before = replace(other, header=replace(other.header, left_out=tuple(gone.items())))
    again = judge_again(before, SAE, Ruling(IEC))
    for check in left:
        result = last(again)[check]
        assert result.verdict is Verdict.NOT_RUN
        assert "It was left out when record" in result.why
    assert again.verdict is RunVerdict.INCOMPLETE
    assert left <= set(again.header.planned)
    assert {check for check, _ in again.header.left_out} == gone.keys() - left


def test_other_limits_of_one_s_own(record: Record) -> None:
    again = judge_again(record, IEC, Ruling(OWN), "the house asks for more")
    found = last(again)
    frequency = {name for name in found if name.startswith("frequency")}
    assert {found[name].verdict for name in frequency} == {Verdict.FAIL}
    assert {found[name].judgements[0].limit.profile for name in frequency} == {OWN.label}
    assert again.verdict is RunVerdict.FAIL
    changed = {name for name, one in found.items() if one.verdict is not last(record)[name].verdict}
    assert changed == frequency | {name for name in found if name.startswith("mains-on")}
    origin = again.header.origin
    assert origin is not None
    assert (origin.kind, origin.record) == (Derivation.JUDGED_AGAIN, record.run_id)
    assert origin.sha256 == record_hash(record)
    assert origin.reason == f"by {OWN.label}. the house asks for more"
    assert again.run_id != record.run_id
    assert (again.header.started, again.finished) == (record.header.started, record.finished)
    assert again.header.profile_hash == OWN.hash


def test_the_same_profile_again_changes_nothing_but_the_name(record: Record) -> None:
    """The rule that a limit has already gives the verdict that it gave."""
    again = judge_again(record, IEC, Ruling(IEC, Rule.GUARDED))
    for name, one in last(again).items():
        before = last(record)[name]
        rules = {j.limit.rule for j in before.judgements}
        if rules <= {Rule.GUARDED, Rule.SIMPLE}:
            assert (one.verdict, one.judgements) == (before.verdict, before.judgements), name
    assert again.header.profile == f"{IEC.label}, all limits under guarded, w = 1 U"
    assert again.header.profile_hash not in (IEC.hash, record.header.profile_hash)


def test_a_wide_guard_band_decides_less_and_none_at_all_more(record: Record) -> None:
    wide = judge_again(record, IEC, Ruling(IEC, Rule.GUARDED, 10.0))
    bare = judge_again(record, IEC, Ruling(IEC, Rule.SIMPLE))
    assert wide.verdict is RunVerdict.UNDECIDED
    assert bare.verdict is RunVerdict.PASS
    for one in bare.checks:
        for judgement in one.judgements:
            if judgement.quantity is not None and judgement.limit.deciding:
                # ILAC-G8:09/2019, 4.2.1: the value alone decides.
                low, high = judgement.limit.acceptance(0.0)
                inside = low <= judgement.quantity.value <= high
                assert (judgement.verdict is Verdict.PASS) == inside


def test_a_level_that_nobody_may_judge_stays_so(tmp_path: Path) -> None:
    """Without a calibration no rule makes a volt."""
    plain = ran(tmp_path, calibrate=uncalibrated)
    again = judge_again(plain, IEC, Ruling(OWN, Rule.SIMPLE))
    levels = [
        judgement
        for one in again.checks
        for judgement in one.judgements
        if judgement.limit.unit == "V" and judgement.limit.deciding
    ]
    assert levels
    assert {one.verdict for one in levels} <= {Verdict.UNDECIDED, Verdict.NOT_RUN}


def test_every_limit_of_a_record_is_found_again(record: Record) -> None:
    """Also those that are worked out from several rows."""
    limits = Limits(record, IEC, Ruling(OWN))
    seen = set()
    for result in record.checks:
        for judgement in result.judgements:
            now = limits.now(judgement.limit)
            assert isinstance(now, Limit), f"{result.check}: {now}"
            seen.add(now.profile)
    assert seen == {OWN.label, "declared"}


@pytest.mark.parametrize(
    ("ruling", "old", "sentence"),
    [
        (Ruling(IEC), IEC, "is judged by iec-61851-1-2017 already"),
        (Ruling(SAE), SAE, "which is not at hand as it was then"),
    ],
)
def test_what_makes_no_sense_is_refused(
    record: Record, ruling: Ruling, old: Profile, sentence: str
) -> None:
    with pytest.raises(WrongUse, match=sentence):
        judge_again(record, old, ruling)
    endless = replace(record, finished=None)
    with pytest.raises(WrongUse, match="has no end"):
        judge_again(endless, IEC, Ruling(SAE))


def test_both_are_kept(tmp_path: Path) -> None:
    record = ran(tmp_path)
    with open_archive(tmp_path / "demo.sqlite", simulated=True) as archive:
        again = judge_again(archive.load(record.run_id), IEC, Ruling(SAE))
        archive.add_derived(again)
        assert archive.load(again.run_id) == again
        assert replace(archive.load(record.run_id), followed_by=()) == record
        assert archive.load(record.run_id).followed_by == (again.run_id,)
        for _, key in again.capture_names:
            archive.load_capture(key)
        assert verify(archive).sound
