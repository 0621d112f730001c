"""The whole procedure on simulated benches: what it finds, against the board's hidden truth."""

import json
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest
from calibration_answers import LEVELS_V, URL, only, redated, stored, toml, written

from pilotsignal.calibration_rows import volt_rows
from rungbench.calibrations.contact import check_board_id
from rungbench.calibrations.document import DamagedRecord
from rungbench.calibrations.record import Part
from rungbench.calibrations.result import parts_of as known_parts
from rungbench.calibrations.result import time_base_of, volts_of, width_bias_of
from rungbench.cli.main import run
from rungbench.errors import BenchError
from rungbench.paths import paths
from rungbench.qualify.bench import open_bench, store_for
from rungbench.simulated.parts import HIGH_V, LOW_V, parts_of

Call = Callable[..., tuple[int, str, str]]
QUALIFY = (
    f"qualify --bench {URL} --maker M --model X --serial 1 --rated-current 16 --phases 3"
    " --outlet cable --json"
).split()


@pytest.fixture
def call(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Call:
    monkeypatch.setenv("COLUMNS", "200")

    def calling(*words: str) -> tuple[int, str, str]:
        status = run(["bench", *words])
        output = capsys.readouterr()
        return int(status), output.out, output.err

    return calling


def calibrated(call: Call, folder: Path, seed: int, text: str) -> str:
    """Calibrate the board of a seed; its id."""
    url = f"{URL}?seed={seed}"
    status, _, error = call("calibrate", "--bench", url, "--from", written(folder, text))
    assert (status, error) == (0, "")
    return "SIMULATED" if seed == 1 else f"SIM-{seed:X}"


@pytest.mark.parametrize("seed", [1, 5, 18, 23])
def test_the_hidden_truth_lies_within_the_uncertainty(
    call: Call, tmp_path: Path, seed: int
) -> None:
    true = parts_of(seed)
    board_id = calibrated(call, tmp_path, seed, toml(seed, meter_error=0.8))
    line, bits = volts_of(stored(Part.VOLTS, board_id))
    assert bits == 10
    for volts in (-12.0, 0.0, 6.0, 12.0):
        count = (volts * true.gain + true.offset_v - LOW_V) * 1023 / (HIGH_V - LOW_V)
        error = line.gain_v * count + line.offset_v - volts
        u = sum(row.contribution**2 for row in volt_rows(line, volts)) ** 0.5
        assert abs(error) <= 2 * u, volts
        # 0.02 % + 2 mV and half a count of bending: nothing makes it larger than this.
        assert u < 0.012, volts
    clock = time_base_of(stored(Part.CLOCK, board_id))
    assert clock.u_relative is not None
    assert abs(clock.correction - true.clock) < 2e-6  # the source is exact here
    assert 5e-6 < clock.u_relative < 7e-6  # 1 ppm and 10 ppm of wander, both limits
    bias = width_bias_of(stored(Part.WIDTHS, board_id))
    skew_us = (true.fall_delay_s - true.rise_delay_s) * 1e6
    assert abs(bias[""].bias_us - skew_us) <= 2 * bias[""].u_us
    assert bias[""].u_us < 0.05
    assert (bias["C"].bias_us, "B" in bias) == (0.06, False)


@pytest.mark.parametrize("seed", [1, 5, 18])
def test_the_parts_of_every_set_are_right(call: Call, tmp_path: Path, seed: int) -> None:
    true = parts_of(seed)
    parts = known_parts(
        stored(Part.PARTS, calibrated(call, tmp_path, seed, toml(seed, parts="parts")))
    )
    for which, ohm in true.permanent_ohm.items():
        part = parts["permanent" if which == "nominal" else f"permanent_{which}"]
        assert abs(part.value - ohm) <= 2 * part.u
    # Currents of the rungs at 12 V, 1 kohm and 0.70 V, worked out here from IEC 61851-1:2017
    # Tables A.2, A.3 and A.9.
    for name, ohm in (("b", 2740), ("c", 881.7), ("d", 245.8), ("b_low", 1870), ("b_high", 4610)):
        drop = true.diode.drop(11.3 / (1000 + ohm))
        known = parts[f"diode_drop_{name}"]
        assert abs(known.value - drop) <= 2 * known.u
        assert known.u < 0.007


def test_the_next_run_goes_by_it(call: Call, tmp_path: Path) -> None:
    before = open_bench(URL)
    before.close()
    calibrated(call, tmp_path, 1, toml())
    with open_bench(URL) as standin:
        now = standin.calibration
    assert before.calibration.volts.id == "SIMULATED-1"
    assert now.volts.id == stored(Part.VOLTS).id
    assert now.time_base.kind == "calibrated"
    assert now.parts["permanent_low"].value != before.calibration.parts["permanent_low"].value
    assert now.bias_on("C").bias_us == 0.06
    assert now.bias_on("B") == now.width_bias[""]
    assert now.doubts == {}
    plain = now.as_dict()
    assert [record["part"] for record in plain["records"]] == ["volts", "clock", "parts", "widths"]
    assert {record["by"] for record in plain["records"]} == {"A. Tester"}
    assert json.loads(json.dumps(plain)) == plain


def test_another_board_has_nothing_of_it(call: Call, tmp_path: Path) -> None:
    calibrated(call, tmp_path, 1, toml())
    with open_bench(f"{URL}?seed=2") as standin:
        assert standin.calibration.records == ()
        assert standin.calibration.volts.id == "SIMULATED-1"


def test_real_and_simulated_records_lie_apart(call: Call, tmp_path: Path) -> None:
    calibrated(call, tmp_path, 1, toml(parts="clock"))
    assert store_for(simulated=False).records() == ()
    assert paths().calibrations != paths().simulated_calibrations
    assert len(list(paths().simulated_calibrations.glob("*.json"))) == 1


def test_a_record_of_the_other_kind_of_board_stops_whoever_asks(call: Call, tmp_path: Path) -> None:
    calibrated(call, tmp_path, 1, toml(parts="clock"))
    (file,) = paths().simulated_calibrations.glob("*.json")
    paths().calibrations.mkdir(parents=True, exist_ok=True)
    (paths().calibrations / file.name).write_bytes(file.read_bytes())
    with pytest.raises(DamagedRecord, match="one of a simulated board"):
        store_for(simulated=False).records()
    status, _, error = call("calibrations")
    assert status == 4
    assert error.count("\n") == 1


def test_a_clock_that_went_back_makes_no_record(call: Call, tmp_path: Path) -> None:
    calibrated(call, tmp_path, 1, toml(parts="clock"))
    ahead = redated(stored(Part.CLOCK), -1)
    only(store_for(simulated=True), ahead)
    # The new one would be the older one, and not count.
    status, _, error = call(
        "calibrate", "--bench", URL, "--from", written(tmp_path, toml(parts="clock"))
    )
    assert status == 4
    assert ahead.id in error
    assert "set the clock of this computer" in error
    assert store_for(simulated=True).records() == (stored(Part.CLOCK),)


def test_a_qualification_keeps_which_records_it_went_by(
    call: Call, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    calibrated(call, tmp_path, 1, toml())
    status = run(QUALIFY)
    plain = json.loads(capsys.readouterr().out)
    assert status == 0, [one for one in plain["checks"] if one["verdict"] != "pass"]
    assert plain["verdict"] == "pass"
    assert len(plain["calibration"]["records"]) == 4
    rows = json.dumps(plain["calibration"])
    assert stored(Part.VOLTS).sha256 in rows


def test_who_when_and_against_what_is_printed_with_results(
    call: Call, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    calibrated(call, tmp_path, 1, toml())
    status, shown, _ = call("show", "--bench", URL)
    assert status == 0
    run([word for word in QUALIFY if word != "--json"])
    page = capsys.readouterr().out
    run(["records", "list", "--json", "--demo"])
    run(["records", "show", json.loads(capsys.readouterr().out)["records"][0]["record"]])
    record = capsys.readouterr().out
    today = datetime.now(UTC).date().isoformat()
    wanted = (f"made {today} by A. Tester", "24.0 °C", "bench meter, M-1, 0.02 % + 2 mV")
    for printed in (shown, page, record):
        for text in wanted:
            assert text in printed


def test_a_bent_converter_is_refused_with_the_figure(call: Call, tmp_path: Path) -> None:
    file = written(tmp_path, toml(parts="volts"))
    status, out, error = call("calibrate", "--bench", f"{URL}?bow_v=0.3", "--from", file)
    assert status == 4
    assert "do not lie on a line: at " in error
    assert " mV, where noise, converter and meter allow " in error
    assert store_for(simulated=True).records() == ()
    # A bend within what the converter's data sheet allows is none.
    assert call("calibrate", "--bench", f"{URL}?bow_v=0.01", "--from", file)[0] == 0


def test_levels_that_are_needed() -> None:
    for needed in (-12.0, 0.0, 3.0, 6.0, 9.0, 12.0):
        assert needed in LEVELS_V


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('"9" = 9.0000', "", "No level is near +9 V"),
        ('"9" = 9.0000', '"9" = 3.0', "3 V is not about +9 V"),
        (
            'accuracy = "0.02 % + 2 mV"',
            'accuracy = "good"',
            "volts.accuracy: 'good' is no accuracy",
        ),
        ('accuracy = "0.02 % + 2 mV"', 'accuracy = "0 %"', "no meter is without any uncertainty"),
        ("digit = 0.001", "digit = -1", "volts.digit"),
        ('by = "A. Tester"', "", "The answer by is missing"),
        ("temperature_c = 24.0", "temperature_c = 60.0", "far from the 24.5"),
        ("temperature_c = 24.0", "temperature_c = nan", "temperature_c: 'nan' is no number"),
        ('valid_until = "365"', 'valid_until = "2020-01-01"', "is past"),
        ('valid_until = "365"', 'valid_until = "soon"', "neither a day such as"),
        ('meter = "bench meter"', "", "The answer volts.meter is missing"),
        ('note = "a note"', "note = [1]", "note is a list"),
    ],
)
def test_answers_that_make_no_sense(
    call: Call, tmp_path: Path, old: str, new: str, said: str
) -> None:
    text = toml(parts="volts")
    assert old in text
    file = written(tmp_path, text.replace(old, new, 1))
    status, _, error = call("calibrate", "--bench", URL, "--from", file)
    assert status == 2
    assert said in error
    assert error.count("\n") == 1
    assert store_for(simulated=True).records() == ()


def test_files_that_are_no_answers(call: Call, tmp_path: Path) -> None:
    for text, said in (("= 1", "are no TOML"), ('by = "x"', "The file answers nothing")):
        status, _, error = call("calibrate", "--bench", URL, "--from", written(tmp_path, text))
        assert status in (2, 4)
        assert said in error
    status, _, error = call("calibrate", "--bench", URL, "--from", str(tmp_path / "none.toml"))
    assert status == 4
    assert "cannot be read" in error


def test_a_slip_of_the_pen_is_told(call: Call, tmp_path: Path) -> None:
    text = toml(parts="clock") + "frequenzy_hz = 1\n"
    status, out, _ = call("calibrate", "--bench", URL, "--from", written(tmp_path, text))
    assert status == 0
    assert "Nothing asked for clock.frequenzy_hz" in out


@pytest.mark.parametrize("board_id", [".x", "../x", "a/b", "..", "a b", "ä"])
def test_an_id_that_is_no_name_of_a_file_is_refused(board_id: str) -> None:
    with pytest.raises(BenchError, match="letters, digits, dots and dashes"):
        check_board_id(board_id)


def test_a_board_without_an_id_cannot_be_calibrated(call: Call, tmp_path: Path) -> None:
    url = f"{URL}?board_id=RB-UNSET"
    status, _, error = call("calibrate", "--bench", url, "--from", written(tmp_path, toml()))
    assert status == 4
    assert "make eeprom" in error
    assert "BOARD_ID=RB-0001" in error
    assert error.count("\n") == 1
