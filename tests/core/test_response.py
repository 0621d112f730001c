"""Where the pilot leaves a level, against waveforms made here with known instants."""

import numpy as np
import pytest

from pilotsignal.calibration import CRYSTAL_50_PPM, UNKNOWN_TIME_BASE, VoltCalibration
from pilotsignal.capture import Capture, Gap
from pilotsignal.errors import CaptureError
from pilotsignal.response import Instant, Window, elapsed, leaving

TICK_S = 62.5e-9
INTERVAL_TICKS = 832  # 52 us
LINE = VoltCalibration("line", 0.01, 0.0, 0.001, 0.001)
B, C = Window(8.0, 10.0), Window(5.0, 7.0)


def pilot(change_s: float, before_v: float, after_v: float, duty: float = 0.267) -> Capture:
    """A second of 1 kHz with edges of 5 us, whose high level changes at `change_s`."""
    time = np.arange(19_200) * INTERVAL_TICKS * TICK_S
    phase = (time * 1000.0) % 1.0
    high = np.where(time < change_s, before_v, after_v)
    edge = 0.005
    rising = np.clip(phase / edge, 0.0, 1.0)
    falling = np.clip((phase - duty) / edge, 0.0, 1.0)
    volts = -12.0 + (high + 12.0) * (rising - falling)
    noise = np.random.default_rng(7).normal(0.0, 0.02, time.size)
    return counted(volts + noise)


def counted(volts: np.ndarray, gaps: tuple[Gap, ...] = (), first_tick: int = 1000) -> Capture:
    counts = np.rint(volts / LINE.gain_v).astype(np.int16)
    interval_s = INTERVAL_TICKS * TICK_S
    capture = Capture.from_counts(counts, interval_s, "made here", calibration=LINE)
    return capture.recorded(gaps=gaps, first_tick=first_tick)


def tick(time_s: float) -> float:
    return 1000 + time_s / TICK_S


@pytest.mark.parametrize("change_s", np.linspace(0.4, 0.4021, 29))
@pytest.mark.parametrize(("before", "after", "window"), [(6.0, 9.0, C), (9.0, 6.0, B)])
def test_the_change_lies_in_the_doubt(
    change_s: float, before: float, after: float, window: Window
) -> None:
    """Wherever in the period: in the high half it is seen at once, in the low half afterwards."""
    found = leaving(pilot(change_s, before, after), window, TICK_S)
    assert found is not None
    assert abs(found.tick - tick(change_s)) <= found.doubt + INTERVAL_TICKS
    assert found.doubt * TICK_S < 0.5e-3, "never longer than the low half"


def test_edges_are_no_change() -> None:
    assert leaving(pilot(5.0, 9.0, 9.0), B, TICK_S) is None
    assert leaving(pilot(5.0, 6.0, 6.0, duty=0.05), C, TICK_S) is None


def test_what_came_before_is_not_looked_at() -> None:
    capture = pilot(0.2, 9.0, 6.0)
    found = leaving(capture, B, TICK_S, tick(0.5))
    assert found is not None
    assert found.tick + found.doubt >= tick(0.5)
    assert leaving(capture, C, TICK_S, tick(0.5)) is None


def test_a_spike_starts_nothing_and_a_bounce_does() -> None:
    volts = np.full(4000, 12.0)
    volts[1000] = 9.0
    spike = leaving(counted(volts), Window(11.0, 13.0), TICK_S)
    assert spike is None
    volts[1990] = 9.0  # a first touch, half a millisecond before the contact stays
    volts[2000:] = 9.0
    found = leaving(counted(volts), Window(11.0, 13.0), TICK_S)
    assert found is not None
    assert found.tick + found.doubt == pytest.approx(1000 + 1990 * INTERVAL_TICKS)


def test_missing_samples_widen_the_doubt() -> None:
    volts = np.full(4000, 12.0)
    volts[2000:] = 9.0
    whole = leaving(counted(volts), Window(11.0, 13.0), TICK_S)
    gapped = leaving(counted(volts, (Gap(2000, 500),)), Window(11.0, 13.0), TICK_S)
    assert whole is not None
    assert gapped is not None
    assert gapped.doubt - whole.doubt == pytest.approx(250 * INTERVAL_TICKS)


def test_nothing_inside_before_is_no_start() -> None:
    assert leaving(counted(np.full(1000, 9.0)), Window(11.0, 13.0), TICK_S) is None


def test_without_board_time_it_refuses() -> None:
    capture = Capture.from_volts(np.full(100, 9.0), 1e-5, "somewhere")
    with pytest.raises(CaptureError, match="board time"):
        leaving(capture, B, TICK_S)


def test_elapsed_carries_every_doubt() -> None:
    span = (Instant(1000.0, 1600.0, 8000.0), Instant(1_601_000.0, 16_000.0))
    quantity = elapsed("t_ms", "ms", span, TICK_S, CRYSTAL_50_PPM)
    assert quantity.value == pytest.approx(100.0)
    # Half widths 0.1, 1.0 and 0.5 ms over root 3 (GUM 4.3.7), 29 ppm of 100 ms besides.
    assert quantity.u == pytest.approx(np.sqrt((0.01 + 1.0 + 0.25) / 3.0), rel=1e-4)
    assert {row.component for row in quantity.rows} >= {"time base", "doubt of the start"}
    unknown = elapsed("t_s", "s", span, TICK_S, UNKNOWN_TIME_BASE)
    assert unknown.unit == "s"
    assert unknown.value == pytest.approx(0.1)
    with pytest.raises(KeyError):
        elapsed("t", "min", span, TICK_S, CRYSTAL_50_PPM)


@pytest.mark.parametrize("numbers", [(1.0, -1.0), (np.nan, 0.0), (0.0, 0.0, np.inf)])
def test_impossible_instants(numbers: tuple[float, ...]) -> None:
    with pytest.raises(CaptureError, match="clock is at fault"):
        Instant(*numbers)
