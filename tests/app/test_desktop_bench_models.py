"""What the bench view tells, without a window: places, parts, due dates, resistors in words."""

from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
import serial

from pilotsignal.errors import CircuitError
from pilotsignal.resistors import Spread
from pilotsignal.standard import load_profile
from rungbench.calibrations.check_line import CheckLine, Line
from rungbench.calibrations.record import CalibrationRecord, Made, Part, new_id
from rungbench.calibrations.store import CalibrationStore
from rungbench.desktop import bench_model
from rungbench.desktop.bench_check import extent_for, worst_of
from rungbench.desktop.bench_model import (
    added,
    find_places,
    health_lines,
    identity_lines,
    in_real_time,
    loss_lines,
    missing_parts,
    part_rows,
    shown_records,
)
from rungbench.desktop.resistors_model import (
    Asked,
    Fields,
    WantedFields,
    chance_rows,
    fit_row,
    fits_for,
    level_rows,
    low_text,
    most_text,
    standard_fields,
    work_out,
)
from rungbench.link.messages import Health, Identity
from rungbench.link.port import PortInfo
from rungbench.standin.calibration import uncalibrated
from rungbench.standin.record import Losses

IEC = load_profile()
IDENTITY = Identity("1.0.0", "RB-0001")
TODAY = date(2026, 11, 25)


# Places ---------------------------------------------------------------------------------------


def test_listing_places_opens_no_port(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_arguments: object, **_options: object) -> None:
        raise AssertionError("a port was opened")

    monkeypatch.setattr(serial, "serial_for_url", refuse)
    ports = (PortInfo("/dev/ttyX1", "n/a", "n/a"), PortInfo("/dev/ttyX2", "Bridge", "USB 1a86"))
    monkeypatch.setattr(bench_model, "list_ports", lambda: ports)
    found = find_places().places
    assert [(place.url, place.text) for place in found[:2]] == [
        ("/dev/ttyX1", "serial port"),
        ("/dev/ttyX2", "Bridge USB 1a86"),
    ]
    assert all(place.simulated and place.url.startswith("sim://") for place in found[2:])


def test_no_port_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(bench_model, "list_ports", lambda: ())
    monkeypatch.setattr(bench_model, "without_port", lambda: ())
    assert find_places().remarks == ("No serial port is there; plug the board in and look again.",)


@pytest.mark.parametrize(
    ("url", "shown"),
    [
        ("sim://sound", "sim://sound?speed=1"),
        ("sim://sound?noise_v=0", "sim://sound?noise_v=0&speed=1"),
        ("sim://sound?speed=max", "sim://sound?speed=max"),
        ("/dev/ttyUSB0", "/dev/ttyUSB0"),
    ],
)
def test_simulated_benches_run_in_real_time(url: str, shown: str) -> None:
    assert in_real_time(url) == shown


# Board ----------------------------------------------------------------------------------------


def test_board_and_health_in_words() -> None:
    board = dict(identity_lines(IDENTITY))
    assert board["Board"] == "RB-0001"
    assert board["Longest hold"] == "C 60 s, D 60 s"
    assert dict(identity_lines(Identity("1", "")))["Board"] == "no id yet"
    health = dict(health_lines(Health(1, overruns=3, interlock_closed=False, mains=(1, 3))))
    assert health["Converter overruns"] == "3"
    assert health["Interlock"] == "OPEN: C and D are refused"
    assert health["Mains"] == "L1, L3"
    assert health["Temperature"] == "not told by this board"


def test_losses_add_up() -> None:
    both = added(Losses(frames_lost=2, samples_missing=5), Losses(frames_lost=1, edges_missing=4))
    said = dict(loss_lines(both))
    assert (said["Frames lost"], said["Samples missing"], said["Edges missing"]) == ("3", "5", "4")


