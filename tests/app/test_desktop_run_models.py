"""The Run view without Qt: scans, sheets, the desk, progress, slip, shift."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from archive_examples import check, header
from qualify_runs import Run

from pilotsignal.judge import Verdict
from pilotsignal.standard import load_profile
from rungbench.archive.record import Record, Role, RunVerdict
from rungbench.archive.search import RunSummary
from rungbench.desktop.run_choice import Choice, Model, offer, sheets_folder
from rungbench.desktop.run_course import left_text
from rungbench.desktop.run_desk import QuestionGone, QuestionPut, WindowDesk
from rungbench.desktop.run_intake import (
    Intake,
    Repeated,
    ScanRefused,
    newest_by_serial,
    next_serial,
)
from rungbench.desktop.run_progress import Progress, Stage
from rungbench.desktop.run_sheet_file import sheet_from, write_sheet
from rungbench.desktop.run_shift import Shift, shift_of, summed
from rungbench.desktop.run_slip import slip_of
from rungbench.errors import RungbenchError, WrongUse
from rungbench.link.words import OPEN
from rungbench.qualify.desk import Answer, Ask, Question, Reply, Want, Wish
from rungbench.qualify.findings import explain
from rungbench.qualify.order import Order
from rungbench.qualify.plan_file import load_plan
from rungbench.qualify.progress import CheckDone, MakingSafe, Paused, RunStarted, StepStarted
from rungbench.qualify.sheet import INVENTED, Sheet, read_sheet

PATTERNED = replace(INVENTED, serial_pattern=r"WB\d{4}", barcode_prefix="S:")
QUESTION = Question(Ask.AUTHORISE, OPEN, 60.0)
HOSTILE = '<img src=x onerror="1"> & "quoted"\\ \x7f'


def summary(serial: str, verdict: RunVerdict = RunVerdict.PASS, operator: str = "") -> RunSummary:
    start = datetime(2025, 7, 11, tzinfo=UTC)
    named = ("Demo Works", "Sample 11", serial, "quick", "iec-61851-1-2017", operator)
    return RunSummary(1, "aaaaa-bbbbb", True, start, start, *named, verdict, None)


# Scans ------------------------------------------------------------------------------------------


def test_a_scan_gives_the_serial_behind_the_prefix() -> None:
    assert Intake(PATTERNED).take("S:WB0042\r\n") == "WB0042"


@pytest.mark.parametrize(
    ("scanned", "told"),
    [
        ("WB0042", "does not begin with"),
        ("S:WB42", "pattern"),
        ("S:", "pattern"),
        ("", "Nothing was scanned"),
        ("S:WB\x00042", "no serial number"),
        ("S:" + "9" * 500, "no serial number"),
    ],
)
def test_a_wrong_scan_is_refused_with_a_sentence(scanned: str, told: str) -> None:
    with pytest.raises(ScanRefused, match=told):
        Intake(PATTERNED).take(scanned)


def test_a_prefix_alone_is_no_serial() -> None:
    with pytest.raises(ScanRefused, match="holds no serial"):
        Intake(replace(INVENTED, barcode_prefix="S:")).take("S:")


def test_a_repeated_scan_needs_a_reason() -> None:
    intake = Intake(INVENTED, newest_by_serial([summary("wb1", RunVerdict.FAIL), summary("WB1")]))
    with pytest.raises(Repeated, match=r"aaaaa-bbbbb, fail"):
        intake.take("Wb1")
    assert intake.take("Wb1", "loose plug") == "Wb1"
    assert intake.take("WB2") == "WB2"


@pytest.mark.parametrize(
    ("serial", "after"),
    [("SIM-0001", "SIM-0002"), ("SIM-0999", "SIM-1000"), ("A9999", "A10000"), ("X", "X0001")],
)
def test_invented_serials_count_up(serial: str, after: str) -> None:
    assert next_serial(serial) == after


# Sheets and choices -----------------------------------------------------------------------------


def test_a_sheet_typed_by_hand_reads_back_equal() -> None:
    given = {
        "maker": HOSTILE,
        "model": "Probe ünd 7",
        "rated_current_a": "16,5",
        "phases": "1",
        "outlet": "socket",
        "serial_pattern": r"\d+",
        "barcode_prefix": "]C1",
    }
    sheet = sheet_from(given, ",")
    file = write_sheet(sheet, sheets_folder())
    assert read_sheet(file) == sheet
    assert write_sheet(sheet, sheets_folder()) == file
    with pytest.raises(WrongUse, match="exists already"):
        write_sheet(replace(sheet, phases=3), sheets_folder())


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ({"maker": "A", "model": "B"}, "rated current"),
        ({"maker": "A", "model": "B", "rated_current_a": "x"}, "no current"),
        ({"maker": "A", "model": "B", "rated_current_a": "6", "serial_pattern": "("}, "expression"),
    ],
)
def test_a_sheet_that_is_none_is_refused(given: dict[str, str], told: str) -> None:
    with pytest.raises(WrongUse, match=told):
        sheet_from(given)


def test_what_cannot_be_used_is_told_and_left_out(tmp_path: Path) -> None:
    folder = sheets_folder()
    folder.mkdir(parents=True)
    (folder / "good.toml").write_text('maker = "A"\n')
    (folder / "bad.toml").write_text("maker = 3\n")
    broken = tmp_path / "demo.sqlite"
    broken.write_bytes(b"no database" * 100)
    found = offer(broken, simulated=True)
    assert [model.title for model in found.models] == ["Simulated charger", "good"]
    assert {plan.name for plan in found.plans} >= {"quick", "full"}
    assert len(found.trouble) == 2
    assert any("bad.toml" in told for told in found.trouble)


def test_an_incomplete_sheet_starts_nothing() -> None:
    model = Model("half", Sheet(maker="A", model="B"))
    choice = Choice(model, load_plan("quick"), load_profile())
    with pytest.raises(WrongUse, match="rated current"):
        choice.order("1", armed=True)


def test_a_reason_for_another_test_goes_into_the_notes() -> None:
    model = Model("m", replace(INVENTED, notes="lid open"))
    order = Choice(model, load_plan("quick"), load_profile(), "R. Example").order(
        "1", armed=True, reason="plug changed"
    )
    assert order.charger.notes == "lid open. Tested again: plug changed"
    assert (order.operator, order.armed) == ("R. Example", True)


# The desk ---------------------------------------------------------------------------------------


def test_the_desk_gives_each_answer_to_its_own_question() -> None:
    told: list[object] = []
    desk = WindowDesk(told.append)
    desk.put(QUESTION, 100)
    assert desk.answer(100) is None
    desk.take_back()
    desk.reply(1, Answer(Reply.DONE))  # too late: for the first question
    desk.put(QUESTION, 200)
    assert desk.answer(200) is None
    desk.reply(2, Answer(Reply.CANNOT, "no card"))
    assert desk.answer(300) == Answer(Reply.CANNOT, "no card")
    assert desk.answer(400) is None
    assert [type(one) for one in told] == [QuestionPut, QuestionGone, QuestionPut, QuestionGone]


def test_wishes_come_in_order_once() -> None:
    desk = WindowDesk(lambda _: None)
    desk.want(Wish(Want.PAUSE))
    desk.want(Wish(Want.SKIP, reason="no card"))
    assert desk.wish() == Wish(Want.PAUSE)
    assert desk.wish() == Wish(Want.SKIP, reason="no card")
    assert desk.wish() is None


# Progress ---------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def failed(tmp_path_factory: pytest.TempPathFactory) -> tuple[Run, Record]:
    run = Run(tmp_path_factory.mktemp("failed"), "source_ohm=1100")
    return run, run.record()


def test_progress_of_a_whole_run(failed: tuple[Run, Record]) -> None:
    run, record = failed
    order = Order(run.plan, run.charger, load_profile(run.profile), "nobody", True)
    progress = Progress(order)
    planned = list(progress.lines)
    assert planned == list(record.header.planned)
    assert progress.counts() == {"": len(planned)}
    shares = []
    for number, told in enumerate(run.told):
        assert progress.take(told, float(number) * 0.01)
        shares.append(progress.share(float(number) * 0.01))
    assert progress.run_id == record.run_id
    assert progress.stage is Stage.MAKE_SAFE
    assert list(progress.lines) == planned
    assert "" not in progress.counts()
    assert progress.lines["source-resistance"].verdict == "fail"
    assert shares[0] == 0.0
    assert shares[-1] > 0.6
    assert all(0.0 <= share <= 1.0 for share in shares)


def test_a_fail_is_not_washed_away_by_a_second_attempt(failed: tuple[Run, Record]) -> None:
    run, _ = failed
    order = Order(run.plan, run.charger, load_profile(run.profile))
    progress = Progress(order)
    first = check("frequency-b", Verdict.FAIL)
    progress.take(CheckDone(first), 0.0)
    progress.take(CheckDone(replace(first, verdict=Verdict.PASS, attempt=2)), 1.0)
    assert progress.lines["frequency-b"].verdict == "fail"


def test_time_left_runs_down_and_stands_in_a_pause(failed: tuple[Run, Record]) -> None:
    run, record = failed
    progress = Progress(Order(run.plan, run.charger, load_profile(run.profile)))
    progress.take(RunStarted(record.header), 0.0)
    progress.take(StepStarted(run.plan.steps[1], 2, 7, 1, 20.0), 5.0)
    assert progress.left_s(8.0) == pytest.approx(17.0)
    assert progress.left_s(100.0) == 0.0
    progress.take(Paused(), 8.0)
    assert progress.stage is Stage.PAUSED
    assert progress.left_s(50.0) == pytest.approx(20.0)
    progress.take(Paused(over=True), 60.0)
    progress.take(MakingSafe(5.0), 61.0)
    assert progress.steps_done() == ("open", "B")


def test_an_open_question_counts_down_in_board_time(failed: tuple[Run, Record]) -> None:
    run, _ = failed
    progress = Progress(Order(run.plan, run.charger, load_profile(run.profile)))
    progress.take(QuestionPut(3, QUESTION, 16_000_000), 1.0)
    assert progress.answer_left_s(11.0) == pytest.approx(50.0)
    progress.take(QuestionGone(2), 11.0)
    assert progress.question is not None
    progress.take(QuestionGone(3), 11.0)
    assert progress.answer_left_s(12.0) is None


@pytest.mark.parametrize(
    ("left_s", "text"),
    [(3.0, "a few seconds left"), (42.0, "about 40 s left"), (600.0, "about 10 min left")],
)
def test_time_left_in_words(left_s: float, text: str) -> None:
    assert left_text(left_s) == text


# Slip and shift ---------------------------------------------------------------------------------


def test_the_hold_slip_names_serial_checks_and_finding(failed: tuple[Run, Record]) -> None:
    _, record = failed
    slip = slip_of(record, explain(record))
    assert slip is not None
    text = slip.text()
    assert text.startswith("SIMULATED")
    assert f"HOLD  {record.header.charger.serial}" in text
    assert "fail: Source resistance (B)" in text
    assert "Finding: source resistor" in text
    assert record.run_id in text
    assert not any(name == "pass" for name, _ in slip.rows)


def test_a_pass_has_no_hold_slip(failed: tuple[Run, Record]) -> None:
    _, record = failed
    assert slip_of(replace(record, verdict=RunVerdict.PASS), ()) is None


def test_a_slip_lists_required_checks_only() -> None:
    bad = replace(check("a", Verdict.FAIL), title="Optional one", role=Role.OPTIONAL)
    worse = replace(check("b", Verdict.FAIL), title="Required one")
    record = Record(header(), (bad, worse), RunVerdict.FAIL, None, "Stopped.")
    slip = slip_of(record, ())
    assert slip is not None
    assert "Optional one" not in slip.text()
    assert "Required one" in slip.text()
    assert "Interrupted: Stopped." in slip.text()


def test_a_shift_counts_from_the_archive(failed: tuple[Run, Record]) -> None:
    run, record = failed
    since = record.header.started - timedelta(minutes=1)
    shift = shift_of(run.archive, True, since)
    assert (shift.runs, shift.chargers, shift.count(RunVerdict.FAIL)) == (1, 1, 1)
    assert ("Source resistance (B)", 1) in shift.faults
    assert [(one.name, one.failed) for one in shift.operators] == [("nobody", 1)]
    later = shift_of(run.archive, True, record.header.started + timedelta(minutes=1))
    assert later.runs == 0


def test_a_shift_without_an_archive_is_empty(tmp_path: Path) -> None:
    since = datetime(2025, 7, 11, tzinfo=UTC)
    assert shift_of(tmp_path / "none.sqlite", True, since) == Shift(since)


def test_a_shift_of_a_broken_archive_is_a_sentence(tmp_path: Path) -> None:
    broken = tmp_path / "demo.sqlite"
    broken.write_bytes(b"no database" * 100)
    with pytest.raises(RungbenchError):
        shift_of(broken, True, datetime(2025, 7, 11, tzinfo=UTC))


def test_operators_are_counted_apart() -> None:
    runs = (
        summary("1", RunVerdict.PASS, "A"),
        summary("2", RunVerdict.FAIL, "B"),
        summary("2", RunVerdict.UNDECIDED, "B"),
    )
    shift = summed(datetime(2025, 7, 11, tzinfo=UTC), runs)
    assert (shift.runs, shift.chargers) == (3, 2)
    assert [(one.name, one.passed, one.failed, one.other) for one in shift.operators] == [
        ("A", 1, 0, 0),
        ("B", 0, 1, 1),
    ]
