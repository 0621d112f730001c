"""The smallest changes that are found: nine of ten at least at the sizes below.

The sizes were measured with these recordings and are what the documentation may state; a test fails
where a change of the core makes them larger.
"""

from collections.abc import Callable
from dataclasses import replace

import pytest
from changing_waves import (
    Before,
    Setting,
    comb_of,
    drifting,
    edges_of,
    recorded,
    stepped,
    stepped_edges,
    wave,
    with_burst,
)

from pilotsignal.capture import Capture
from pilotsignal.segments import changes_of, changes_of_edges, found_in
from pilotsignal.synth import Sampling, synthesise

SEEDS = 30
LEAST = 27  # of 30

SLOW = Setting(interval_s=1e-5, count=20_000)  # 100 kS/s, 0.2 s
BENCH = Setting(interval_s=13e-6, count=77_000)  # 77 kS/s, 1 s
FAST = Setting(interval_s=1e-6, count=200_000)  # 1 MS/s, 0.2 s


def codes(capture: Capture) -> set[str]:
    found = found_in(capture)
    assert found is not None
    return {change.code for change in changes_of(capture, found)}


def edge_codes(width_us: float, seed: int) -> set[str]:
    record, _ = stepped_edges(width_us, 1.0, seed)
    return {change.code for change in changes_of_edges(record, comb_of(record), "edges")}


def drift_of_edges(ppm_per_s: float, seed: int) -> set[str]:
    record = edges_of(replace(wave(), drift_ppm_per_s=ppm_per_s), 1.0, seed)
    return {change.code for change in changes_of_edges(record, comb_of(record), "edges")}


def hum(setting: Setting, volts: float, seed: int) -> set[str]:
    sampling = Sampling(setting.interval_s, setting.count, noise_v=0.02, hum_v=volts, seed=seed)
    return codes(synthesise(wave(), sampling)[0])


def level(setting: Setting, volts_per_s: float, seed: int) -> set[str]:
    sampling = Sampling(
        setting.interval_s, setting.count, noise_v=0.02, level_drift_v_per_s=volts_per_s, seed=seed
    )
    return codes(synthesise(wave(), sampling)[0])


def duty(setting: Setting, us: float, seed: int) -> set[str]:
    return codes(stepped(Before(width_us=us), replace(setting, seed=seed))[0])


def frequency(setting: Setting, hertz: float, seed: int) -> set[str]:
    return codes(stepped(Before(frequency_hz=hertz), replace(setting, seed=seed))[0])


def lost(setting: Setting, us: float, seed: int) -> set[str]:
    return codes(stepped(Before(lost_us=us), replace(setting, seed=seed))[0])


def drift(setting: Setting, us: float, seed: int) -> set[str]:
    return codes(drifting(us, replace(setting, seed=seed)))


def rate(setting: Setting, ppm_per_s: float, seed: int) -> set[str]:
    signal = replace(wave(), drift_ppm_per_s=ppm_per_s)
    return codes(recorded(signal, replace(setting, seed=seed)))


def burst(setting: Setting, volts: float, seed: int) -> set[str]:
    return codes(with_burst(volts, (0.08, 0.09), replace(setting, seed=seed)))


Trial = Callable[[int], set[str]]

FOUND: dict[str, tuple[str, Trial]] = {
    "100 kS/s 0.2 s: step 4 us": ("duty-step", lambda n: duty(SLOW, 4.0, n)),
    "77 kS/s 1 s: step 1.5 us": ("duty-step", lambda n: duty(BENCH, 1.5, n)),
    "1 MS/s 0.2 s: step 0.2 us": ("duty-step", lambda n: duty(FAST, 0.2, n)),
    "edges 1 s: step 0.0625 us": ("duty-step", lambda n: edge_codes(0.0625, n)),
    "100 kS/s 0.2 s: drift 6 us": ("duty-drift", lambda n: drift(SLOW, 6.0, n)),
    "1 MS/s 0.2 s: drift 0.3 us": ("duty-drift", lambda n: drift(FAST, 0.3, n)),
    "100 kS/s 0.2 s: 0.2 Hz": ("frequency-step", lambda n: frequency(SLOW, 0.2, n)),
    "1 MS/s 0.2 s: 0.005 Hz": ("frequency-step", lambda n: frequency(FAST, 0.005, n)),
    "1 MS/s 0.2 s: 50 ppm/s": ("frequency-drift", lambda n: rate(FAST, 50.0, n)),
    "edges 1 s: 0.2 ppm/s": ("frequency-drift", lambda n: drift_of_edges(0.2, n)),
    "100 kS/s 0.2 s: 8 us lost": ("missing-samples", lambda n: lost(SLOW, 8.0, n)),
    "1 MS/s 0.2 s: 0.5 us lost": ("missing-samples", lambda n: lost(FAST, 0.5, n)),
    "100 kS/s 0.2 s: hum 3 mV": ("hum", lambda n: hum(SLOW, 0.003, n)),
    "100 kS/s 0.2 s: level 10 mV": ("level-drift", lambda n: level(SLOW, 0.05, n)),
    "100 kS/s 0.2 s: burst 50 mV": ("noise-burst", lambda n: burst(SLOW, 0.05, n)),
}


@pytest.mark.parametrize("name", FOUND)
def test_small_changes_are_found(name: str) -> None:
    code, trial = FOUND[name]
    assert all(code in trial(seed) for seed in (1, 2))


@pytest.mark.slow
@pytest.mark.parametrize("name", FOUND)
def test_nine_of_ten_small_changes_are_found(name: str) -> None:
    code, trial = FOUND[name]
    assert sum(code in trial(seed) for seed in range(100, 100 + SEEDS)) >= LEAST
