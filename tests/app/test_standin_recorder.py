"""Blocks to records, without any board: gaps counted by ticks, losses by running numbers."""

from collections.abc import Sequence

import numpy as np
import pytest

from pilotsignal.calibration import WidthBias
from pilotsignal.capture import Gap
from rungbench.link.messages import EdgeBlock, Identity, SampleBlock
from rungbench.link.words import Oscillator
from rungbench.standin.calibration import BenchCalibration, uncalibrated
from rungbench.standin.record import Losses
from rungbench.standin.recorder import Recorder

BOARD = Identity(firmware="1", board_id="b", oscillator=Oscillator.CRYSTAL)
CALIBRATION = uncalibrated(BOARD)


def samples(tick: int, index: int, counts: Sequence[int], interval: int = 832) -> SampleBlock:
    return SampleBlock(0, tick, index, interval, 10, np.array(counts, dtype=np.uint16))


def edges(tick: int, index: int, offsets: Sequence[int], first_rising: bool) -> EdgeBlock:
    return EdgeBlock(tick, index, np.array(offsets, dtype=np.uint16), first_rising)


def recorder(*blocks: SampleBlock | EdgeBlock, start: int = 0) -> Recorder:
    made = Recorder("here", start, "B")
    for block in blocks:
        made.take(block)
    return made


def test_blocks_without_a_gap() -> None:
    capture, lost = recorder(samples(1000, 7, [1, 2]), samples(1000 + 2 * 832, 9, [3, 4])).capture(
        CALIBRATION
    )
    assert capture is not None
    assert capture.samples.tolist() == [1, 2, 3, 4]
    assert (capture.gaps, lost, capture.first_tick) == ((), 0, 1000)


def test_a_lost_block_is_a_gap() -> None:
    capture, lost = recorder(samples(1000, 0, [1, 2]), samples(1000 + 5 * 832, 5, [3, 4])).capture(
        CALIBRATION
    )
    assert capture is not None
    assert capture.gaps == (Gap(2, 3),)
    assert lost == 3
    assert capture.duration_s == pytest.approx(7 * 832 * 62.5e-9)


def test_a_pause_between_bursts_is_a_gap_and_no_loss() -> None:
    capture, lost = recorder(
        samples(1000, 0, [1, 2], 416), samples(1000 + 10 * 416, 2, [3], 416)
    ).capture(CALIBRATION)
    assert capture is not None
    assert capture.gaps == (Gap(2, 8),)
    assert lost == 0


def test_what_was_sampled_before_the_start_is_left_out() -> None:
    capture, _ = recorder(
        samples(1000, 0, [1, 2]), samples(1000 + 2 * 832, 2, [3]), start=2000
    ).capture(CALIBRATION)
    assert capture is not None
    assert capture.samples.tolist() == [3]


def test_nothing_sampled_is_no_capture() -> None:
    assert recorder().capture(CALIBRATION) == (None, 0)
    record, lost = recorder().edge_record(CALIBRATION, 100)
    assert record.times.size == 0
    assert lost == 0


def test_edges_between_start_and_end() -> None:
    record, lost = recorder(
        edges(1000, 5, [0, 100], True), edges(2000, 7, [0, 100, 200], True), start=1050
    ).edge_record(CALIBRATION, 2150)
    assert record.times.tolist() == [1100, 2000, 2100]
    assert record.rising.tolist() == [False, True, False]
    assert (record.gaps, lost) == ((), 0)


def test_lost_edges_are_a_gap_at_their_place() -> None:
    record, lost = recorder(
        edges(1000, 0, [0, 100], True), edges(2000, 6, [0, 100], True)
    ).edge_record(CALIBRATION, 9000)
    assert lost == 4
    assert record.gaps == (Gap(2, 4),)


def test_counts_of_fewer_bits_mean_the_same_volts() -> None:
    line = CALIBRATION.volts
    coarse = CALIBRATION.volts_for(8)
    tens = np.arange(1024)
    eights = tens >> 2
    fine_mean = (tens * line.gain_v + line.offset_v).mean()
    coarse_mean = (eights * coarse.gain_v + coarse.offset_v).mean()
    assert coarse_mean == pytest.approx(fine_mean, abs=1e-9)
    assert CALIBRATION.volts_for(10) is line


@pytest.mark.parametrize(
    ("oscillator", "kind"),
    [
        (Oscillator.CRYSTAL, "crystal"),
        (Oscillator.RESONATOR, "resonator"),
        (Oscillator.UNKNOWN, "unknown"),
    ],
)
def test_a_board_that_nobody_calibrated(oscillator: Oscillator, kind: str) -> None:
    found = uncalibrated(Identity(firmware="1", board_id="b", oscillator=oscillator))
    assert not found.volts.described
    assert found.time_base.kind == kind
    assert found.volts.offset_v == -15.0
    assert found.volts.gain_v * 1023 == pytest.approx(30.0)
    assert found.as_dict()["u_gain_relative"] is None


def test_width_bias_by_rung() -> None:
    special = WidthBias("c", 0.1, 0.01)
    bare = CALIBRATION
    known = BenchCalibration(
        "x", bare.volts, 10, bare.time_base, {"": WidthBias("any"), "C": special}
    )
    assert known.bias_on("C") is special
    assert known.bias_on("B").id == "any"


def test_losses_are_falsy_only_when_nothing_is_missing() -> None:
    assert not Losses()
    assert Losses(board_dropped=1)
    assert Losses(frames_lost=2, edges_missing=5).text() == "2 frames lost, 5 edges missing"
