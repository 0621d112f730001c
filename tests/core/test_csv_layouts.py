"""Every layout of fixtures/csv gives the truth that its README states."""

from pathlib import Path

import numpy as np
import pytest

from pilotsignal.csv_import import ImportedCapture, ReadOptions, read_capture
from pilotsignal.measure import measure

# fixtures/csv/README.md, closed form of the model that made the files.
TRUTH = {
    "frequency_hz": 1003.0,
    "pulse_width_zero_us": 266.3298,
    "duty_percent": 26.7129,
}
PLATEAUS = {"high_plateau_v": 8.97861, "low_plateau_v": -12.0}
STATED = ReadOptions(interval_s=1e-5, unit="V")
LAYOUTS = {
    "metadata-beside": ReadOptions(),
    "key-header": ReadOptions(),
    "start-increment": ReadOptions(channel="CH1"),
    "two-header-rows": ReadOptions(),
    "two-header-rows-numbered": ReadOptions(channel="1"),
    "key-value-marker": ReadOptions(),
    "unit-row": ReadOptions(),
    "unit-row-decimal-comma": ReadOptions(),
    "comment-lines": ReadOptions(),
    "no-header-one-column": STATED,
    "no-header-time-volts": STATED,
    "no-header-two-channels": ReadOptions(channel="2", interval_s=1e-5, unit="V"),
}


def read(root: Path, name: str, options: ReadOptions | None = None) -> ImportedCapture:
    with (root / "fixtures" / "csv" / f"{name}.csv").open("rb") as stream:
        return read_capture(stream, options)


def test_every_file_is_covered(root: Path) -> None:
    assert {file.stem for file in (root / "fixtures" / "csv").glob("*.csv")} == set(LAYOUTS)


@pytest.mark.parametrize("name", LAYOUTS)
def test_truth(root: Path, name: str) -> None:
    found = measure(read(root, name, LAYOUTS[name]).capture)
    quantities = found.quantities()
    for wanted, value in TRUTH.items():
        quantity = quantities[wanted]
        assert quantity is not None
        # One in twenty lies outside U; of these few dozen none by half as much again.
        assert quantity.value == pytest.approx(value, abs=1.5 * quantity.expanded())
    for wanted, value in PLATEAUS.items():
        quantity = quantities[wanted]
        assert quantity is not None
        # Half a step of the 12-bit converter (7.3 mV) is what the texts can be off.
        assert quantity.value == pytest.approx(value, abs=0.0037 + quantity.expanded())
    assert found.state == ("B2",)


@pytest.mark.parametrize("name", [name for name in LAYOUTS if name != "two-header-rows-numbered"])
def test_size_and_interval(root: Path, name: str) -> None:
    capture = read(root, name, LAYOUTS[name]).capture
    assert capture.samples.size == 1000
    assert capture.interval_s == pytest.approx(1e-5, rel=1e-9)
    assert capture.gaps == ()


def test_times_of_three_digits_say_how_well_they_are_known(root: Path) -> None:
    imported = read(root, "two-header-rows-numbered", ReadOptions(channel="1"))
    # The last times lie at +/- 6.00 ms, in steps of 10 us, over 12 ms.
    doubt = 1e-5 / 12e-3
    assert imported.capture.interval_s == pytest.approx(5e-6, rel=doubt)
    assert imported.capture.time_base.u_relative == pytest.approx(doubt / 3**0.5, rel=0.01)
    assert any("too coarse to show missing samples" in text for text in imported.remarks)
    assert any("rounded times" in text for text in imported.remarks)


def test_a_stated_interval_goes_before_rounded_times(root: Path) -> None:
    imported = read(root, "key-header")
    assert imported.capture.interval_s == 1e-5
    assert imported.capture.time_base.u_relative is None


def test_a_companion_column_is_left_out_but_can_be_asked_for(root: Path) -> None:
    plain = read(root, "key-header")
    assert plain.channels == ("CH1", "CH1 Peak Detect")
    assert 'Column "CH1 Peak Detect" was left out.' in plain.remarks
    extra = read(root, "key-header", ReadOptions(channel="CH1 Peak Detect"))
    # make_layouts.py writes it 10 mV above.
    assert np.allclose(extra.capture.samples - plain.capture.samples, 0.01)


def test_the_second_channel_is_the_first_turned_over(root: Path) -> None:
    first = read(root, "start-increment", ReadOptions(channel="CH1")).capture
    second = read(root, "start-increment", ReadOptions(channel="ch2")).capture
    assert np.array_equal(first.samples, -second.samples)


def test_scale_and_unit(root: Path) -> None:
    once = read(root, "no-header-one-column", STATED).capture
    tenfold = read(
        root, "no-header-one-column", ReadOptions(interval_s=1e-5, unit="mV", scale=10.0)
    ).capture
    assert np.allclose(tenfold.samples, once.samples * 0.01)


def test_stated_uncertainties_reach_the_capture(root: Path) -> None:
    options = ReadOptions(
        gain_uncertainty=0.003, offset_uncertainty=0.02, time_base_uncertainty=25e-6
    )
    capture = read(root, "comment-lines", options).capture
    assert capture.calibration.described
    assert capture.calibration.u_gain_relative == 0.003
    assert capture.calibration.u_offset_v == 0.02
    assert capture.time_base.kind == "stated"
    assert capture.time_base.u_relative == pytest.approx(25e-6)


def test_one_stated_uncertainty_describes_nothing(root: Path) -> None:
    capture = read(root, "comment-lines", ReadOptions(gain_uncertainty=0.003)).capture
    assert not capture.calibration.described