def test_parts_by_design_are_those_of_the_standard() -> None:
    rows = list(part_rows(IDENTITY, uncalibrated(IDENTITY)))
    by_name = {(row.name, row.ladder): row for row in rows}
    # IEC 61851-1:2017 Tables A.3 (nominal) and A.9 (low, high); Table B.2 (cable).
    for name, ohms in (
        ("permanent resistor", (1870.0, 2740.0, 4610.0)),
        ("switched resistor of C", (909.0, 1300.0, 1723.0)),
        ("switched resistor of D", (140.0, 270.0, 448.0)),
    ):
        found = [by_name[name, ladder].design for ladder in ("low", "nominal", "high")]
        assert found == list(ohms)
    cables = [by_name[f"cable code {code} A", ""].design for code in (13, 20, 32, 63)]
    assert cables == [1500.0, 680.0, 220.0, 100.0]
    assert all(row.known is None for row in rows)


# Calibrations ---------------------------------------------------------------------------------


def store_with(folder: Path, *days: int, part: Part = Part.CLOCK) -> CalibrationStore:
    """A store with one record for each number of days that it still holds, the oldest first."""
    store = CalibrationStore(folder)
    for number, left in enumerate(days):
        at = datetime(2026, 1, 1 + number, 12, tzinfo=UTC)
        made = Made(at, max(at.date(), TODAY + timedelta(left)), "A. Tester", 23.0, 10.0)
        store.add(
            CalibrationRecord(
                new_id(part, "RB-0001", at),
                part,
                "RB-0001",
                "1.0.0",
                simulated=False,
                made=made,
                instruments=(),
                readings={},
                result={"correction": 0.0, "u_relative": 1e-6},
            )
        )
    return store


@pytest.mark.parametrize(
    ("left", "said"),
    [
        (200, "in use, 200 days left"),
        (30, "due in 30 days"),
        (0, "due in 0 days"),
        (-3, "ended 3 days ago: calibrate again"),
    ],
)
def test_due_dates(tmp_path: Path, left: int, said: str) -> None:
    shown = shown_records(store_with(tmp_path, left), "RB-0001", TODAY)
    assert [row.state for row in shown.rows] == [said]
    assert set(missing_parts(shown)) == set(Part) - {Part.CLOCK}


def test_a_later_record_replaces(tmp_path: Path) -> None:
    shown = shown_records(store_with(tmp_path, 100, 200), "", TODAY)
    assert [(row.state, row.in_use) for row in shown.rows] == [
        ("in use, 200 days left", True),
        ("replaced by a later one", False),
    ]
    assert shown_records(store_with(tmp_path / "other"), "RB-0002", TODAY).rows == ()


def test_a_damaged_record_is_told(tmp_path: Path) -> None:
    (tmp_path / "clock-RB-0001.json").write_text("{")
    shown = shown_records(CalibrationStore(tmp_path), "", TODAY)
    assert shown.rows == ()
    assert "damaged" in shown.remarks[0]


# Self-check -----------------------------------------------------------------------------------


def test_clocks_are_compared_in_real_time_only() -> None:
    assert extent_for("sim://sound?speed=1", 60.0).clock_s == 60.0
    assert extent_for("/dev/ttyUSB0", 60.0).clock_s == 60.0
    left_out = extent_for("sim://sound?speed=10", 60.0)
    assert left_out.clock_s == 0.0
    assert "real time" in left_out.why_no_clock


def test_worst_line_decides_and_nothing_is_no_pass() -> None:
    sound, shown = CheckLine.sound(Line.CODES, "x"), CheckLine.shown(Line.LEVEL, "x")
    doubt, fault = CheckLine.doubt(Line.PACE, "x"), CheckLine.fault(Line.RELAYS, "x")
    assert str(worst_of((sound, shown))) == "pass"
    assert str(worst_of((sound, doubt))) == "undecided"
    assert str(worst_of((doubt, fault, sound))) == "bench fault"
    assert str(worst_of((shown,))) == "undecided"
    assert str(worst_of(())) == "undecided"


# Resistors ------------------------------------------------------------------------------------


