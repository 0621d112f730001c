"""Which inputs each quantity has, and that each acts on its uncertainty as it should."""

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from pilot_waves import fine, pilot

from pilotsignal.budget import combine, coverage_factor, derive, type_b
from pilotsignal.calibration import TimeBase, VoltCalibration, WidthBias
from pilotsignal.capture import Capture, EdgeRecord
from pilotsignal.measure import measure
from pilotsignal.quantity import Quantity
from pilotsignal.synth import synthesise

LINE = VoltCalibration(
    "CAL-7",
    1.0,
    0.0,
    u_gain_relative=4e-4,
    u_offset_v=3e-3,
    u_linearity_v=2e-3,
    dof=7.0,
    u_meter_relative=5e-4,
    u_meter_v=1.5e-3,
    made_at_c=23.0,
    drift_relative_per_k=2e-5,
    u_drift_v_per_k=1e-4,
    span_k=10.0,
    u_nonlinearity_lsb=0.3,
)
CLOCK = TimeBase("CLOCK-3", "calibrated", 8e-6)
BIAS = WidthBias("BIAS-5", 0.1, 0.04)
PARTS = {
    "permanent": (2740.0, 1.4, "ohm"),
    "diode": (0.67, 0.008, "V"),
    "input": (6e4, 900.0, "ohm"),
}
OF_LEVELS = {"gain", "offset", "meter", "meter-zero", "temperature-gain", "temperature-zero"}
AT_LEVELS = {"linearity", "converter"}
PLATEAUS = ("high_plateau_v", "low_plateau_v")


def recorded(state: str, line: VoltCalibration, clock: TimeBase) -> Capture:
    """The same counts each time, whatever is stated about them."""
    capture, _ = synthesise(pilot(state), fine(seed=ord(state), noise_v=0.03))
    whole = capture.calibration
    same = replace(line, gain_v=whole.gain_v, offset_v=whole.offset_v)
    return Capture(capture.samples, capture.interval_s, capture.origin, same, time_base=clock)


def edge_record(clock: TimeBase, bias: WidthBias) -> EdgeRecord:
    """Comparator edges of 200 periods of 16,010.7 ticks, a quarter high, 2 ticks of jitter."""
    draw = np.random.default_rng(5)
    starts = np.arange(200) * 16_010.7
    pairs = np.column_stack((starts, starts + 4_000.3)) + draw.normal(0.0, 2.0, (200, 2))
    times = np.round(pairs.reshape(-1) + 1000.0).astype(np.int64)
    rising = np.tile(np.array([True, False]), 200)
    return EdgeRecord(times, rising, 62.5e-9, "edges", clock, bias)


def source_ohm(line: VoltCalibration, clock: TimeBase, parts: dict[str, Any]) -> Quantity:
    """Source resistance from two levels and three parts, from the circuit of the pilot."""
    levels = [measure(recorded(state, line, clock)).high_plateau_v for state in "AB"]
    known = [
        combine(name, unit, value, "stated", [type_b(f"{name}@PART", name, u, unit)])
        for name, (value, u, unit) in parts.items()
    ]
    return derive(
        "source_ohm",
        "ohm",
        "two levels",
        lambda a, b, r, d, i: (a - b) / ((b - d) / r - (a - b) / i),
        [*(level for level in levels if level is not None), *known],
    )


def all_of(
    line: VoltCalibration = LINE,
    clock: TimeBase = CLOCK,
    bias: WidthBias = BIAS,
    parts: dict[str, Any] = PARTS,
) -> dict[str, Quantity]:
    """Everything that a capture in B gives, what edges give, and the source resistance."""
    capture = recorded("B", line, clock)
    found = dict(measure(capture).quantities())
    edges = measure(capture, edge_record(clock, bias)).quantities()
    found |= {f"edges {name}": edges[name] for name in EDGE_NAMES}
    found["source_ohm"] = source_ohm(line, clock, parts)
    return {name: quantity for name, quantity in found.items() if quantity is not None}


EDGE_NAMES = ("frequency_hz", "duty_percent", "pulse_width_zero_us", "width_jitter_us")


@pytest.fixture(scope="module")
def usual() -> dict[str, Quantity]:
    return all_of()


