"""Every notice, by name: what provokes it, and a good recording close by that does not.

The codes that the core writes down are read from its source, so that none comes without tests.
"""

import ast
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from changing_waves import (
    Before,
    Setting,
    drifting,
    recorded,
    stepped,
    two_levels,
    wave,
    with_burst,
)
from pilot_waves import fine, pilot
from test_measure_notices import PROVOKED, codes, of, raw

import pilotsignal
from pilotsignal.capture import Capture
from pilotsignal.changes import CODES as CHANGES
from pilotsignal.measure import PilotMeasurement, measure
from pilotsignal.notices import CODES
from pilotsignal.synth import Converter, PilotWave, Sampling, synthesise

FAST = Setting(interval_s=1e-6, count=200_000)


def paused(periods: int) -> PilotMeasurement:
    """The pilot holds its high level for some periods in the middle of the record."""
    samples = synthesise(pilot("B"), fine())[0].samples.copy()
    rises = np.flatnonzero((samples[1:] > 2000) & (samples[:-1] <= 2000))
    begin, end = int(rises[90]), int(rises[90 + periods])
    samples[begin + 5 : end + 1] = samples[begin + 5]
    return measure(replace(synthesise(pilot("B"), fine())[0], samples=samples))


def sagging(volts_per_s: float) -> PilotMeasurement:
    return of(wave(), replace(fine(), level_drift_v_per_s=volts_per_s))


def regular() -> PilotMeasurement:
    """Two levels that change as regularly as they should."""
    return raw(np.repeat(np.resize([9.0, -12.0], 400), np.resize([30, 70], 400)))


def ranged(bits: int, low_v: float) -> PilotMeasurement:
    converter = Converter(bits, low_v, -2.0 * low_v, u_gain_relative=5e-4, u_offset_v=5e-3)
    return of(pilot("A"), replace(fine(interval_s=2e-6), converter=converter))


# What changes inside a record; the others are in `PROVOKED`.
CHANGED: dict[str, Callable[[], PilotMeasurement]] = {
    "duty-step": lambda: measure(stepped(Before(width_us=12.0))[0]),
    "duty-drift": lambda: measure(drifting(8.0, Setting())),
    "frequency-step": lambda: measure(stepped(Before(frequency_hz=20.0))[0]),
    "frequency-drift": lambda: measure(
        recorded(replace(wave(), drift_ppm_per_s=500.0), replace(FAST, count=500_000))
    ),
    "level-step": lambda: measure(two_levels(Setting())),
    "level-drift": lambda: sagging(2.0),
    "noise-burst": lambda: measure(with_burst(0.3, (0.08, 0.12), Setting())),
    "pwm-pause": lambda: paused(10),
}

# The same without what provokes them, or with so little of it that it may be.
QUIET: dict[str, Callable[[], PilotMeasurement]] = {
    "no-pwm": lambda: of(pilot("B", duty=8.0)),
    "too-few-periods": lambda: of(pilot("B"), fine(count=420)),
    "coherent-sampling": lambda: of(pilot("A", frequency_hz=1000.7)),
    "edges-unresolved": lambda: of(pilot("B"), fine(interval_s=2e-6)),
    "clipped": lambda: ranged(12, -12.1),
    "outliers": lambda: of(replace(pilot("B"), period_jitter_us=0.3)),
    "not-periodic": regular,
    "hum": lambda: of(pilot("B"), replace(fine(), hum_v=0.0005)),
    "missing-samples": lambda: measure(stepped(Before())[0]),
    "inverted": lambda: of(PilotWave(1000.7, 300.0, 12.0, -12.0)),
    "low-contrast": lambda: of(PilotWave(1000.7, 300.0, 1.0, -1.0), fine(noise_v=0.02)),
    "coarse-voltage": lambda: ranged(12, -16.0),
    "uncalibrated": lambda: of(pilot("B")),
    "not-pilot": lambda: of(pilot("B"), fine(noise_v=0.4)),
    "two-currents": lambda: of(pilot("A", duty=84.0)),
    "duty-step": lambda: measure(stepped(Before(frequency_hz=20.0))[0]),
    "duty-drift": lambda: measure(drifting(0.0, Setting())),
    "frequency-step": lambda: measure(stepped(Before(width_us=12.0))[0]),
    "frequency-drift": lambda: measure(recorded(wave(), replace(FAST, count=500_000))),
    "level-step": lambda: measure(with_burst(0.3, (0.08, 0.12), Setting())),
    "level-drift": lambda: sagging(0.0),
    "noise-burst": lambda: measure(stepped(Before(width_us=12.0))[0]),
    "pwm-pause": lambda: paused(1),
}


def written() -> set[str]:
    """Codes with which the source makes notices and changes."""
    found = set()
    for path in Path(pilotsignal.__file__).parent.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not (isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.args):
                continue
            first = node.args[0]
            if node.func.id in ("Notice", "Change") and isinstance(first, ast.Constant):
                found.add(str(first.value))
    return found


def test_every_notice_is_provoked_and_has_a_recording_without_it() -> None:
    assert written() == set(CODES)
    assert set(PROVOKED) | set(CHANGED) == set(CODES)
    assert set(QUIET) == set(CODES)
    assert set(CHANGES) - set(CHANGED) == {"hum", "missing-samples"}  # in `PROVOKED`


@pytest.mark.parametrize("code", CHANGED)
def test_each_change_is_remarked(code: str) -> None:
    found = CHANGED[code]()
    assert code in codes(found)
    text = next(notice.text for notice in found.notices if notice.code == code)
    assert text.endswith(".")


@pytest.mark.parametrize("code", QUIET)
def test_a_recording_close_by_does_not_provoke_it(code: str) -> None:
    assert code not in codes(QUIET[code]())


def test_hum_is_no_offset_of_the_fit_from_the_means() -> None:
    """Levels that the fit places off their means by a part of a step swing at no frequency."""
    capture, _ = synthesise(
        pilot("C", duty=5.0), Sampling(1.3e-5, 38_461, Converter(8, -15.0, 30.0), 0.02)
    )
    assert isinstance(capture, Capture)
    assert "hum" not in codes(measure(capture))


def test_pulses_of_about_a_sample_hear_of_no_spikes() -> None:
    """50 us at 52 us a sample: what is left of a pulse between two samples is no spike."""
    heard: set[str] = set()
    for seed in range(40):
        rng = np.random.default_rng((33, seed))
        signal = replace(pilot("BCD"[seed % 3], 5.0, float(rng.uniform(995.0, 1005.0))))
        signal = replace(signal, phase_us=float(rng.uniform(0, 1000)), period_jitter_us=0.1)
        converter = Converter(10, -15.0, 30.0, u_gain_relative=1e-3, u_offset_v=5e-3)
        heard |= codes(of(signal, Sampling(5.2e-5, 9600, converter, 0.022, seed=seed)))
    assert "outliers" not in heard
    assert "hum" not in heard
