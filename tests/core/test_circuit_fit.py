"""The source from several settings: truth, coverage, goodness of fit, correlation."""

import json
import math
from dataclasses import replace

import numpy as np
import pytest
from circuit_bench import LINE, SETTINGS, U_PARTS, CircuitBench, Parts
from scipy.optimize import brentq
from scipy.stats import binom, kstest

from pilotsignal.budget import combine, derive, half_width, type_b
from pilotsignal.calibration import VoltCalibration
from pilotsignal.circuit import FAST_SILICON, Load, PilotCircuit, Source
from pilotsignal.circuit_fit import SIGNIFICANCE, Seen, SourceFit, fit_source
from pilotsignal.errors import CircuitError, QuantityError
from pilotsignal.known_standin import KnownDiode, KnownStandIn
from pilotsignal.measure import measure
from pilotsignal.quantity import Quantity
from pilotsignal.synth import Sampling, synthesise

BENCH = CircuitBench()
TRUE = Source(1004.0, 12.05, -11.95)
QUICK = ("open", "B", "C")
TRUTHS = {"source_resistance_ohm": 1004.0, "open_high_v": 12.05, "open_low_v": -11.95}
# A careful laboratory: what a doubtful model needs, to be told from a doubtful bench.
FINE = CircuitBench(
    VoltCalibration(
        "CAL-1", 0.002, -15.0, u_gain_relative=2e-4, u_offset_v=1e-3, u_linearity_v=1e-3
    ),
    {name: 0.2 * u for name, u in U_PARTS.items()},
    u_noise_v=2e-4,
)


@pytest.mark.parametrize("settings", [QUICK[:2], QUICK, (*QUICK, "D"), SETTINGS])
@pytest.mark.parametrize("ohm", [300.0, 1004.0, 4000.0])
def test_exact_levels_give_the_exact_source(settings: tuple[str, ...], ohm: float) -> None:
    fit = fit_source(BENCH.exact(Source(ohm, 12.05, -11.95), settings), BENCH.standin)
    assert fit.source_ohm.value == pytest.approx(ohm, rel=1e-6)
    assert fit.quantities["open_high_v"].value == pytest.approx(12.05, abs=1e-6)
    assert fit.quantities["open_low_v"].value == pytest.approx(-11.95, abs=1e-6)
    assert fit.quantities["diode_drop_v"].value == pytest.approx(Parts().drop_1, abs=1e-6)
    assert fit.chi_square == pytest.approx(0.0, abs=1e-9)
    assert fit.freedom == 2 * len(settings) - 3
    assert fit.holds
    assert fit.settings == settings


def test_two_levels_agree_with_the_formula_for_two_levels() -> None:
    """``R1 = (U_A - U_B) / ((U_B - U_d) / R - (U_A - U_B) / R_in)``, figure A.1 by hand."""
    seen = [Seen(one.load, one.measured[:1]) for one in BENCH.exact(TRUE, QUICK[:2])]
    fit = fit_source(seen, BENCH.standin)
    idle, loaded = (one.measured[0] for one in seen)
    drop = Parts().diode.drop((loaded.value - 0.68) / 2740.0)
    by_hand = derive(
        "source_resistance_ohm",
        "ohm",
        "by hand",
        lambda a, b, r, i: (a - b) / ((b - drop) / r - (a - b) / i),
        (idle, loaded, BENCH.known("permanent"), BENCH.known("input_ohm")),
    )
    assert fit.probability is None
    assert "nothing is left to test it by" in fit.text
    assert fit.source_ohm.value == pytest.approx(by_hand.value, abs=0.02)
    levers = {row.id: row.sensitivity for row in by_hand.rows}
    for row in fit.source_ohm.rows:
        if row.id in levers and row.contribution > 0.5:
            assert row.sensitivity == pytest.approx(levers[row.id], rel=0.03), row.id


