"""Every remark: what provokes it, and that good recordings are left in peace."""

from collections import Counter
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from pilot_waves import Cell, fine, pilot

from pilotsignal.capture import Capture, Gap
from pilotsignal.changes import CODES as CHANGES
from pilotsignal.measure import PilotMeasurement, measure
from pilotsignal.notices import CODES, Notice
from pilotsignal.quantity import Quantity
from pilotsignal.synth import Converter, PilotWave, Ramp, Sampling, synthesise


def of(wave: PilotWave, sampling: Sampling | None = None) -> PilotMeasurement:
    return measure(synthesise(wave, sampling or fine())[0])


def raw(volts: np.ndarray) -> PilotMeasurement:
    return measure(Capture.from_volts(volts, 1e-5, "made up"))


def codes(found: PilotMeasurement) -> set[str]:
    return {notice.code for notice in found.notices}


def present(quantity: Quantity | None) -> Quantity:
    assert quantity is not None
    return quantity


def noise_alone() -> PilotMeasurement:
    return raw(3.0 * np.random.default_rng(2).standard_normal(20_000))


def irregular() -> PilotMeasurement:
    """Two levels that change at random."""
    widths = np.random.default_rng(2).integers(5, 100, 400)
    return raw(np.repeat(np.resize([9.0, -12.0], 400), widths))


def coarse() -> PilotMeasurement:
    converter = Converter(bits=8, u_gain_relative=5e-4, u_offset_v=5e-3)
    return of(pilot("B"), replace(fine(noise_v=0.001), converter=converter))


def clipped() -> PilotMeasurement:
    converter = Converter(bits=10, low_v=-8.0, range_v=16.0, u_gain_relative=0.0, u_offset_v=0.0)
    return of(pilot("A"), replace(fine(), converter=converter))


def spiked() -> PilotMeasurement:
    return of(pilot("B"), replace(fine(), spikes=((1015, 6.0), (7020, -5.0))))


def gaps() -> PilotMeasurement:
    return of(pilot("B"), replace(fine(), gaps=(Gap(5000, 333), Gap(12_000, 4567))))


PROVOKED: dict[str, Callable[[], PilotMeasurement]] = {
    "no-pwm": lambda: of(PilotWave.steady(9.0)),
    "too-few-periods": lambda: of(pilot("B"), fine(count=150)),
    "coherent-sampling": lambda: of(pilot("A", frequency_hz=1000.0)),
    "edges-unresolved": lambda: of(PilotWave(1000.7, 300.0, 9.0, -12.0)),
    "clipped": clipped,
    "outliers": spiked,
    "not-periodic": irregular,
    "hum": lambda: of(pilot("B"), replace(fine(), hum_v=0.3)),
    "missing-samples": gaps,
    "inverted": lambda: of(PilotWave(1000.7, 300.0, 12.0, -6.0)),
    "low-contrast": lambda: of(PilotWave(1000.7, 300.0, 1.0, -1.0), fine(noise_v=0.09)),
    "coarse-voltage": coarse,
    "uncalibrated": lambda: of(pilot("B"), replace(fine(), converter=None)),
    "not-pilot": noise_alone,
    "two-currents": lambda: of(pilot("A", duty=85.0)),
}


@pytest.mark.parametrize("code", PROVOKED)
def test_each_remark_can_be_provoked(code: str) -> None:
    found = PROVOKED[code]()
    assert code in codes(found)
    text = next(notice.text for notice in found.notices if notice.code == code)
    assert text[0].isupper() or text[0].isdigit()
    assert text.endswith(".")


def test_all_remarks_are_provoked_here_or_elsewhere() -> None:
    """What changes inside a record is in `test_notice_codes`."""
    assert set(PROVOKED) | CHANGES == CODES


def test_an_unlisted_remark_is_refused() -> None:
    with pytest.raises(ValueError, match="nonsense"):
        Notice("nonsense", "Nothing.")


@pytest.mark.parametrize("state", "ABCD")
def test_good_recordings_are_left_in_peace(state: str) -> None:
    """Seventy-five seeds of each state at 500 kS/s, 8 to 90 % duty: not one remark.

    Periods are near 499.618 samples: a frequency next to a simple ratio of the rate would rightly
    hear that the sampling is all but locked, and a fast edge that it is not resolved.
    """
    heard: Counter[str] = Counter()
    for seed in range(75):
        rng = np.random.default_rng((31, seed))
        wave = pilot(state, float(rng.uniform(8, 90)), float(rng.uniform(1000.76, 1000.77)))
        wave = replace(wave, phase_us=float(rng.uniform(0, 1000)))
        if state == "A":
            wave = replace(wave, rise=Ramp(9.0), fall=Ramp(9.0))
        found = of(wave, fine(interval_s=2e-6, seed=seed))
        heard.update(codes(found) - {"edges-unresolved"})
        assert found.state == (f"{state}2",)
    assert heard == {}


def good(seed: int) -> set[str]:
    """Remarks on a good recording of any state, duty and frequency whose edges are resolved."""
    rng = np.random.default_rng((32, seed))
    duty, hertz = float(rng.uniform(8, 90)), float(rng.uniform(994, 1006))
    wave = replace(pilot("ABCD"[seed % 4], duty, hertz), phase_us=float(rng.uniform(0, 1000)))
    return codes(of(wave, fine(interval_s=5e-7, count=40_000, seed=seed)))


def test_a_hundred_good_recordings() -> None:
    assert [good(seed) for seed in range(100)] == [set()] * 100


