"""Source resistance and rails from all settings of a run; when the circuit does not hold."""

import math
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from qualify_runs import DEMO, Run, last

from pilotsignal.budget import derive
from pilotsignal.capture import EdgeRecord
from pilotsignal.circuit import Load, PilotCircuit, Source
from pilotsignal.circuit_fit import fit_source
from pilotsignal.diode import Diode
from pilotsignal.judge import Verdict
from pilotsignal.measure import PilotMeasurement, measure
from pilotsignal.quantity import Quantity
from pilotsignal.standard import load_profile
from pilotsignal.synth import Sampling, synthesise
from rungbench.archive.store import open_archive
from rungbench.link.messages import Identity
from rungbench.link.words import LadderSet, Rung, Setting
from rungbench.qualify.bench import calibration_for
from rungbench.qualify.case import Bench, Case
from rungbench.qualify.checks.source import (
    _known_standin,
    _seen,
    high_rail,
    low_rail,
    source_resistance,
)
from rungbench.qualify.evidence import Evidence
from rungbench.qualify.plan_file import load_plan
from rungbench.simulated.diode import FAST_DIODE
from rungbench.standin.calibration import BenchCalibration, uncalibrated
from rungbench.standin.record import Applied, BoardRecord, Losses

BOARD = Identity(firmware="1", board_id="b", simulated=True)
CALIBRATION = calibration_for("sim://sound")(BOARD)
BENCH = Bench(DEMO, load_profile(), CALIBRATION, BOARD, date(2026, 7, 1))
OPEN, B, C, D = (Setting(rung) for rung in (Rung.OPEN, Rung.B, Rung.C, Rung.D))
OHMS = {OPEN: math.inf, B: 2740.0, C: 1 / (1 / 2740 + 1 / 1300), D: 1 / (1 / 2740 + 1 / 270)}
NO_EDGES = EdgeRecord(
    np.empty(0, np.int64),
    np.empty(0, np.bool_),
    62.5e-9,
    "none",
    CALIBRATION.time_base,
    CALIBRATION.bias_on(""),
)
STEP = load_plan("quick").steps[0]


def measured(setting: Setting, source: Source) -> PilotMeasurement:
    """What the simulated bench's calibration makes of this source, without hidden errors."""
    load = Load(OHMS[setting], input_ohm=1e6)
    diode = Diode(FAST_DIODE.saturation_a, FAST_DIODE.emission_v, FAST_DIODE.series_ohm)
    circuit = PilotCircuit(source, load, diode)
    capture, _ = synthesise(circuit.wave(1000.3, 266.7), Sampling(5.2e-6, 20_000, noise_v=0.02))
    line = replace(CALIBRATION.volts, gain_v=1.0, offset_v=0.0, u_nonlinearity_lsb=0.0)
    return measure(replace(capture, calibration=line))


def evidence(setting: Setting, measurement: PilotMeasurement | None) -> Evidence:
    record = BoardRecord(None, NO_EDGES, (), 0, 1, Losses())
    return Evidence(STEP, setting, Applied(setting, setting, 0), record, measurement)


def case(levels: dict[Setting, PilotMeasurement], at: Setting, bench: Bench = BENCH) -> Case:
    all_of_them = {setting: evidence(setting, one) for setting, one in levels.items()}
    return Case(bench, all_of_them[at], all_of_them.get(OPEN), all_of_them)


def moved(measurement: PilotMeasurement, name: str, volts: float) -> PilotMeasurement:
    level = measurement.quantities()[name]
    assert level is not None
    off = replace(level, value=level.value + volts)
    if name == "high_plateau_v":
        return replace(measurement, high_plateau_v=off)
    return replace(measurement, low_plateau_v=off)


@pytest.fixture(scope="module")
def levels() -> dict[Setting, PilotMeasurement]:
    source = Source(1012.0, 12.1, -11.9)
    return {setting: measured(setting, source) for setting in (OPEN, B, C)}