@pytest.mark.parametrize(
    ("drop_v", "ohm"),
    [
        (0.70, 1000.0),
        # An error of 0.15 V of the diode moves it by 18 ohm: 2740 (12 - 8.9786) / (8.9786 - 0.85).
        (0.85, 1018.5),
    ],
)
def test_a_worked_example(drop_v: float, ohm: float) -> None:
    """12 V behind 1 kohm at 2740 ohm and 0.70 V: (12 - 0.7) 2740 / 3740 + 0.7 = 8.9786 V.

    From IEC 61851-1:2017, figure A.1, by hand; the diode is made to hold its drop whatever flows.
    """
    bench = CircuitBench(u_parts={**U_PARTS, "permanent": 0.0})
    drop = combine("drop", "V", drop_v, "by hand", [type_b("drop", "diode", 0.0, "V")])
    hard = combine("hard", "V", 0.0025, "by hand", [type_b("hard", "diode", 0.0, "V")])
    standin = KnownStandIn(KnownDiode(drop, 0.003, emission=hard))
    levels = {"open": 12.0, "B": 8.9786}
    fit = fit_source([bench.seen(name, volts) for name, volts in levels.items()], standin)
    assert fit.source_ohm.value == pytest.approx(ohm, abs=0.1)


def test_the_input_of_the_bench_is_allowed_for() -> None:
    """Solved backwards: 12 V, 1000 ohm, 2740 ohm behind 0.7 V, 1 Mohm of sense."""
    idle = 12.0 * 1e6 / (1e6 + 1e3)
    loaded = (12.0 / 1e3 + 0.7 / 2740) / (1 / 1e3 + 1 / 2740 + 1e-6)
    drop = combine("drop", "V", 0.7, "by hand", [type_b("drop", "diode", 0.0, "V")])
    hard = combine("hard", "V", 0.0025, "by hand", [type_b("hard", "diode", 0.0, "V")])
    diode = KnownDiode(drop, 0.003, emission=hard)
    seen = [BENCH.seen("open", idle), BENCH.seen("B", loaded)]
    allowed = fit_source(seen, KnownStandIn(diode, BENCH.known("input_ohm")))
    assert allowed.source_ohm.value == pytest.approx(1000.0, abs=0.02)
    left_out = fit_source(seen, KnownStandIn(diode))
    assert abs(left_out.source_ohm.value - 1000.0) > 0.5


def coverage(settings: tuple[str, ...], seeds: int) -> tuple[dict[str, int], list[float]]:
    hits = dict.fromkeys(TRUTHS, 0)
    chances = []
    for seed in range(seeds):
        fit = fit_source(BENCH.drawn(TRUE, settings, np.random.default_rng(seed)), BENCH.standin)
        for name, truth in TRUTHS.items():
            quantity = fit.quantities[name]
            hits[name] += abs(quantity.value - truth) <= quantity.expanded()
        assert fit.probability is not None
        chances.append(fit.probability)
    return hits, chances


@pytest.mark.parametrize("settings", [QUICK, SETTINGS])
def test_intervals_cover_the_truth_as_often_as_they_say(settings: tuple[str, ...]) -> None:
    """All hidden errors drawn anew: 95 % of the intervals hold the truth, binomial at 1e-4."""
    seeds = 400
    hits, chances = coverage(settings, seeds)
    low, high = binom.ppf([1e-4, 1.0 - 1e-4], seeds, 0.95)
    for name, count in hits.items():
        assert low <= count <= high, name
    # Where the model holds, its probability is uniform (Kolmogorov-Smirnov).
    assert kstest(chances, "uniform").pvalue > 1e-4
    assert sum(chance < SIGNIFICANCE for chance in chances) <= 4


@pytest.mark.slow
@pytest.mark.parametrize("settings", [QUICK[:2], QUICK, SETTINGS])
def test_coverage_over_many_seeds(settings: tuple[str, ...]) -> None:
    hits, chances = coverage(settings, 5000)
    low, high = binom.ppf([1e-6, 1.0 - 1e-6], 5000, 0.95)
    assert all(low <= count <= high for count in hits.values()), hits
    assert kstest(chances, "uniform").pvalue > 1e-6


# Where the model does not hold -----------------------------------------------------------------


def plateaus(bench: CircuitBench, volts: dict[str, tuple[float, float]]) -> SourceFit:
    return fit_source([bench.seen(name, *pair) for name, pair in volts.items()], bench.standin)


def bent_source(setting: str, bend_ohm_per_a: float) -> tuple[float, float]:
    """Plateaus of a source whose resistance grows with its current."""

    def high(load: Load) -> float:
        def balance(pilot: float) -> float:
            current = pilot * load.free_siemens
            if math.isfinite(load.behind_ohm):
                current += Parts().diode.current(pilot, load.behind_ohm)
            return 12.0 - current * (1000.0 + bend_ohm_per_a * current) - pilot

        return float(brentq(balance, 0.0, 12.0))

    circuit = PilotCircuit(Source(), Parts().load(setting), Parts().diode)
    return high(Parts().load(setting)), circuit.low_v


