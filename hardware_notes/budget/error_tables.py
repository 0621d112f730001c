"""Tables of the error budget."""

from collections.abc import Callable, Mapping

import front_end_values as fe
import mains_values
import spice_mains
import standin_design as design
import volt_errors
import whole_runs

Table = tuple[list[str], list[list[str]]]

_UNITS = {"V": (1e3, "mV", 1), "us": (1e3, "ns", 0), "Hz": (1e3, "mHz", 0), "ohm": (1.0, "ohm", 1)}


def _inputs() -> Table:
    names = {**volt_errors.AS_BUILT, **volt_errors.METER}
    rows = []
    for name in names:
        kept = volt_errors.SINCE_CALIBRATION.get(name, volt_errors.METER.get(name))
        built = volt_errors.AS_BUILT.get(name)
        unit, factor = _unit(name)
        cells = [f"{factor * value:.3g}" if value is not None else "" for value in (built, kept)]
        rows.append([volt_errors.WORDS[name], unit, *cells])
    rows[list(names).index("bend_steps")][3] = rows[list(names).index("bend_steps")][2]
    return ["input", "unit", "as built, within +/-", "after calibration, within +/-"], rows


def _unit(name: str) -> tuple[str, float]:
    if name.endswith("_steps"):
        return "steps", 1.0
    return ("mV", 1e3) if name.endswith("_v") else ("ppm", 1e6)


def _volts() -> Table:
    rows = []
    for row in volt_errors.rows():
        values = (
            row.built_worst_mv,
            row.built_drawn_mv,
            row.worst_mv,
            row.drawn_mv,
            row.expanded_mv,
            row.asked_mv,
        )
        rows.append([row.level, f"{row.volts:.2f}", *(f"{value:.1f}" for value in values)])
    head = ["level", "V", "as built, worst (mV)", "as built, 95 % (mV)", "calibrated, worst (mV)"]
    return [*head, "calibrated, 95 % (mV)", "U of the budget (mV)", "0.5 % of the level (mV)"], rows


def _first_counts() -> Table:
    rows = []
    for volts in (-12.0, 0.0, 3.0, 6.0, 9.0, 12.0):
        middle = design.count(volts)
        room = volt_errors.built_worst_v(volts) / fe.step_v()
        rows.append([f"{volts:g}", f"{middle:.0f}", f"{middle - room:.0f}..{middle + room:.0f}"])
    return ["contact (V)", "count by design", "expect before calibration"], rows


def _shares() -> Table:
    pairs = [dict(volt_errors.budget_rows(volt_errors.LEVELS_V[level])) for level in ("A", "D")]
    rows = [[name, f"{mv:.2f}", f"{pairs[1][name]:.2f}"] for name, mv in pairs[0].items()]
    return ["input, after calibration", "bound at A (mV)", "bound at D (mV)"], rows


def _whole() -> Table:
    rows = []
    for row in whole_runs.rows():
        factor, unit, digits = _UNITS[row.unit]
        values = [f"{factor * v:.{digits}f}" for v in (row.expanded, row.drawn, row.largest)]
        inside = f"{row.inside} of {row.boards}"
        rows.append([row.name, row.rung, unit, *values, inside])
    head = ["quantity", "rung", "unit", "U stated (median)", "95 % of the errors", "largest"]
    return [*head, "inside U"], rows


def _opening() -> Table:
    blind = mains_values.blind_s(mains_values.threshold_most_v(), mains_values.LOW_V)
    rows = [
        ["last conduction to the true opening: blind time", f"0..{1e3 * blind:.2f} ms later"],
        ["the same as the board states it", f"0..{1e3 * mains_values.BLIND_LIMIT_S:.1f} ms later"],
        ["release of the optocoupler (specified)", "0..0.1 ms earlier"],
        [
            "100 nF over the contact, if the charger has it",
            f"0..{1e3 * _snubbed_s():.1f} ms earlier",
        ],
        ["start: one sample of stream10", "0..0.052 ms"],
        ["clock, crystal 50 ppm of 100 ms", "0.005 ms"],
        ["clock, resonator 0.5 % of 100 ms", "0.5 ms"],
    ]
    return ["part of a time to `mains off`", "size"], rows


def _snubbed_s() -> float:
    """Latest sight of an opening with 100 nF over the contact, over half a cycle."""
    return max(spice_mains.opening(degrees, 100e-9).late_s for degrees in range(15, 180, 30))


TABLES: Mapping[str, Callable[[], Table]] = {
    "inputs": _inputs,
    "volts": _volts,
    "first-counts": _first_counts,
    "shares": _shares,
    "whole": _whole,
    "spice-opening": _opening,
}