def test_three_settings_are_used_and_say_how_well_they_fit(
    levels: dict[Setting, PilotMeasurement],
) -> None:
    truths = ((source_resistance, 1012.0), (high_rail, 12.1), (low_rail, -11.9))
    for check, truth in truths:
        finding = check(case(levels, C))
        assert finding.verdict is Verdict.PASS
        assert finding.observations["settings"] == "open, B, C"
        # High levels: three for rail and resistance. Low levels: three for one rail.
        assert finding.observations["chi-square"].endswith("at 3 degrees of freedom")
        assert "fit one source" in finding.observations["goodness of fit"]
        (quantity,) = finding.measured
        assert abs(quantity.value - truth) <= quantity.expanded()


def test_a_third_setting_makes_it_closer(levels: dict[Setting, PilotMeasurement]) -> None:
    two = {setting: levels[setting] for setting in (OPEN, B)}
    (wide,) = source_resistance(case(two, B)).measured
    (close,) = source_resistance(case(levels, C)).measured
    assert close.u < wide.u
    assert wide.method == "fit of the pilot circuit to open, B"
    assert close.method == "fit of the pilot circuit to open, B, C"


@pytest.mark.parametrize("name", ["high_plateau_v", "low_plateau_v"])
def test_levels_that_contradict_each_other_blame_nobody(
    levels: dict[Setting, PilotMeasurement], name: str
) -> None:
    """0.2 V off on C: no source does that, so that not even a rail is judged by it."""
    odd = {**levels, C: moved(levels[C], name, 0.2)}
    for check in (source_resistance, high_rail, low_rail):
        finding = check(case(odd, C))
        assert finding.verdict is Verdict.UNDECIDED
        assert "do not fit one source resistor" in finding.why
        assert finding.quantities, "what it came to is shown all the same"
        assert not finding.near_limit, "a longer look at C would not help"


def test_a_contradiction_never_fails_a_charger() -> None:
    """1400 ohm on B and 600 ohm on C: out of any limit, and still not one source."""
    high, low = Source(1400.0), Source(600.0)
    odd = {OPEN: measured(OPEN, high), B: measured(B, high), C: measured(C, low)}
    finding = source_resistance(case(odd, C))
    assert finding.verdict is Verdict.UNDECIDED


@pytest.mark.parametrize("ohm", [900.0, 1100.0])
def test_a_wrong_source_that_fits_fails(ohm: float) -> None:
    wrong = {setting: measured(setting, Source(ohm)) for setting in (OPEN, B, C, D)}
    finding = source_resistance(case(wrong, D))
    assert finding.verdict is Verdict.FAIL
    assert finding.observations["settings"] == "open, B, C, D"


def test_outside_by_less_than_u_is_undecided() -> None:
    """The rule: rejected only beyond U. 1031 ohm is 1 ohm out, and U is some 2.5 ohm."""
    near = {setting: measured(setting, Source(1031.0)) for setting in (OPEN, B, C)}
    finding = source_resistance(case(near, C))
    assert finding.verdict is Verdict.UNDECIDED
    assert finding.near_limit


def test_uncalibrated_parts_and_volts_never_pass(levels: dict[Setting, PilotMeasurement]) -> None:
    bare = uncalibrated(BOARD)
    finding = source_resistance(case(levels, C, replace(BENCH, calibration=bare)))
    assert finding.verdict is Verdict.UNDECIDED
    assert finding.why.startswith("uncalibrated")
    no_volts = BenchCalibration(
        "x", bare.volts, 10, bare.time_base, bare.width_bias, CALIBRATION.parts
    )
    finding = source_resistance(case(levels, C, replace(BENCH, calibration=no_volts)))
    assert finding.verdict is Verdict.UNDECIDED
    assert "calibrat" in finding.why
    rail = low_rail(case(levels, C, replace(BENCH, calibration=bare)))
    assert rail.verdict is Verdict.UNDECIDED