@pytest.mark.parametrize("settings", [QUICK, (*QUICK, "D")])
def test_a_source_that_is_not_linear(settings: tuple[str, ...]) -> None:
    """The resistance rises by 20 ohm a milliampere: 60 ohm more on B, 120 ohm more on C."""
    straight = plateaus(FINE, {name: bent_source(name, 0.0) for name in settings})
    assert straight.holds
    assert straight.source_ohm.value == pytest.approx(1000.0, abs=0.01)
    bent = plateaus(FINE, {name: bent_source(name, 2e4) for name in settings})
    assert not bent.holds
    assert bent.probability is not None
    assert bent.probability < 1e-6
    assert "do not fit one source resistor" in bent.text
    assert "not linear" in bent.text


def test_a_bent_source_that_a_simple_bench_cannot_tell() -> None:
    """2 ohm a milliampere are 6 ohm more on B and 12 on C: inside what this bench leaves open."""
    fit = plateaus(BENCH, {name: bent_source(name, 2e3) for name in QUICK})
    assert fit.holds
    assert fit.source_ohm.u > 2.0


def test_current_that_leaks_past_the_diode() -> None:
    """100 kohm across the diode pull the low plateau up by 0.1 V on B and not on open."""
    volts = {}
    for name in QUICK:
        load = Parts().load(name)
        circuit = PilotCircuit(TRUE, load, Parts().diode)
        low = circuit.low_v
        if math.isfinite(load.behind_ohm):
            low = -11.95 / (1.0 + 1004.0 * (1e-6 + 1.0 / (1e5 + load.behind_ohm)))
        volts[name] = (circuit.high_v, low)
    fit = plateaus(BENCH, volts)
    assert not fit.holds
    worst = fit.contradictions[0]
    assert worst.name == "low_plateau_v"
    assert abs(worst.pull) > 5.0


def test_a_bad_contact_of_the_ladder_is_not_the_chargers_fault() -> None:
    """15 ohm in series with the 270 ohm of rung D."""
    worn = Parts(switched_d=285.0)
    seen = BENCH.exact(TRUE, (*QUICK, "D"))
    circuit = PilotCircuit(TRUE, worn.load("D"), worn.diode)
    seen[-1] = BENCH.seen("D", circuit.high_v, circuit.low_v)
    fit = fit_source(seen, BENCH.standin)
    assert not fit.holds
    assert fit.contradictions[0].setting == "D"
    assert "on D" in fit.text


def test_a_second_resistor_inside_the_charger_is_another_source() -> None:
    """10 kohm to PE behind 1000 ohm are a source of 909.1 ohm and 10/11 of the rails: it fits.

    Thevenin's theorem: no level and no edge at the contact can tell the two apart.
    """
    volts = {}
    for name in SETTINGS:
        load = Parts().load(name)
        siemens = load.free_siemens + 1e-4
        leaky = Load(load.ladder_ohm, load.diode_in, input_ohm=1.0 / siemens)
        if not load.diode_in:
            leaky = Load(input_ohm=1.0 / siemens)
        circuit = PilotCircuit(Source(), leaky, Parts().diode)
        volts[name] = (circuit.high_v, circuit.low_v)
    fit = plateaus(FINE, volts)
    assert fit.holds
    assert fit.source_ohm.value == pytest.approx(1e7 / 1.1e4, abs=0.01)
    assert fit.quantities["open_high_v"].value == pytest.approx(12.0 / 1.1, abs=1e-4)


# Correlation ----------------------------------------------------------------------------------


def test_results_stay_correlated_when_read_back() -> None:
    """What the gain does to rail and level cancels in their difference, before and after JSON."""
    seen = BENCH.exact(TRUE, QUICK)
    fit = fit_source(seen, BENCH.standin)
    rail, idle = fit.quantities["open_high_v"], seen[0].measured[0]
    apart = derive("drop_v", "V", "test", lambda a, b: a - b, (rail, idle))
    assert apart.u < 0.2 * rail.u, "gain and offset are shared"

    def stored(one: Quantity) -> Quantity:
        return Quantity.from_dict(json.loads(json.dumps(one.as_dict())))

    again = derive("drop_v", "V", "test", lambda a, b: a - b, (stored(rail), stored(idle)))
    assert again.u == pytest.approx(apart.u, rel=1e-9)
    back = [Seen(one.load, tuple(stored(q) for q in one.measured)) for one in seen]
    assert fit_source(back, BENCH.standin).source_ohm == fit.source_ohm


