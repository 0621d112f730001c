"""What the windows are made of, without Qt: gathering, history, scale, words, files."""

from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pilotsignal.capture import Capture
from pilotsignal.csv_import import ReadOptions
from pilotsignal.errors import UnstatedError
from pilotsignal.measure import measure
from pilotsignal.notices import CODES
from pilotsignal.standard import load_profile
from rungbench.desktop.capture_file import in_fields, open_capture, save_capture
from rungbench.desktop.history import BIN_S, SPAN_S, History, Strip, laid_by_period, levels
from rungbench.desktop.judging import measured_capture
from rungbench.desktop.meanings import WHAT_TO_DO, duty_text, state_text
from rungbench.desktop.scale_model import Extras, bands, choices, index_of, spread
from rungbench.desktop.setting_words import Parts
from rungbench.desktop.snapshots import Stretch
from rungbench.errors import InputError, RungbenchError
from rungbench.link.messages import Identity
from rungbench.link.words import OPEN, LadderSet, Rung, Setting
from rungbench.qualify.readings import ReadingBasis

PROFILE = load_profile()


def pilot(high: float = 9.0, duty: float = 0.25, rate: float = 77_123.0, s: float = 0.1) -> Capture:
    times = np.arange(round(s * rate)) / rate
    volts = np.where((times * 1000.0) % 1.0 < duty, high, -12.0)
    return Capture.from_volts(volts, 1.0 / rate, "a test")


# The scale ---------------------------------------------------------------------------------------


def test_expected_levels_are_those_of_table_a9() -> None:
    # IEC 61851-1:2017, Table A.9, with 12 V, 1 kohm and 0.70 V: the edges of the windows.
    expected = {
        Setting(Rung.B, LadderSet.LOW): 8.063,
        Setting(Rung.B): 8.979,
        Setting(Rung.B, LadderSet.HIGH): 9.986,
        Setting(Rung.C, LadderSet.LOW): 4.989,
        Setting(Rung.C): 5.995,
        Setting(Rung.C, LadderSet.HIGH): 6.987,
        Setting(Rung.D, LadderSet.LOW): 2.002,
        Setting(Rung.D): 2.929,
        Setting(Rung.D, LadderSet.HIGH): 3.976,
    }
    parts = Parts(PROFILE)
    for setting, volts in expected.items():
        assert parts.presented(setting).volts == pytest.approx(volts, abs=0.001)


def test_what_is_presented_in_words() -> None:
    parts = Parts(PROFILE)
    assert parts.presented(Setting(Rung.B)).text == "2740 Ω, diode"
    assert parts.presented(Setting(Rung.C)).text == "882 Ω, diode"
    assert parts.presented(Setting(Rung.D, diode_in=False)).text == "246 Ω, no diode"
    assert parts.presented(OPEN).text == "nothing"


def test_choices_run_from_high_to_low_and_open_is_always_open() -> None:
    offered = choices(Parts(PROFILE), Extras(diode_in=False, pe_closed=False))
    assert [choice.volts for choice in offered] == sorted(
        (choice.volts for choice in offered), reverse=True
    )
    assert offered[0].setting == OPEN
    assert all(not choice.setting.pe_closed for choice in offered[1:])


def test_only_what_the_board_has_is_offered() -> None:
    plain = Identity("1", "T", ladders=(LadderSet.NOMINAL,), rungs=(Rung.OPEN, Rung.B))
    offered = choices(Parts(PROFILE), Extras(), plain)
    assert [choice.setting for choice in offered] == [OPEN, Setting(Rung.B)]
    assert index_of(Setting(Rung.B, diode_in=False), offered) == 1
    assert index_of(Setting(Rung.C), offered) is None


def test_bands_are_the_windows_of_table_a4() -> None:
    # IEC 61851-1:2017, Table A.4.
    found = {band.name: (band.low, band.high) for band in bands(PROFILE)}
    assert found == {
        "A": (11, 13),
        "B": (8, 10),
        "C": (5, 7),
        "D": (2, 4),
        "E": (-1, 1),
        "F": (-13, -11),
    }


@given(st.lists(st.floats(0.0, 500.0), min_size=1, max_size=14))
def test_labels_keep_apart_and_inside(wanted: list[float]) -> None:
    places = spread(sorted(wanted), 20.0, (0.0, 500.0))
    assert len(places) == len(wanted)
    assert all(after - before >= 20.0 - 1e-6 for before, after in pairwise(places))
    assert places[0] >= -1e-6
    assert places[-1] <= 500.0 + 1e-6


# History -----------------------------------------------------------------------------------------


def test_a_strip_keeps_lowest_and_highest_of_each_bin() -> None:
    strip = Strip()
    strip.add(10.01, np.array([3.0, 5.0]))
    strip.add(10.05, np.array([1.0]))
    strip.add(10.30, np.array([7.0]))
    times, values = strip.curve(10.30)
    known = ~np.isnan(values)
    assert values[known].tolist() == [1.0, 5.0, 7.0, 7.0]
    assert times[known][0] == pytest.approx(-0.25, abs=BIN_S)
    assert np.isnan(values[-5:-2]).all()


def test_a_late_stretch_leaves_no_gap() -> None:
    strip = Strip()
    strip.add(10.0, np.array([1.0]))
    strip.add(10.45, np.array([2.0, 3.0]), 10.05)
    known = strip.curve(10.45)[1]
    assert known[~np.isnan(known)].tolist() == [1.0, 3.0, *[2.0, 3.0] * 4]


