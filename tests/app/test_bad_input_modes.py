"""Samples of an earlier mode that are still on their way belong to no later record."""

import numpy as np
import pytest

from rungbench.link.messages import SampleBlock
from rungbench.link.words import Mode
from rungbench.qualify.bench import calibration_for
from rungbench.standin.board import StandIn
from rungbench.standin.calibration import uncalibrated
from rungbench.standin.recorder import Recorder

URL = "sim://sound"
# Ticks of 62.5 ns between the samples of the two modes, as in hardware_notes/link_protocol.md.
SLOW, FAST = 832, 208


@pytest.mark.parametrize("length_s", [0.25, 0.3, 2.0])
def test_modes_that_follow_one_another(length_s: float) -> None:
    """Each has its own interval, also where the board reports (every 0.1 s) as the first ends."""
    with StandIn.open(URL, calibration_for(URL)) as standin:
        for mode, interval in 3 * ((Mode.STREAM10, SLOW), (Mode.STREAM8, FAST)):
            capture = standin.record(length_s, mode).capture
            assert capture is not None
            assert capture.interval_s == pytest.approx(interval * 62.5e-9)
            assert capture.duration_s == pytest.approx(length_s, abs=0.15)
            assert capture.gaps == ()


def test_a_block_of_another_mode_is_left_out() -> None:
    with StandIn.open(URL) as standin:
        calibration = uncalibrated(standin.identity)
    old = SampleBlock(0, 1000, 0, SLOW, 10, np.full(10, 900, dtype=np.uint16))
    new = SampleBlock(0, 20_000, 10, FAST, 8, np.full(20, 100, dtype=np.uint16))
    recorder = Recorder("test", 0, "open")
    for block in (old, new):
        recorder.take(block)
    capture, lost = recorder.capture(calibration)
    assert capture is not None
    assert (capture.samples.size, capture.first_tick, lost) == (20, 20_000, 0)
    assert capture.interval_s == pytest.approx(FAST * 62.5e-9)
