"""The front end and the mains sense in ngspice, against hand calculations and the aims."""

import math
from typing import Any

import numpy as np
import pytest
from hardware_scripts import needs_ngspice, script, table

design: Any = script("standin_design")
values: Any = script("front_end_values")
wave: Any = script("spice_front_end")
sense: Any = script("spice_mains")
mains: Any = script("mains_values")


def node_v(contact: float) -> float:
    """Kirchhoff, stage by stage, from the parts of the drawing."""
    buffer = contact * 274e3 / (274e3 + 2 * 365e3)
    siemens = 1 / 3010 + 1 / 3010 + 1 / 261e3
    return (buffer / 3010 + 4.096 / 3010 + 2.048 / 261e3) / siemens


@needs_ngspice
def test_direct_transfer() -> None:
    contact, pin = wave.transfer()
    assert np.abs(pin - [node_v(volts) for volts in contact]).max() < 1e-4
    assert 0.0 < pin.min() < 0.03
    assert 4.06 < pin.max() < 4.096


def test_counts_of_the_page_by_hand() -> None:
    for row in table("front_end.md", "transfer"):
        assert float(row[3]) == pytest.approx(1023 * node_v(float(row[0])) / 4.096, abs=0.06)


@needs_ngspice
def test_bandwidth_and_what_the_compensation_is_worth() -> None:
    hertz = wave.bandwidth_hz()
    assert 1 / (2 * math.pi * hertz) <= 0.1e-6
    # Without the capacitors: 199.2 kohm and 10 pF.
    bare = wave.bandwidth_hz(topf=1e-18, bottomf=1e-18)
    assert bare == pytest.approx(1 / (2 * math.pi * 199.2e3 * 10e-12), rel=0.02)
    at, gain = wave.response()
    assert np.abs(gain[(at > 20) & (at < 300e3)] - 1).max() < 0.01


@needs_ngspice
def test_the_comparator_turns_around_zero_with_hysteresis() -> None:
    up, down = wave.thresholds_v()
    assert -0.05 < down < 0.0 < up < 0.05
    assert (up, down) == pytest.approx(values.thresholds_v(), abs=0.003)
    # The simulated bench lets nothing nearer to 0 V than 30 mV turn the comparator.
    assert up - down == pytest.approx(0.060, abs=0.005)


@needs_ngspice
def test_the_delays_are_alike_and_within_the_budget() -> None:
    found = wave.width("B", 3.1e-9)
    # Ramp delays add up: buffer, pair, comparator; the fast part of the edge is curved.
    by_hand = values.constants().to_comparator + design.COMPARATOR_DELAY_S
    assert found.rise_delay_ns == pytest.approx(by_hand * 1e9, abs=12)
    assert abs(found.shift_ns) < 10


def test_the_budget_of_the_skew_is_what_the_page_says() -> None:
    worst = {
        row[0]: float(row[4]) + float(row[5]) + design.COMPARATOR_SKEW_S * 1e9
        for row in table("front_end.md", "spice-widths")
        if row[1] == "3.1"
    }
    assert worst == {"B": 34.0, "C": 34.0, "D": 43.0}
    assert max(worst.values()) <= 50.0


def test_the_input_survives_mains() -> None:
    peak_ma, volts, watt = values.mains_on_pilot()
    assert peak_ma == pytest.approx((253 * math.sqrt(2) - 5.7) / 730, rel=1e-3)
    assert volts < 250
    assert watt < 0.25 / 2


@pytest.mark.parametrize("row", table("front_end.md", "fuse"), ids=lambda row: f"{row[0]} A")
def test_the_fuse_melts_before_the_suppressor_dies(row: list[str]) -> None:
    assert float(row[2]) < float(row[3])


def test_the_dither_is_half_a_step_to_one() -> None:
    assert 0.5 <= values.dither_rms_v() / values.step_v() <= 1.0


# Mains ------------------------------------------------------------------------------------


@needs_ngspice
@pytest.mark.parametrize("volts", [207.0, 230.0, 253.0])
def test_off_is_known_within_0_8_ms(volts: float) -> None:
    assert 0.3e-3 < sense.blind_s(volts) < 0.8e-3


@needs_ngspice
@pytest.mark.parametrize(("volts", "farad"), [(230.0, 100e-9), (253.0, 120e-9)])
def test_leakage_of_a_suppression_capacitor_is_ignored(volts: float, farad: float) -> None:
    peak, pin = sense.leaking(volts, farad)
    assert peak < mains.threshold_least_v()
    assert pin > mains.PIN_HIGH_V


@needs_ngspice
def test_without_the_burden_leakage_would_be_taken_for_mains() -> None:
    deck = script("spice").Deck
    given = sense.parameters(ctr=mains.TRANSFER_MOST, series=1e9)
    drive = "Vl x 0 SIN(0 325.27 50)\nVn n 0 0\nCx x l 100n"
    pin = deck("mains_sense.cir", given, drive).run("tran 10u 60m 20m 10u", "v(out)")[1]
    assert pin.min() < mains.PIN_LOW_V


@needs_ngspice
def test_an_opening_is_seen_late_and_never_early() -> None:
    bare, snubbed = sense.opening(90.0, 0.0), sense.opening(90.0, 100e-9)
    assert 0.0 <= bare.late_s < 0.1e-3
    # By hand: the sink of 17 mA and the lamp take the 325 V off 100 nF in 1 to 2 ms.
    assert bare.late_s < snubbed.late_s < 325 * 100e-9 / 17e-3
    # What the board states around the last conduction covers the blind time only.
    assert script("mains_values").BLIND_LIMIT_S == 0.8e-3


@needs_ngspice
def test_the_build_step_sets_the_sink() -> None:
    assert sense.sink_a(60.0) == pytest.approx(18.8e-3, abs=0.2e-3)


def test_ngspice_that_is_missing_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PATH", "")
    with pytest.raises(script("spice").SpiceError, match="ngspice is not installed"):
        wave.transfer()
