"""Records on disk: whole or not at all, never changed, never silently ignored."""

import hashlib
import json
import os
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path
from types import MappingProxyType
from typing import Any

import pytest

from pilotsignal.calibration import VoltCalibration
from rungbench.calibrations.compose import compose
from rungbench.calibrations.document import DamagedRecord, from_text, to_text
from rungbench.calibrations.record import CalibrationRecord, Made, Part
from rungbench.calibrations.store import CalibrationStore, newest
from rungbench.cli.main import run
from rungbench.errors import BenchError
from rungbench.link.messages import Identity
from rungbench.link.words import Oscillator
from rungbench.paths import paths
from rungbench.standin.calibration import uncalibrated

DAY = date(2026, 6, 1)
BOARD = Identity("1.0.0", "RB-0001", Oscillator.RESONATOR)
RESULTS: dict[Part, dict[str, Any]] = {
    Part.CLOCK: {"correction": 40e-6, "u_relative": 5e-6},
    Part.PARTS: {"known": {"permanent": {"value": 2741.0, "u": 0.4, "unit": "ohm"}}},
    Part.WIDTHS: {
        "bias": {"any": {"bias_us": 0.04, "u_us": 0.02}, "C": {"bias_us": 0.1, "u_us": 0.03}}
    },
    Part.VOLTS: {
        "bits": 10,
        "gain_v": 0.0293,
        "offset_v": -15.01,
        "u_gain_relative": 1e-4,
        "u_zero_v": 1e-3,
        "correlation": -0.2,
        "degrees_of_freedom": 5.0,
        "u_linearity_v": 0.0,
        "u_nonlinearity_counts": 0.3,
        "u_meter_relative": 1e-4,
        "u_meter_v": 1e-3,
        "drift_relative_per_k": 2e-5,
        "u_drift_v_per_k": 3e-4,
    },
}


def record(
    part: Part = Part.CLOCK, day: int = 1, until: date = date(2027, 1, 1), celsius: float = 23.0
) -> CalibrationRecord:
    at = datetime(2026, 5, day, 10, tzinfo=UTC)
    made = Made(at, until, "A. Tester", celsius, 5.0)
    return CalibrationRecord(
        id=f"{part}-RB-0001-{day}",
        part=part,
        board_id="RB-0001",
        firmware="1.0.0",
        simulated=False,
        made=made,
        instruments=(),
        readings=MappingProxyType({"seen": [1.5, "ß"]}),
        result=MappingProxyType(RESULTS[part]),
    )


@pytest.fixture
def store() -> CalibrationStore:
    return CalibrationStore(paths().calibrations)


@pytest.mark.parametrize("part", list(Part))
def test_a_record_comes_back_as_it_was(store: CalibrationStore, part: Part) -> None:
    path = store.add(record(part))
    (back,) = store.records("RB-0001")
    assert replace(back, sha256="") == record(part)
    # By hand: SHA-256 of the document without its checksum, keys sorted, no white space, ASCII.
    plain = json.loads(path.read_text("ascii"))
    stated = plain.pop("sha256")
    text = json.dumps(plain, sort_keys=True, separators=(",", ":"))
    assert hashlib.sha256(text.encode()).hexdigest() == stated == back.sha256
    assert plain["schema"] == "rungbench.calibration/1"


def test_a_record_is_never_written_over(store: CalibrationStore) -> None:
    path = store.add(record())
    before = path.read_bytes()
    with pytest.raises(BenchError, match="already"):
        store.add(replace(record(), board_id="RB-0002"))
    assert path.read_bytes() == before


def test_nothing_is_left_of_a_record_that_could_not_be_written(
    store: CalibrationStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(_handle: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OSError, match="No space"):
        store.add(record())
    assert list(store.folder.iterdir()) == []
    assert store.records() == ()


def damaged(path: Path, old: str, new: str) -> None:
    text = path.read_text("ascii")
    assert old in text
    path.write_text(text.replace(old, new, 1), "ascii")


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("A. Tester", "B. Tester", "its checksum does not match"),
        ("4e-05", "9e-05", "its checksum does not match"),
        ('"schema": "rungbench.calibration/1",', "", "does not name its schema"),
        ("rungbench.calibration/1", "rungbench.calibration/2", "update Rungbench"),
        ("{", "[", "no JSON"),
        ("4e-05", "NaN", "no JSON"),
    ],
)
def test_a_damaged_record_stops_whoever_asks(
    store: CalibrationStore,
    capsys: pytest.CaptureFixture[str],
    old: str,
    new: str,
    said: str,
) -> None:
    store.add(record(day=2))
    path = store.add(record())
    damaged(path, old, new)
    with pytest.raises(DamagedRecord, match=said):
        store.records()
    # A run would open the board: not even that happens.
    status = run(["bench", "show", "--bench", "/dev/none"])
    error = capsys.readouterr().err
    assert int(status) == 4
    assert said in error
    assert error.count("\n") == 1
    # The list shows what is whole, names what is not, and ends with a bench fault.
    status = run(["bench", "calibrations"])
    listed = capsys.readouterr()
    assert int(status) == 4
    assert "clock-RB-0001-2" in listed.out
    assert said in listed.err


