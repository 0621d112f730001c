"""From known inputs to a calibration: against a published fit, and with a known truth."""

import math

import numpy as np
import pytest
from scipy.stats import t as student

from pilotsignal.calibration_fit import (
    Accuracy,
    DropCurve,
    Known,
    Level,
    LineFit,
    clock_correction,
    fit_line,
)
from pilotsignal.errors import CalibrationError
from pilotsignal.quantity import BudgetRow, Quantity

# JCGM 100:2008 (GUM), H.3, Table H.6: readings of a thermometer and their corrections.
THERMOMETER = (
    (21.521, -0.171),
    (22.012, -0.169),
    (22.512, -0.166),
    (23.003, -0.159),
    (23.507, -0.164),
    (23.999, -0.165),
    (24.513, -0.156),
    (25.002, -0.157),
    (25.503, -0.159),
    (26.010, -0.161),
    (26.511, -0.160),
)
LEVELS_V = (-12.0, -6.0, 0.0, 3.0, 6.0, 9.0, 12.0)
GAIN_V, OFFSET_V = 30.0 / 1023.0, -15.0
METER = Accuracy(1e-4, 1e-3, 1e-3)


def u_at(fit: LineFit, count: float) -> float:
    """Standard uncertainty of the line at a count, from what the fit states."""
    value = fit.gain_v * count + fit.offset_v
    gain, zero = fit.u_gain_relative * value, fit.u_zero_v
    return math.sqrt(gain**2 + zero**2 + 2 * fit.correlation * gain * zero)


def test_the_thermometer_of_the_gum() -> None:
    # GUM H.3.3: intercept at 20 degrees -0.1712 with 0.0029, slope 0.00218 with 0.00067,
    # 9 degrees of freedom; at 30 degrees -0.1494 with 0.0041 (H.3.4).
    levels = [Level(correction, reading, 0.0) for reading, correction in THERMOMETER]
    fit = fit_line(levels, Accuracy(1e-6, 1e-6, 1e-3))
    assert fit.gain_v == pytest.approx(0.00218, abs=5e-6)
    assert fit.gain_v * 20 + fit.offset_v == pytest.approx(-0.1712, abs=5e-5)
    assert fit.gain_v * fit.u_gain_relative == pytest.approx(0.00067, abs=5e-6)
    assert u_at(fit, 20.0) == pytest.approx(0.0029, abs=5e-5)
    assert fit.gain_v * 30 + fit.offset_v == pytest.approx(-0.1494, abs=5e-5)
    assert u_at(fit, 30.0) == pytest.approx(0.0041, abs=5e-5)
    assert fit.dof == 9
    assert fit.birge > 5  # the weights said 0.3 mK, and it scatters by 3.5


def drawn(seed: int, u_bend: float = 0.29) -> LineFit:
    """A fit of a true line with noise, rounding of the meter and a bent converter."""
    rng = np.random.default_rng(seed)
    true = np.array(LEVELS_V)
    counts = (true - OFFSET_V) / GAIN_V + rng.normal(0, 0.01, 7) + rng.normal(0, u_bend, 7)
    readings = np.round(true, 3)
    levels = [Level(float(v), float(n), 0.01) for v, n in zip(readings, counts, strict=True)]
    return fit_line(levels, METER, u_bend)


def test_the_truth_lies_within_u_as_often_as_stated() -> None:
    fits = [drawn(seed) for seed in range(400)]
    factor = float(student.ppf(0.975, 5))
    for volts in (-12.0, 0.0, 12.0):
        count = (volts - OFFSET_V) / GAIN_V
        errors = [fit.gain_v * count + fit.offset_v - volts for fit in fits]
        within = [
            abs(error) <= factor * u_at(fit, count) for error, fit in zip(errors, fits, strict=True)
        ]
        # Scatter that happens to be small makes nothing smaller: more than 95 %.
        assert np.mean(within) >= 0.95, volts
        assert np.mean([factor * u_at(fit, count) for fit in fits]) < 0.035, volts


def test_sound_levels_are_hardly_ever_refused() -> None:
    refused = [drawn(seed).worst.too_large for seed in range(400)]
    assert np.mean(refused) < 0.02


@pytest.mark.parametrize("bent_v", [0.06, -0.06])
def test_a_level_off_the_line_is_named(bent_v: float) -> None:
    levels = [
        Level(volts + (bent_v if volts == 6.0 else 0.0), (volts - OFFSET_V) / GAIN_V, 0.01)
        for volts in LEVELS_V
    ]
    worst = fit_line(levels, METER, 0.29).worst
    assert worst.too_large
    assert worst.reading_v == pytest.approx(6.0 + bent_v)
    assert worst.rest_v == pytest.approx(bent_v * (1 - 1 / 7), abs=0.01)
    # A worse meter allows it: 1 % of 6 V as a standard uncertainty is the same 60 mV.
    assert not fit_line(levels, Accuracy(0.01, 0.0, 1e-3), 0.29).worst.too_large