def kinds(quantity: Quantity) -> set[str]:
    """Row ids without their owners, and without the voltage or the edge that they are for."""
    return {name_of(row.id) for row in quantity.rows}


def name_of(row_id: str) -> str:
    name = row_id.split("@")[0]
    head, _, tail = name.rpartition("-")
    return head.rstrip("-") if head and tail.endswith("V") else name


def test_everything_is_there(usual: dict[str, Quantity]) -> None:
    assert len(usual) == 16


def test_a_plateau_has_noise_step_and_all_of_its_calibration(usual: dict[str, Quantity]) -> None:
    for name in PLATEAUS:
        wanted = {f"noise-{name}", f"step-{name}"} | OF_LEVELS | AT_LEVELS
        assert kinds(usual[name]) >= wanted
        assert not any("timebase" in kind for kind in kinds(usual[name]))


def test_times_have_noise_and_clock(usual: dict[str, Quantity]) -> None:
    for name in ("frequency_hz", "pulse_width_zero_us", "pulse_width_mid_us"):
        found = kinds(usual[name])
        assert "timebase" in found
        assert any(kind.startswith("noise") for kind in found)


def test_times_have_the_folded_gap_where_the_sampling_is_locked() -> None:
    capture, _ = synthesise(pilot("B", frequency_hz=1000.0), fine())
    found = measure(capture).quantities()
    for name in ("frequency_hz", "duty_percent", "pulse_width_zero_us", "pulse_width_mid_us"):
        quantity = found[name]
        assert quantity is not None
        gaps = [row for row in quantity.rows if row.id.startswith("gap")]
        assert gaps
        assert {row.distribution for row in gaps} == {"rectangular"}
        assert max(row.contribution for row in gaps) > 0.5 * quantity.u


def test_a_duty_and_the_current_it_stands_for_need_no_clock(usual: dict[str, Quantity]) -> None:
    for name in ("duty_percent", "advertised_current_a", "edges duty_percent"):
        assert not any("timebase" in kind for kind in kinds(usual[name]))
    assert kinds(usual["advertised_current_a"]) == kinds(usual["duty_percent"])


def test_edge_times_have_noise(usual: dict[str, Quantity]) -> None:
    for name in ("rise_time_us", "fall_time_us"):
        assert any(kind.startswith("noise") for kind in kinds(usual[name]))


def test_comparator_edges_have_jitter_tick_bias_and_clock(usual: dict[str, Quantity]) -> None:
    found = kinds(usual["edges pulse_width_zero_us"])
    assert found >= {"scatter-rise", "scatter-fall", "tick-rise", "tick-fall", "width-bias"}
    assert "timebase" in found
    assert kinds(usual["edges frequency_hz"]) >= {"scatter-period", "tick-period", "timebase"}
    assert kinds(usual["edges duty_percent"]) >= found - {"timebase"}


def test_the_source_has_both_levels_the_ladder_the_diode_and_the_input(
    usual: dict[str, Quantity],
) -> None:
    wanted = {"permanent", "diode", "input", "noise-high_plateau_v", "step-high_plateau_v"}
    assert kinds(usual["source_ohm"]) >= wanted | OF_LEVELS | AT_LEVELS
    levels = {row.id for row in usual["source_ohm"].rows if row.id.startswith("linearity")}
    assert levels == {"linearity-12V@CAL-7", "linearity-9V@CAL-7"}


def of_line(**changed: Any) -> Callable[[], dict[str, Quantity]]:
    return lambda: all_of(line=replace(LINE, **changed))


def of_part(name: str) -> Callable[[], dict[str, Quantity]]:
    value, u, unit = PARTS[name]
    return lambda: all_of(parts={**PARTS, name: (value, 3.0 * u, unit)})


