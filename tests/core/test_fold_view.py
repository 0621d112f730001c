"""The equivalent-time view: what it states of itself, and when it refuses."""

from dataclasses import replace

import numpy as np
import pytest
from changing_waves import Before, Setting, recorded, stepped, wave
from pilot_waves import fine, pilot

from pilotsignal.capture import Capture, Gap
from pilotsignal.errors import FoldError
from pilotsignal.fold import Folded, FoldOptions, fold
from pilotsignal.fold_bins import Turn, fill, widest_gap
from pilotsignal.measure import measure
from pilotsignal.synth import Converter, PilotWave, Sampling, synthesise


def folded(capture: Capture, options: FoldOptions | None = None) -> Folded:
    return fold(capture, measure(capture), options)


@pytest.mark.parametrize("interval_s", [26e-6, 1e-5, 1e-6])
def test_the_mean_waveform_is_the_waveform(interval_s: float) -> None:
    """Every bin against the model in closed form; chi2 per bin is that of its stated noise."""
    signal = wave()
    view = folded(recorded(signal, Setting(interval_s=interval_s)))
    assert view.period_us == pytest.approx(signal.period_us, abs=0.002)
    after = (
        view.phase_us
        - signal.rise.crossing_us(0.5 * (signal.low_v + signal.high_v), signal.low_v, signal.high_v)
        * -1.0
    )
    truth = np.where(
        (after >= 0) & (after < signal.width_us),
        signal.rise.volts(np.maximum(after, 0.0), signal.low_v, signal.high_v),
        signal.fall.volts(
            np.maximum((after - signal.width_us) % signal.period_us, 0.0),
            signal.high_v,
            signal.low_v,
        ),
    )
    flat = np.abs(after % signal.width_us) > 20.0
    off = (view.mean_v - truth)[flat] / view.u_noise_v[flat]
    assert 0.8 < np.sqrt(np.mean(off**2)) < 1.2
    # On the edges what the origin is off by comes in as well.
    assert np.abs(view.mean_v - truth).max() < 20.0 * 2.0 * view.resolution_us + 0.15


def test_its_arrays_cannot_be_written() -> None:
    view = folded(recorded(wave(), Setting()))
    for values in (view.phase_us, view.mean_v, view.u_v, view.u_noise_v, view.count):
        assert not values.flags.writeable
    assert (np.diff(view.phase_us) > 0).all()
    assert (view.u_v >= view.u_noise_v).all()
    assert (view.count >= 1).all()


def test_no_sample_is_lost_or_made_up() -> None:
    sampling = replace(fine(), gaps=(Gap(5000, 333), Gap(12_000, 4567)))
    capture, _ = synthesise(pilot("B"), sampling)
    view = folded(capture)
    assert view.count.sum() == capture.samples.size
    whole = folded(synthesise(pilot("B"), fine())[0])
    assert view.high_v.value == pytest.approx(whole.high_v.value, abs=0.002)
    rises = (view.rise.duration_us, whole.rise.duration_us)
    assert rises[0] is not None
    assert rises[1] is not None
    assert abs(rises[0].value - rises[1].value) < rises[0].expanded() + rises[1].expanded()


@pytest.mark.parametrize("turns", [99.93, 38.4615, 76.9, 13.37])
def test_the_gap_map_is_that_of_the_places(turns: float) -> None:
    """Places n * a mod 1: their gaps have at most three lengths (Sos 1957, three-gap theorem)."""
    count = 2000
    places = np.sort(np.arange(count) % turns)
    gaps = np.diff(places, append=places[0] + turns)
    assert np.unique(np.round(gaps, 6)).size <= 3
    capture = Capture.from_volts(np.zeros(count), 1.0, "places")
    bins = fill(capture, Turn(turns, 0.0), 64)
    assert widest_gap(bins.places, turns) == pytest.approx(gaps.max(), abs=3e-6 * turns)
    assert bins.count.sum() == count


def test_the_gap_around_an_edge_may_lie_across_the_end_of_the_period() -> None:
    places = np.array([1.0, 2.0, 6.0, 9.5])
    assert widest_gap(places, 10.0) == 4.0
    assert widest_gap(places, 10.0, (-0.2, 0.2)) == pytest.approx(1.5)
    assert widest_gap(places, 10.0, (9.8, 10.1)) == pytest.approx(1.5)
    assert widest_gap(places, 10.0, (1.2, 1.8)) == 1.0