def test_a_level_with_more_noise_counts_less() -> None:
    levels = [Level(volts, (volts - OFFSET_V) / GAIN_V, 0.01) for volts in LEVELS_V]
    off = [*levels[:-1], Level(12.05, levels[-1].count, 0.01)]
    noisy = [*levels[:-1], Level(12.05, levels[-1].count, 5.0)]
    strong, weak = (abs(fit_line(some, METER).gain_v / GAIN_V - 1) for some in (off, noisy))
    assert weak < 0.01 * strong


@pytest.mark.parametrize(
    ("levels", "words"),
    [
        ([Level(0.0, 511.0, 0.1), Level(12.0, 920.0, 0.1)], "2 levels make no line"),
        ([Level(v, -v, 0.1) for v in LEVELS_V], "do not rise"),
        ([Level(v, 500.0, 0.1) for v in LEVELS_V], "the same count"),
        ([Level(v, math.nan, 0.1) for v in LEVELS_V], "not a number"),
    ],
)
def test_levels_that_make_no_line(levels: list[Level], words: str) -> None:
    with pytest.raises(CalibrationError, match=words):
        fit_line(levels, METER)


@pytest.mark.parametrize("numbers", [(-1e-3, 1e-3), (math.nan, 1e-3), (0.0, 0.0)])
def test_a_meter_without_an_uncertainty_is_none(numbers: tuple[float, float]) -> None:
    with pytest.raises(CalibrationError):
        Accuracy(*numbers)


def test_a_reading_by_its_parts() -> None:
    # By hand: 0.1 % of 12 V and 2 mV, last digit 10 mV.
    meter = Accuracy(1e-3, 2e-3, 0.01)
    assert meter.u(12.0) == pytest.approx(math.sqrt(0.012**2 + 0.002**2 + 0.01**2 / 12))


def measured(hz: float, u: float) -> Quantity:
    rows = (
        BudgetRow("scatter-period@x", "scatter", "A", "normal", u, "Hz", math.inf, 1.0),
        BudgetRow("timebase@crystal", "time base", "B", "normal", 29e-6, "1", math.inf, hz),
    )
    return Quantity("frequency_hz", hz, "Hz", math.hypot(u, 29e-6 * hz), math.inf, "edges", rows)


def test_a_fast_clock_shows_a_low_frequency() -> None:
    # A clock 40 ppm fast counts 40 ppm more ticks to a period.
    found = clock_correction(Known(1000.0, 1e-3), measured(1000.0 / (1 + 40e-6), 2e-3), 3e-6)
    assert found.value == pytest.approx(40e-6, abs=1e-12)
    # 1 ppm, 2 ppm and 3 ppm; the clock's own doubt is what is being found and is left out.
    assert found.u == pytest.approx(math.sqrt(14) * 1e-6, rel=1e-4)


@pytest.mark.parametrize("current_a", [2e-3, 3.02e-3, 6e-3, 9.07e-3, 10e-3])
def test_the_curve_follows_the_law_of_a_junction(current_a: float) -> None:
    # W. Shockley, Bell System Technical Journal 28 (1949): i = i_s (exp(v / (n v_t)) - 1).
    saturation_a, slope_v = 4e-12, 1.75 * 0.02569

    def drop(ampere: float) -> float:
        return slope_v * math.log1p(ampere / saturation_a)

    curve = DropCurve(2e-3, Known(drop(2e-3), 1e-3), 10e-3, Known(drop(10e-3), 1e-3))
    found = curve.at(current_a)
    assert found.value == pytest.approx(drop(current_a), abs=1e-6)
    assert 0.7e-3 <= found.u <= 1e-3 * (1 + 1e-9)


def test_a_series_resistance_is_worth_less_than_a_millivolt() -> None:
    def drop(ampere: float) -> float:
        return 0.045 * math.log1p(ampere / 4e-10) + 0.6 * ampere

    curve = DropCurve(2e-3, Known(drop(2e-3), 1e-3), 10e-3, Known(drop(10e-3), 1e-3))
    worst = max(abs(curve.at(i * 1e-3).value - drop(i * 1e-3)) for i in (2.5, 3, 4, 5, 6, 8, 9))
    assert 1e-4 < worst < 1e-3


@pytest.mark.parametrize(
    ("low_a", "low_v", "high_a", "high_v"),
    [(2e-3, 0.7, 2.5e-3, 0.71), (0.0, 0.7, 1e-2, 0.75), (2e-3, 0.75, 1e-2, 0.7)],
)
def test_points_that_make_no_curve(
    low_a: float, low_v: float, high_a: float, high_v: float
) -> None:
    with pytest.raises(CalibrationError):
        DropCurve(low_a, Known(low_v, 1e-3), high_a, Known(high_v, 1e-3))