def test_a_common_gain_hardly_moves_the_source_resistance() -> None:
    """1 % of gain scales all levels: 0.9 ohm by way of the diode's 0.7 V, not 10 ohm."""
    wide = CircuitBench(
        VoltCalibration("CAL-1", 0.0293, -15.0, u_gain_relative=0.01, u_offset_v=1e-6),
        dict.fromkeys(U_PARTS, 1e-6),
        u_noise_v=1e-6,
        u_steadiness_v=0.0,
    )
    fit = fit_source(wide.exact(TRUE, QUICK[:2]), wide.standin)
    gain = next(row for row in fit.source_ohm.rows if row.id == "gain@CAL-1")
    assert gain.contribution == pytest.approx(0.01 * 0.7 * 121.0, rel=0.1)
    assert fit.source_ohm.u == pytest.approx(gain.contribution, rel=0.02)


# Edges ----------------------------------------------------------------------------------------


def with_edges(
    source: Source, settings: tuple[str, ...], relative: float = 0.01, width_us: float | None = None
) -> list[Seen]:
    found = []
    for seen in BENCH.exact(source, settings):
        setting = seen.load.setting
        circuit = PilotCircuit(source, Parts().load(setting), Parts().diode)
        times = {
            "rise_time_us": circuit.rise().transition_us(),
            "fall_time_us": circuit.fall().transition_us(),
        }
        if width_us is not None:
            times["pulse_width_zero_us"] = width_us + circuit.width_shift_us(0.0)
        extra = []
        for name, value in times.items():
            u = 0.005 if name.startswith("pulse") else relative * value
            row = type_b(f"noise-{name}@{setting}", "edge", u, "us")
            extra.append(combine(name, "us", value, "test", [row]))
        found.append(Seen(seen.load, (*seen.measured, *extra)))
    return found


@pytest.mark.parametrize("capacitance_pf", [300.0, 1600.0, 3100.0])
def test_capacitance_from_the_edges(capacitance_pf: float) -> None:
    source = Source(1004.0, 12.05, -11.95, 1.2, capacitance_pf * 1e-12)
    fit = fit_source(with_edges(source, QUICK), BENCH.standin)
    found = fit.quantities["capacitance_pf"]
    rise = fit.quantities["generator_rise_us"]
    # What is said of the generator beforehand (1 us) pulls a little.
    assert abs(found.value - capacitance_pf) < 0.3 * found.u
    assert abs(rise.value - 1.2) < 0.3 * rise.u
    assert fit.source_ohm.value == pytest.approx(1004.0, abs=0.1)
    assert fit.holds
    ids = {row.id for row in found.rows}
    assert "permanent@CAL-1" in ids, "time constants hold the resistors"
    assert any(row_id.startswith("noise-fall_time_us") for row_id in ids)
    # Edges of 1 % tell a large capacitance to about 1 %; a small one hides behind the generator.
    assert found.u < 0.02 * capacitance_pf if capacitance_pf > 1000 else found.u < 60.0


def test_widths_sharpen_the_capacitance() -> None:
    """The width at 0 V shrinks from open to C by some R C: it tells C without the edges' shape."""
    source = Source(1004.0, 12.05, -11.95, 1.2, 1.6e-9)
    without = fit_source(with_edges(source, QUICK), BENCH.standin)
    fit = fit_source(with_edges(source, QUICK, width_us=266.7), BENCH.standin)
    assert fit.quantities["generator_width_us"].value == pytest.approx(266.7, abs=1e-3)
    found = fit.quantities["capacitance_pf"]
    assert abs(found.value - 1600.0) < 0.3 * found.u
    assert found.u < without.quantities["capacitance_pf"].u