@pytest.mark.slow
def test_two_thousand_good_recordings() -> None:
    heard = Counter(code for seed in range(2000) for code in good(seed))
    assert heard == {}


@pytest.mark.parametrize("count", [20, 40, 1000])
def test_phases_that_repeat_are_named_when_edges_lie_between_them(count: int) -> None:
    """52 us a sample and 998.995 Hz: four phases, a quarter of a sample apart, on 2 us edges."""
    wave = pilot("B", frequency_hz=1e6 / 52.0 / 19.25 if count > 100 else 998.995)
    found = of(wave, fine(interval_s=52e-6, count=round(count * 19.25)))
    assert found.has("coherent-sampling")
    text = next(n.text for n in found.notices if n.code == "coherent-sampling")
    assert "+/-" in text


@pytest.mark.parametrize("height", [25.0, -25.0])
def test_a_spike_on_the_last_sample_is_no_edge(height: float) -> None:
    wave = pilot("B")
    late = 0.85 if height > 0 else 0.15  # of a period: in the low, in the high pulse
    count = round((wave.phase_us + (10 + late) * wave.period_us) / 2.0)
    sampling = replace(fine(interval_s=2e-6, count=count), spikes=((count - 1, height),))
    found = of(wave, sampling)
    assert found.has("outliers")
    frequency = present(found.frequency_hz)
    assert abs(frequency.value - 1000.7) <= 2 * frequency.expanded()


@pytest.mark.parametrize("level", [12.0, 9.0, 6.0, 3.0, -12.0])
def test_good_steady_levels_hear_only_that_there_is_no_pwm(level: float) -> None:
    for seed in range(50):
        assert codes(of(PilotWave.steady(level), fine(count=5000, seed=seed))) == {"no-pwm"}


@pytest.mark.parametrize("ticks", [832, 416, 160])
def test_rates_that_do_not_resolve_edges_hear_only_that(ticks: int) -> None:
    heard: Counter[str] = Counter()
    for seed in range(60):
        heard.update(codes(measure(Cell(ticks, 12, 300e-12, 0.02, False).record(seed)[0])))
    # A frequency drawn at random is now and then all but locked to the rate, and a duty at 10 or
    # 85 % may then mean two currents.
    assert set(heard) <= {"edges-unresolved", "coherent-sampling", "two-currents"}
    assert heard["coherent-sampling"] <= 6


def test_hum_is_named_with_its_size() -> None:
    for hertz in (50.0, 60.0):
        found = of(pilot("B"), replace(fine(), hum_v=0.2, hum_hz=hertz))
        text = next(n.text for n in found.notices if n.code == "hum")
        assert f"{hertz:.0f} Hz" in text
        assert int(text.split(" mV")[0].split()[-1]) == pytest.approx(200, rel=0.1)


def test_hum_goes_into_the_uncertainty_of_the_level() -> None:
    quiet = of(pilot("B"))
    found = of(pilot("B"), replace(fine(count=21_500), hum_v=0.2))
    high = present(found.high_plateau_v)
    noise, calm = (
        sum(row.contribution for row in present(one.high_plateau_v).rows if row.kind == "A")
        for one in (found, quiet)
    )
    assert noise > 10 * calm
    assert abs(high.value - pilot("B").high_v) <= high.expanded()


def test_spikes_are_left_out() -> None:
    found, truth = spiked(), pilot("B").truth()
    assert "2 samples" in next(n.text for n in found.notices if n.code == "outliers")
    for name in ("high_plateau_v", "low_plateau_v", "duty_percent", "frequency_hz"):
        quantity = present(found.quantities()[name])
        assert abs(quantity.value - getattr(truth, name)) <= 2 * quantity.expanded()


def test_gaps_do_not_move_the_times() -> None:
    found, truth = gaps(), pilot("B").truth()
    assert "4900 samples are missing in 2 places" in found.notices[0].text
    for name in ("duty_percent", "frequency_hz", "pulse_width_zero_us"):
        quantity = present(found.quantities()[name])
        assert abs(quantity.value - getattr(truth, name)) <= 2 * quantity.expanded()
    assert present(found.frequency_hz).expanded() < 0.02


def test_a_clipped_level_is_no_level_to_trust() -> None:
    found = clipped()
    assert present(found.high_plateau_v).value == pytest.approx(8.0, abs=0.05)
    assert abs(present(found.frequency_hz).value - 1000.7) <= 0.05


@pytest.mark.parametrize(("gain", "offset"), [(0.004, 0.0), (0.0, 0.03), (-0.003, -0.02)])
def test_errors_of_the_calibration_lie_within_what_it_states(gain: float, offset: float) -> None:
    converter = Converter(
        bits=12, gain_error=gain, offset_error_v=offset, u_gain_relative=4e-3, u_offset_v=0.03
    )
    found = of(pilot("B"), replace(fine(), converter=converter))
    truth = pilot("B").truth()
    for name in ("high_plateau_v", "low_plateau_v"):
        quantity = present(found.quantities()[name])
        assert abs(quantity.value - getattr(truth, name)) <= quantity.expanded()
        rows = {row.id: row.contribution for row in quantity.rows}
        assert rows["gain@synthetic"] == pytest.approx(4e-3 * abs(quantity.value))
        assert rows["offset@synthetic"] == 0.03


def test_without_a_calibration_only_scatter_is_stated() -> None:
    found = PROVOKED["uncalibrated"]()
    high = present(found.high_plateau_v)
    assert not any(row.id.startswith(("gain", "offset")) for row in high.rows)
    assert high.value == pytest.approx(pilot("B").high_v, abs=0.005)
    assert not found.has("coarse-voltage")