# Row, what makes its uncertainty three times as large, and the quantities that it must move.
TRIPLED: list[tuple[str, Callable[[], dict[str, Quantity]], tuple[str, ...]]] = [
    ("gain", of_line(u_gain_relative=12e-4), (*PLATEAUS, "source_ohm")),
    ("offset", of_line(u_offset_v=9e-3), (*PLATEAUS, "source_ohm")),
    ("meter", of_line(u_meter_relative=15e-4), (*PLATEAUS, "source_ohm")),
    ("meter-zero", of_line(u_meter_v=4.5e-3), (*PLATEAUS, "source_ohm")),
    ("linearity", of_line(u_linearity_v=6e-3), (*PLATEAUS, "source_ohm")),
    ("temperature-gain", of_line(drift_relative_per_k=6e-5), (*PLATEAUS, "source_ohm")),
    ("temperature-zero", of_line(u_drift_v_per_k=3e-4), (*PLATEAUS, "source_ohm")),
    ("converter", of_line(u_nonlinearity_lsb=0.9), (*PLATEAUS, "source_ohm")),
    (
        "timebase",
        lambda: all_of(clock=replace(CLOCK, u_relative=24e-6)),
        ("frequency_hz", "pulse_width_zero_us", "pulse_width_mid_us", "edges frequency_hz"),
    ),
    (
        "width-bias",
        lambda: all_of(bias=replace(BIAS, u_us=0.12)),
        ("edges pulse_width_zero_us", "edges duty_percent"),
    ),
    ("permanent", of_part("permanent"), ("source_ohm",)),
    ("diode", of_part("diode"), ("source_ohm",)),
    ("input", of_part("input"), ("source_ohm",)),
]


@pytest.mark.parametrize(("name", "change", "moved"), TRIPLED, ids=[row[0] for row in TRIPLED])
def test_each_stated_input_acts_by_exactly_its_contribution(
    usual: dict[str, Quantity],
    name: str,
    change: Callable[[], dict[str, Quantity]],
    moved: tuple[str, ...],
) -> None:
    """JCGM 100:2008, 5.1.2 and G.4.1: u^2 grows by 3^2 - 1 of the row's own, and U with it."""
    after = change()
    for quantity_name, before in usual.items():
        own = [row for row in before.rows if name_of(row.id) == name]
        now = after[quantity_name]
        assert now.value == before.value
        grown = sum(row.contribution**2 for row in own) * (3.0**2 - 1.0)
        u = math.sqrt(before.u**2 + grown)
        assert now.u == pytest.approx(u, rel=1e-9), quantity_name
        spent = sum(
            (row.contribution * (3.0 if name_of(row.id) == name else 1.0)) ** 4 / row.dof
            for row in before.rows
        )
        dof = max(1.0, u**4 / spent) if spent > 0 else math.inf
        assert now.expanded() == pytest.approx(coverage_factor(dof) * u, rel=1e-9), quantity_name
        if quantity_name in moved:
            assert now.u > before.u * (1.0 + 1e-9), quantity_name


@pytest.mark.parametrize("quantity_name", ["high_plateau_v", "frequency_hz", "pulse_width_zero_us"])
def test_each_row_of_a_budget_acts_by_exactly_its_contribution(
    usual: dict[str, Quantity], quantity_name: str
) -> None:
    """Noise, step and gap as well, which come from the samples and cannot be stated."""
    before = usual[quantity_name]
    for changed in before.rows:
        rows = [replace(row, u=3.0 * row.u) if row.id == changed.id else row for row in before.rows]
        now = combine(before.name, before.unit, before.value, before.method, rows)
        u = math.sqrt(before.u**2 + 8.0 * changed.contribution**2)
        assert now.u == pytest.approx(u, rel=1e-9), changed.id


def test_the_offset_cancels_in_the_source_as_far_as_the_diode_lets_it(
    usual: dict[str, Quantity],
) -> None:
    """Numerical derivative: both levels and nothing else 1 mV higher."""
    rows = {row.id: row for row in usual["source_ohm"].rows}

    def ohm(shift: float) -> float:
        a, b = 12.0 + shift, 8.979 + shift
        return (a - b) / ((b - 0.67) / 2740.0 - (a - b) / 6e4)

    slope = (ohm(1e-3) - ohm(-1e-3)) / 2e-3
    assert rows["offset@CAL-7"].sensitivity == pytest.approx(slope, rel=0.02)
    alone = [r for r in usual["source_ohm"].rows if r.id.startswith("linearity-12V")]
    assert abs(rows["offset@CAL-7"].sensitivity) < 0.5 * abs(alone[0].sensitivity)