def test_from_samples_to_the_capacitance() -> None:
    """The whole way: circuit, samples with noise, `measure`, fit."""
    source = Source(1004.0, 12.05, -11.95, 1.2, 1.6e-9)
    wanted = ("high_plateau_v", "low_plateau_v", "rise_time_us", "fall_time_us")
    seen = []
    for number, setting in enumerate(QUICK):
        circuit = PilotCircuit(source, Parts().load(setting), Parts().diode)
        sampling = Sampling(1e-6, 100_000, noise_v=0.02, seed=number + 1)
        capture, _ = synthesise(circuit.wave(1000.3, 266.7), sampling)
        line = replace(LINE, gain_v=1.0, offset_v=0.0)
        found = measure(replace(capture, calibration=line)).quantities()
        measured = tuple(one for name in wanted if (one := found[name]) is not None)
        assert len(measured) == len(wanted), setting
        seen.append(Seen(BENCH.known_load(setting), measured))
    fit = fit_source(seen, BENCH.standin)
    assert fit.holds, fit.text
    truths = {"capacitance_pf": 1600.0, "source_resistance_ohm": 1004.0, "open_high_v": 12.05}
    for name, truth in truths.items():
        quantity = fit.quantities[name]
        assert abs(quantity.value - truth) <= quantity.expanded(), name
    assert fit.quantities["capacitance_pf"].u < 80.0


def test_edges_that_no_single_capacitance_makes() -> None:
    """A fall twice as slow on C as on open: no capacitance of the charger does that."""
    source = Source(1004.0, 12.05, -11.95, 1.2, 1.6e-9)
    seen = with_edges(source, QUICK)
    last = list(seen[-1].measured)
    fall = last[-1]
    last[-1] = combine(fall.name, "us", 2.0 * fall.value, "test", list(fall.rows))
    fit = fit_source([*seen[:-1], Seen(seen[-1].load, tuple(last))], BENCH.standin)
    assert not fit.holds
    assert (fit.contradictions[0].setting, fit.contradictions[0].name) == ("C", "fall_time_us")


# Diode ----------------------------------------------------------------------------------------


def test_a_diode_that_is_hardly_known_is_found_out() -> None:
    """Drop of 0.55 to 0.85 V (Table A.3): three loads narrow it down, and the source with it."""
    rows = [half_width("drop", "diode", 0.15, "V")]
    drop = combine("drop", "V", 0.75, "IEC 61851-1:2017 Table A.3", rows)
    standin = KnownStandIn(KnownDiode(drop, 0.005), BENCH.known("input_ohm"))
    fit = fit_source(FINE.exact(TRUE, (*QUICK, "D")), standin)
    found = fit.quantities["diode_drop_v"]
    assert found.u < 0.25 * drop.u
    assert abs(found.value - FAST_SILICON.drop(0.005)) < found.expanded()
    assert abs(fit.source_ohm.value - 1004.0) < fit.source_ohm.expanded()


def test_exact_parts_are_constants() -> None:
    bench = CircuitBench(u_parts=dict.fromkeys(U_PARTS, 0.0))
    fit = fit_source(bench.exact(TRUE, QUICK), bench.standin)
    assert fit.source_ohm.value == pytest.approx(1004.0, rel=1e-6)
    assert not any(row.id.startswith("permanent") for row in fit.source_ohm.rows)


# Refusals -------------------------------------------------------------------------------------


def test_what_does_not_determine_a_source_is_refused() -> None:
    seen = BENCH.exact(TRUE, QUICK)
    with pytest.raises(CircuitError, match="measure at"):
        fit_source(seen[:1], BENCH.standin)
    with pytest.raises(CircuitError, match="Nothing was measured"):
        fit_source([], BENCH.standin)
    with pytest.raises(CircuitError, match="diode's drop is not known"):
        fit_source(seen, KnownStandIn())
    strange = combine("frequency_hz", "Hz", 1000.0, "t", [type_b("x", "x", 1.0, "Hz")])
    with pytest.raises(CircuitError, match="does not tell frequency_hz"):
        fit_source([Seen(seen[0].load, (strange,))], BENCH.standin)
    bare = Quantity("high_plateau_v", 12.0, "V", 0.01, math.inf, "t")
    with pytest.raises(QuantityError, match="no budget"):
        fit_source([Seen(seen[0].load, (bare,)), *seen[1:]], CircuitBench(LINE).standin)


def test_levels_that_no_circuit_shows_are_refused_or_do_not_fit() -> None:
    """B above open: the ladder would have to feed the charger."""
    seen = [BENCH.seen("open", 9.0), BENCH.seen("B", 12.0)]
    with pytest.raises(CircuitError, match="look at the connections"):
        fit_source(seen, BENCH.standin)