def test_locked_sampling_resolves_no_edge_and_says_how_far_the_samples_lie_apart() -> None:
    """1000 Hz at 100 kS/s: the same 100 places in every period, 10 us apart."""
    capture, _ = synthesise(pilot("B", frequency_hz=1000.0), fine())
    view = folded(capture)
    assert view.gaps.overall_us == pytest.approx(10.0, abs=0.01)
    assert view.resolution_us >= 9.99
    assert view.rise.duration_us is None
    assert {note.code for note in view.notices} == {"edges-unresolved"}
    assert any("10 us apart" in note.text for note in view.notices)


def test_the_resolution_may_be_stated() -> None:
    capture = recorded(wave(), Setting(interval_s=1e-6, count=200_000))
    coarse = folded(capture, FoldOptions(resolution_us=5.0))
    assert coarse.bin_us == pytest.approx(5.0, rel=0.01)
    assert coarse.phase_us.size == 200
    assert coarse.resolution_us == coarse.bin_us


def test_volts_carry_the_calibration() -> None:
    converter = Converter(bits=12, u_gain_relative=4e-3, u_offset_v=0.03)
    described = replace(fine(), converter=converter)
    view = folded(synthesise(pilot("A"), described)[0])
    high = np.abs(view.mean_v - view.high_v.value) < 0.1
    # Gain 0.4 % of 12 V and 30 mV: 57 mV.
    shared = np.sqrt(view.u_v**2 - view.u_noise_v**2)[high]
    assert shared == pytest.approx(np.hypot(0.048, 0.030), rel=0.02)


@pytest.mark.parametrize(
    ("signal", "setting", "says"),
    [
        (replace(wave(), period_jitter_us=3.0), Setting(interval_s=1e-6), "jitter"),
        (
            replace(wave(), drift_ppm_per_s=2000.0),
            Setting(interval_s=1e-6, count=200_000),
            "changes inside the record",
        ),
    ],
)
def test_what_smears_the_edges_is_refused_with_its_figure(
    signal: PilotWave, setting: Setting, says: str
) -> None:
    with pytest.raises(FoldError, match=rf"lie [0-9.]+ us .*{says}: [0-9.]+ us.*resolution of"):
        folded(recorded(signal, setting))


def test_a_step_of_the_duty_is_not_folded_over() -> None:
    capture, _ = stepped(Before(width_us=4.0), Setting(interval_s=1e-6, count=200_000))
    with pytest.raises(FoldError, match="falling edges lie"):
        folded(capture)


def test_jitter_below_a_quarter_of_the_edge_is_stated_and_widens_the_uncertainty() -> None:
    still = folded(recorded(wave(), Setting(interval_s=1e-6, count=100_000)))
    moved = folded(
        recorded(replace(wave(), period_jitter_us=0.4), Setting(interval_s=1e-6, count=100_000))
    )
    assert still.rise.smear_us < 0.01
    assert moved.rise.smear_us == pytest.approx(0.4 / np.sqrt(2.0), rel=0.35)
    assert moved.resolution_us >= moved.rise.smear_us
    truth = wave().truth().rise_time_us
    quantity = moved.rise.duration_us
    assert quantity is not None
    assert truth is not None
    # Longer than it is, by no more than both ends together may be moved.
    assert truth < quantity.value < truth + 2.563 * moved.rise.smear_us
    assert abs(quantity.value - truth) <= quantity.expanded()


def test_a_resolution_finer_than_the_period_is_known_is_refused() -> None:
    capture = recorded(wave(), Setting(interval_s=1e-6))
    with pytest.raises(FoldError, match="more than the resolution of 5e-05 us"):
        folded(capture, FoldOptions(resolution_us=5e-5))


def test_a_steady_level_has_nothing_to_fold() -> None:
    capture, _ = synthesise(PilotWave.steady(9.0), Sampling(1e-5, 5000, noise_v=0.02))
    with pytest.raises(FoldError, match="nothing to fold"):
        folded(capture)


def test_the_measurement_must_be_of_the_capture() -> None:
    one, other = (recorded(wave(frequency_hz=f), Setting()) for f in (1000.7, 1004.0))
    with pytest.raises(FoldError, match="not of this capture"):
        fold(one, measure(other))


@pytest.mark.parametrize("options", [{"resolution_us": 0.0}, {"band": 0.0}, {"band": 0.7}])
def test_options_that_make_no_sense_are_refused(options: dict[str, float]) -> None:
    with pytest.raises(FoldError):
        FoldOptions(**options)