def test_what_is_older_than_the_span_is_gone() -> None:
    strip = Strip()
    strip.add(0.0, np.array([1.0]))
    strip.reach(SPAN_S + 1.0)
    assert np.isnan(strip.curve(SPAN_S + 1.0)[1]).all()


def test_history_tells_current_levels_and_marks() -> None:
    history = History(PROFILE)
    stretch = Stretch(
        samples_s=np.arange(4, dtype=np.float64) * 1e-3,
        volts=np.array([9.0, 9.0, -12.0, -12.0]),
        pulses_s=np.array([0.0]),
        duty_percent=np.array([80.0]),
        marks=((0.5, "B"),),
    )
    history.add(1.0, stretch)
    # IEC 61851-1:2017, Table A.7: 48 A are 80 %.
    assert np.nanmax(history.current.curve(1.0)[1]) == pytest.approx(48.0)
    assert np.nanmax(history.high.curve(1.0)[1]) == 9.0
    assert np.nanmin(history.low.curve(1.0)[1]) == -12.0
    assert [mark.text for mark in history.recent_marks()] == ["B"]


def test_time_that_falls_back_begins_a_new_history() -> None:
    history = History(PROFILE)
    history.add(50.0, Stretch(marks=((49.0, "B"),)))
    history.add(1.0, Stretch())
    assert history.recent_marks() == ()


def test_samples_are_laid_by_their_rising_edges() -> None:
    rises = np.array([0.0, 1e-3, 2e-3])
    times = np.array([0.1e-3, 1.2e-3, 2.3e-3])
    stretch = Stretch(
        samples_s=times, volts=np.array([1.0, 2.0, 3.0]), rises_s=rises, period_s=1e-3
    )
    phase, volts = laid_by_period(stretch)
    assert phase == pytest.approx([100.0, 200.0, 300.0])
    assert volts.tolist() == [1.0, 2.0, 3.0]


def test_a_steady_low_pilot_has_a_low_level_only() -> None:
    high, low = levels(Stretch(samples_s=np.arange(3.0), volts=np.full(3, -12.0)))
    assert (high.size, low.tolist()) == (0, [-12.0])


# Words -------------------------------------------------------------------------------------------


def test_every_notice_has_something_to_do() -> None:
    assert set(WHAT_TO_DO) == set(CODES)


def test_state_and_duty_in_words() -> None:
    found = measure(pilot(), profile=PROFILE)
    assert state_text(found) == "B2: vehicle connected, not ready"
    assert duty_text(found, PROFILE) == "offers up to 15.0 A per phase"
    assert state_text(None) == "not measured yet"


def test_a_grey_band_names_both_neighbours() -> None:
    assert " or " in state_text(measure(pilot(high=7.5)))


# Judging -----------------------------------------------------------------------------------------


def test_an_undescribed_file_never_passes() -> None:
    rows = measured_capture(pilot(), ReadingBasis(PROFILE, set_current_a=15.0)).rows
    verdicts = {row.key: str(row.judgement.verdict) for row in rows if row.judgement is not None}
    assert verdicts["high_plateau_v"] == "undecided"
    assert verdicts["frequency_hz"] == "undecided"
    assert "pass" not in {verdicts["high_plateau_v"], verdicts["low_plateau_v"]}


def test_the_width_waits_for_the_set_current() -> None:
    rows = {row.key: row for row in measured_capture(pilot(), ReadingBasis(PROFILE)).rows}
    judgement = rows["pulse_width_us"].judgement
    assert judgement is not None
    assert (str(judgement.verdict), judgement.quantity) == ("undecided", None)
    wrong = measured_capture(pilot(), ReadingBasis(PROFILE, set_current_a=16.0)).rows
    found = next(row for row in wrong if row.key == "pulse_width_us").judgement
    assert found is not None
    # 15 A offered at a setting of 16 A: 266.67 us less 250 us, beyond the 5 us of Table A.2.
    assert str(found.verdict) == "fail"


# Files -------------------------------------------------------------------------------------------


def test_a_saved_capture_is_read_back(tmp_path: Path) -> None:
    file = tmp_path / "pilot.csv"
    capture = pilot()
    save_capture(capture, file, simulated=True)
    assert file.read_text("utf-8").startswith("#SIMULATED\n")
    read = open_capture(file, ReadOptions()).capture
    assert read.volts() == pytest.approx(capture.volts())
    assert read.interval_s == pytest.approx(capture.interval_s, rel=1e-6)


def test_files_that_cannot_be_used_are_said(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"cannot be read"):
        open_capture(tmp_path / "none.csv", ReadOptions())
    with pytest.raises(RungbenchError, match=r"cannot be written"):
        save_capture(pilot(), tmp_path / "no folder" / "pilot.csv", simulated=False)


def test_what_has_to_be_stated_is_asked_for_by_the_fields(tmp_path: Path) -> None:
    file = tmp_path / "bare.csv"
    file.write_text("1\n2\n1\n2\n" * 20, encoding="utf-8")
    with pytest.raises(UnstatedError) as refused:
        open_capture(file, ReadOptions())
    assert "--" not in in_fields(str(refused.value))