def asked(**changed: tuple[str, str]) -> Asked:
    fields = standard_fields(IEC, "nominal")
    fields |= {name: Fields(*texts) for name, texts in changed.items()}
    return Asked(fields, "5000", "1", Spread.EVEN)


def test_fields_of_the_standard_and_back() -> None:
    fields = standard_fields(IEC, "nominal")
    assert fields["high_rail"] == Fields("12", "5 %")
    assert fields["permanent"] == Fields("2740", "3 %")
    assert fields["diode"] == Fields("0.7", "0.15")
    spreads = {one.state: one for one in work_out(asked(), IEC).spreads}
    # IEC 61851-1:2017 Table A.10.
    assert (spreads["B"].worst_low_v, spreads["B"].worst_high_v) == pytest.approx(
        (8.37, 9.59), abs=0.01
    )


def test_fields_as_people_type_them() -> None:
    answered = work_out(asked(source=("1,02 kΩ", "1 %"), low_rail=("−11.9 V", "0.1")), IEC)
    assert answered.parts.source.ends == pytest.approx((1009.8, 1030.2))
    assert answered.parts.low_rail.ends == pytest.approx((-12.0, -11.8))
    assert work_out(asked(diode=("0.65", "")), IEC).parts.diode.ends == (0.65, 0.65)


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ({"source": ("x", "3 %")}, "Source resistor: 'x' is no number"),
        ({"permanent": ("2740", "three")}, "The tolerance of Permanent resistor: 'three'"),
        ({"switched_c": ("1300", "130 %")}, "Switched resistor of C: A tolerance of 130 %"),
        ({"switched_d": ("-270", "3 %")}, "give positive resistances"),
        ({"high_rail": ("nan", "5 %")}, "High rail: 'nan' is no number"),
        ({"diode": ("20", "0.1")}, "The diode's drop lies between"),
    ],
)
def test_a_wrong_field_is_named(changed: dict[str, tuple[str, str]], says: str) -> None:
    with pytest.raises(CircuitError, match=says.replace("(", r"\(")):
        work_out(asked(**changed), IEC)


def test_wrong_draws_are_named() -> None:
    good = asked()
    with pytest.raises(CircuitError, match="no whole number of draws"):
        work_out(Asked(good.fields, "many", "1", Spread.EVEN), IEC)
    with pytest.raises(CircuitError, match="no whole number of seed"):
        work_out(Asked(good.fields, "5000", "-1", Spread.EVEN), IEC)


def test_answers_in_words() -> None:
    answered = work_out(asked(), IEC)
    levels = {row[0]: row for row in level_rows(answered)}
    assert levels["B"][1:3] == ("8.979", "8.370 … 9.594")
    assert most_text(answered).endswith("; D: drop of the diode, ± 0.120 V.")
    chances = {row[:2]: row[2] for row in chance_rows(answered, IEC)}
    assert chances["C", "read as C"] == "certain: all corners are"
    assert chances["C", "within 5.47 … 6.53 V (IEC 61851-1:2017, Table A.10)"].startswith(
        "all draws: at least 99.9"
    )
    # IEC 61851-1:2017 Table A.10: -12.6 to -11.4 V.
    assert low_text(answered).startswith("Low level: −12.60 … −11.40 V with the diode")


def test_wanted_levels_in_words() -> None:
    parts = work_out(asked(), IEC).parts
    sentence, fits = fits_for(WantedFields("B", "8.9786096", "1 %"), parts, IEC)
    assert sentence == "8.9786 V in B need 2740 Ω as the permanent resistor."
    assert fit_row(fits[0])[:3] == ("2740", "2740", "8.9786")
    sentence, _ = fits_for(WantedFields("C", "high", "1"), parts, IEC)
    assert sentence.startswith("7 V in C need")
    with pytest.raises(CircuitError, match="The wanted level: '' is no number"):
        fits_for(WantedFields("B", "", "1"), parts, IEC)