@pytest.mark.parametrize("bad", [b"", b"\xff\xfe", b"null", b'{"schema": 1}'])
def test_files_that_are_no_records(store: CalibrationStore, bad: bytes) -> None:
    store.folder.mkdir(parents=True)
    (store.folder / "x.json").write_bytes(bad)
    with pytest.raises(DamagedRecord):
        store.records()


def test_a_renamed_record_is_refused(store: CalibrationStore) -> None:
    path = store.add(record())
    path.rename(path.with_name("other.json"))
    with pytest.raises(DamagedRecord, match="is called clock-RB-0001-1 inside"):
        store.records()


@pytest.mark.parametrize(
    ("part", "name", "value"),
    [
        (Part.CLOCK, "u_relative", 0.0),
        (Part.CLOCK, "correction", "much"),
        (Part.VOLTS, "gain_v", -1.0),
        (Part.VOLTS, "bits", 0),
        (Part.VOLTS, "u_meter_v", None),
        (Part.PARTS, "known", {}),
        (Part.WIDTHS, "bias", {"C": {"bias_us": 0.0, "u_us": 0.1}}),
    ],
)
def test_whole_files_with_values_that_make_no_sense(part: Part, name: str, value: object) -> None:
    strange = replace(record(part), result={**RESULTS[part], name: value})
    with pytest.raises(DamagedRecord, match="make no sense"):
        from_text(to_text(strange), "x.json")


def test_the_newest_usable_one_is_used() -> None:
    old, new = record(day=1), record(day=20)
    assert newest([new, old], DAY, 23.0)[Part.CLOCK] is new
    ended = replace(new, made=replace(new.made, valid_until=date(2026, 5, 25)))
    assert newest([old, ended], DAY, 23.0)[Part.CLOCK] is old
    warm = record(day=20, celsius=35.0)
    assert newest([old, warm], DAY, 23.0)[Part.CLOCK] is old
    assert newest([old, warm], DAY, 34.0)[Part.CLOCK] is warm
    # Where none is usable the newest is named.
    assert newest([old, warm], date(2028, 1, 1), 23.0)[Part.CLOCK] is warm


@pytest.mark.parametrize(
    ("on", "celsius", "why"),
    [
        (DAY, 23.0, ""),
        (DAY, 28.0, ""),
        (DAY, None, ""),
        (date(2027, 1, 1), 23.0, ""),
        (date(2027, 1, 2), 23.0, "ended on 2027-01-01"),
        (date(2026, 4, 30), 23.0, "after today"),
        (DAY, 28.1, "made at 23.0 °C and holds for 5 K"),
        (DAY, 17.9, "the board is at 17.9 °C"),
    ],
)
def test_when_a_record_may_be_used(on: date, celsius: float | None, why: str) -> None:
    doubt = record().doubt(on, celsius)
    assert (why in doubt) if why else doubt == ""


def test_doubtful_parts_are_as_if_they_were_not_there() -> None:
    base = uncalibrated(BOARD)
    records = [record(part) for part in Part]
    sound = compose(base, records, DAY, 23.0)
    assert sound.time_base.correction == 40e-6
    assert sound.parts["permanent"].value == 2741.0
    assert sound.bias_on("C").bias_us == 0.1
    assert sound.bias_on("B").bias_us == 0.04
    assert sound.doubts == {}
    ended = compose(base, records, date(2028, 1, 1), 23.0)
    assert set(ended.doubts) == set(Part)
    assert ended.time_base == base.time_base
    assert ended.parts == {}
    assert ended.width_bias == base.width_bias
    # Volts are still shown; the doubt is what keeps them from being judged.
    assert isinstance(ended.volts, VoltCalibration)
    assert ended.volts.id == "volts-RB-0001-1"
