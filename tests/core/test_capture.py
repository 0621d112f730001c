"""Captures and edge records: what they refuse, and that raw samples stay as they came."""

import hashlib
import math
from typing import Any

import numpy as np
import pytest

from pilotsignal.calibration import CRYSTAL_50_PPM, UNKNOWN_TIME_BASE, VoltCalibration, WidthBias
from pilotsignal.capture import Capture, EdgeRecord, Gap
from pilotsignal.errors import CaptureError

CALIBRATION = VoltCalibration("CAL-1", gain_v=0.0293, offset_v=-15.0)
COUNTS = np.array([0, 512, 1023], dtype=np.int16)


def counted(gaps: tuple[Gap, ...] = ()) -> Capture:
    return Capture.from_counts(COUNTS, 1e-5, "test", calibration=CALIBRATION).recorded(gaps=gaps)


def edges(times: list[int], rising: list[bool], tick_s: float = 62.5e-9) -> EdgeRecord:
    return EdgeRecord(
        np.array(times, dtype=np.int64),
        np.array(rising, dtype=np.bool_),
        tick_s,
        "test",
        CRYSTAL_50_PPM,
        WidthBias("none"),
    )


@pytest.mark.parametrize(
    "volts",
    [
        [],
        [[1.0, 2.0]],
        [1.0, math.nan],
        [math.inf, -math.inf],
        ["twelve"],
        [1.0, [2.0]],
    ],
)
def test_samples_that_are_no_channel_of_numbers_are_refused(volts: Any) -> None:
    with pytest.raises(CaptureError) as refused:
        Capture.from_volts(volts, 1e-5, "test")
    assert str(refused.value).endswith(".")


def test_truth_values_are_no_samples() -> None:
    with pytest.raises(CaptureError, match="else than numbers"):
        Capture(np.array([True, False]), 1e-5, "test", CALIBRATION)


@pytest.mark.parametrize("interval", [0.0, -1e-5, math.nan, math.inf])
def test_an_interval_that_is_no_positive_time_is_refused(interval: float) -> None:
    with pytest.raises(CaptureError, match="not positive"):
        Capture.from_volts([1.0, 2.0], interval, "test")


def test_volts_are_no_counts() -> None:
    with pytest.raises(CaptureError, match="whole numbers"):
        Capture.from_counts([1.5], 1e-5, "test", calibration=CALIBRATION)


def test_counts_become_volts_by_the_line_of_the_calibration() -> None:
    assert counted().volts() == pytest.approx([-15.0, -15.0 + 512 * 0.0293, -15.0 + 1023 * 0.0293])
    assert counted().volts([100]) == pytest.approx([-12.07])


def test_counts_keep_their_type_and_cannot_be_written() -> None:
    capture = counted()
    assert capture.samples.dtype == np.int16
    with pytest.raises(ValueError, match="read-only"):
        capture.samples[0] = 7


def test_volts_nobody_described_cannot_be_judged() -> None:
    capture = Capture.from_volts([1.0, 2.0], 1e-5, "test")
    assert not capture.calibration.described
    assert capture.time_base is UNKNOWN_TIME_BASE


def test_volts_are_copied() -> None:
    volts = np.array([1.0, 2.0])
    capture = Capture.from_volts(volts, 1e-5, "test")
    volts[0] = 99.0
    assert capture.samples[0] == 1.0


def test_missing_samples_count_in_the_duration() -> None:
    assert counted(gaps=(Gap(1, 97),)).duration_s == pytest.approx(1e-3)


@pytest.mark.parametrize("index", [0, 3, -1])
def test_a_gap_outside_the_samples_is_refused(index: int) -> None:
    with pytest.raises(CaptureError, match="gaps"):
        counted(gaps=(Gap(index, 1),))


def test_the_hash_is_that_of_type_and_little_endian_bytes() -> None:
    expected = hashlib.sha256(b"<i2" + bytes([0, 0, 0, 2, 0xFF, 3])).hexdigest()
    assert counted().sha256() == expected
    swapped = Capture.from_counts(COUNTS.astype(">i2"), 1e-5, "test", calibration=CALIBRATION)
    assert swapped.sha256() == expected


def test_edges_are_read_only() -> None:
    record = edges([10, 20], [True, False])
    with pytest.raises(ValueError, match="read-only"):
        record.times[0] = 0


@pytest.mark.parametrize(
    ("times", "rising", "tick", "why"),
    [
        ([1, 2], [True], 62.5e-9, "differ in length"),
        ([2, 1], [True, False], 62.5e-9, "fall back"),
        ([1, 2], [True, False], 0.0, "positive time"),
        ([1, 2], [True, False], math.nan, "positive time"),
    ],
)
def test_edges_that_contradict_themselves_are_refused(
    times: list[int], rising: list[bool], tick: float, why: str
) -> None:
    with pytest.raises(CaptureError, match=why):
        edges(times, rising, tick)