def test_settings_with_unknown_parts_are_left_out(levels: dict[Setting, PilotMeasurement]) -> None:
    low = Setting(Rung.C, LadderSet.LOW)
    gone = {name: part for name, part in CALIBRATION.parts.items() if name != "switched_c_low"}
    bench = replace(BENCH, calibration=replace(CALIBRATION, parts=gone))
    with_it = {**levels, low: levels[C]}
    finding = source_resistance(case(with_it, C, bench))
    assert finding.observations["settings"] == "open, B, C"
    judged_there = source_resistance(case(with_it, low, bench))
    assert judged_there.verdict is Verdict.UNDECIDED
    assert "the ladder's parts are not known" in judged_there.why


def test_a_missing_level_is_not_run_or_undecided(levels: dict[Setting, PilotMeasurement]) -> None:
    none = {**levels, C: PilotMeasurement()}
    for check in (source_resistance, low_rail):
        finding = check(case(none, C))
        assert finding.verdict is Verdict.NOT_RUN, "the record shows no pulses"
    alone = source_resistance(case({B: levels[B]}, B))
    assert alone.verdict is Verdict.UNDECIDED
    assert "measure at" in alone.why


def test_the_diode_of_the_calibration_is_that_of_the_bench(
    levels: dict[Setting, PilotMeasurement],
) -> None:
    """Its curve through the drops at the currents of B and C agrees with the simulated one."""
    standin = _known_standin(case(levels, C))
    assert standin.diode is not None
    curve = standin.diode.curve({one.name: one.value for one in standin.diode.priors})
    for milliampere in (3.0, 4.5, 6.0):
        drop = FAST_DIODE.drop(milliampere * 1e-3)
        assert curve.drop(milliampere * 1e-3) == pytest.approx(drop, abs=2e-3)


def test_it_stays_correlated_in_the_archive(tmp_path: Path) -> None:
    """Read back, the source resistance still shares gain and parts with the plateaus.

    The drop at the source resistor comes out with the same, small u from the archive as it would
    from the run; without the shared gain u would be that of two independent levels.
    """
    run = Run(tmp_path)
    record = run.record()
    with open_archive(run.archive, simulated=True) as archive:
        again = archive.load(record.run_id)
    found = {
        name: one.judgements[0].quantity for name, one in last(again).items() if one.judgements
    }
    ohm, plateau, rail = (found[name] for name in ("source-resistance-c", "plateau-c", "rail-high"))
    assert ohm is not None
    assert plateau is not None
    assert rail is not None
    shared = {row.id for row in ohm.rows} & {row.id for row in plateau.rows}
    assert any(row_id.startswith("gain@") for row_id in shared)
    assert any(row_id.startswith("noise-high_plateau_v@") for row_id in shared)
    drop = derive("drop_v", "V", "test", lambda a, b: a - b, (rail, plateau))
    assert drop.u < 0.75 * math.hypot(rail.u, plateau.u)
    current = derive("current_a", "A", "test", lambda a, b, r: (a - b) / r, (rail, plateau, ohm))
    apart = _independent((rail, plateau, ohm), (1 / ohm.value, -1 / ohm.value))
    assert current.u < 0.75 * apart


def _independent(three: tuple[Quantity, Quantity, Quantity], levers: tuple[float, float]) -> float:
    """Uncertainty of the current if the three shared nothing."""
    rail, plateau, ohm = three
    by_ohm = (rail.value - plateau.value) / ohm.value**2
    return math.hypot(levers[0] * rail.u, levers[1] * plateau.u, by_ohm * ohm.u)


def test_stored_plateaus_give_the_same_fit_again(levels: dict[Setting, PilotMeasurement]) -> None:
    here = case(levels, C)
    fit = fit_source(_seen(here), _known_standin(here))
    (quantity,) = source_resistance(here).measured
    assert quantity == fit.source_ohm
