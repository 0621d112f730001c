"""Tables of the pages, computed.

From the root of the project:

    PYTHONPATH=signal .venv/bin/python hardware_notes/budget/page_tables.py          compares
    PYTHONPATH=signal .venv/bin/python hardware_notes/budget/page_tables.py --write  rewrites

A table stands in a page between ``<!-- table: NAME -->`` and ``<!-- end -->``.  Those whose names
begin with ``spice`` need ngspice.  Status: 0 done or equal, 1 a page differs, 4 no ngspice.
"""

import re
import sys
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

import enable_chain
import error_tables
import ladder_power
import mains_tables
import part_list
import pilot_levels
import spice
import standin_design as design
import wave_tables

PAGES = Path(__file__).resolve().parent.parent
MARK = re.compile(r"(<!-- table: ([\w-]+) -->\n).*?(<!-- end -->)", re.DOTALL)

Rows = Sequence[Sequence[str]]


def table(head: Sequence[str], rows: Rows) -> str:
    """A table as the pages carry it."""
    lines = ["| " + " | ".join(cells) + " |" for cells in (head, *rows)]
    return "\n".join((lines[0], "|" + "---|" * len(head), *lines[1:])) + "\n"


def _ladder() -> str:
    rows = []
    for role, parts in design.LADDER.items():
        for which in design.SETS:
            part = parts[which]
            off = 100.0 * (part.made_ohm / part.ohm - 1.0)
            rows.append(
                [part.name, f"{role}, {which}", f"{part.ohm:g}", part.text(), f"{off:+.3f}"]
            )
    head = ["part", "role, set", "ohm", "built from", "off by (%)"]
    return table(head, [*rows, ["R10", "short", "80", design.SHORT.text(), "+0.000"]])


def _levels() -> str:
    rows = [
        [which, *(f"{pilot_levels.plateau_v(rung, which):.3f}" for rung in "BCD")]
        for which in design.SETS
    ]
    return table(["set", "B (V)", "C (V)", "D (V)"], rows)


def _losses() -> str:
    rows = []
    for loss in ladder_power.worst_losses():
        watts = [f"{1e3 * watt:.0f}" for watt in loss.watts]
        part = [f"{1e3 * loss.part_w:.0f} of {1e3 * loss.resistor.rating_w:.0f}"]
        rows.append([loss.resistor.name, f"{loss.resistor.ohm:g}", *watts, *part])
    cases = ["working", "bypassed, -12.6 V", "on +12.6 V", "on 12.6 V, bypassed", "on 15 V"]
    head = ["part", "ohm", *(f"{case} (mW)" for case in cases), "one part, worst (mW)"]
    return table(head, rows)


def _settings() -> str:
    rows = [
        [loss.setting, loss.resistor.name, *(f"{1e3 * watt:.1f}" for watt in loss.watts)]
        for loss in ladder_power.ladder_losses()
    ]
    cases = ["working", "bypassed, -12.6 V", "on +12.6 V", "on 12.6 V, bypassed", "on 15 V"]
    return table(["setting", "part", *(f"{case} (mW)" for case in cases)], rows)


def _codes() -> str:
    rows = [
        [
            loss.resistor.name,
            loss.setting,
            f"{loss.resistor.ohm:g}",
            *(f"{1e3 * watt:.0f}" for watt in loss.watts),
            f"{1e3 * loss.resistor.rating_w:.0f}",
        ]
        for loss in ladder_power.code_losses()
    ]
    head = ["part", "code", "ohm", "330 ohm to 12 V (mW)", "on 12.6 V (mW)", "on 15 V (mW)"]
    return table([*head, "rating (mW)"], rows)


def _loading() -> str:
    rows = []
    for ohm in pilot_levels.INPUTS_OHM:
        taken = [f"{1e3 * pilot_levels.loading_v(ohm, rung):.1f}" for rung in "ABCD"]
        rows.append([f"{ohm / 1e3:g}", *taken])
    return table(["input (kohm)", *(f"off {rung} (mV)" for rung in "ABCD")], rows)


def _short() -> str:
    cases = (
        ("12 V, 1000 ohm", design.RAIL_V, design.SOURCE_OHM),
        ("12.6 V, 970 ohm", design.RAIL_MAX_V, design.SOURCE_MIN_OHM),
    )
    rows = [
        [
            f"{ohm:g}",
            *(f"{pilot_levels.short_v(ohm, rail, source):.2f}" for _, rail, source in cases),
        ]
        for ohm in pilot_levels.SHORTS_OHM
    ]
    return table(["short (ohm)", *(f"level at {name} (V)" for name, _, _ in cases)], rows)


def _edges() -> str:
    rows = []
    for farad in (0.3e-9 + design.own_f(), 3.1e-9 + design.own_f(), pilot_levels.FULL_F):
        for rung in "BCD":
            found = pilot_levels.edge_times(rung, farad)
            times = (found.rise_us, found.fall_us, found.width_shift_us)
            rows.append([f"{farad * 1e9:.2f}", rung, *(f"{value:.2f}" for value in times)])
    head = ["capacitance in all (nF)", "rung", "rise 10-90 % (us)", "fall (us)"]
    return table([*head, "shift of the width at 0 V (us)"], rows)


def _ohms() -> str:
    extra = design.FUSE_OHM + 4 * design.CONTACT_OHM
    rows = []
    for which in design.SETS:
        for number, rung in enumerate("BCD"):
            bits = [design.SETS.index(which) + 3 * part for part in {0, number}]
            relays = ", ".join(f"K{bit}" for bit in sorted([*bits, 10]))
            ohm = pilot_levels.load_ohm(rung, which)
            limits = f"{0.999 * ohm:.1f}..{1.001 * ohm + extra:.1f}"
            rows.append([f"{rung} {which}", relays, f"{ohm:.1f}", limits])
    limits = f"{0.99 * design.SHORT.ohm:.1f}..{1.01 * design.SHORT.ohm + extra:.1f}"
    rows.append(["short", "K9", f"{design.SHORT.ohm:.1f}", limits])
    return table(["setting", "relays on", "CP to PE, parts alone (ohm)", "expect (ohm)"], rows)


def _relays() -> str:
    current = enable_chain.coil_a()
    rows = [
        [name, str(count), f"{1e3 * current * count:.0f}", f"{12 * current * count:.2f}"]
        for name, count in enable_chain.RELAYS_BY_SETTING
    ]
    return table(["setting", "relays on", "current (mA)", "power (W)"], rows)


def _pump() -> str:
    found = enable_chain.pump()
    rows = [
        ["longest time from the last edge to disabled", f"{1e3 * found.longest_decay_s:.0f} ms"],
        ["longest pause of the heartbeat that is safe", f"{1e3 * found.shortest_hold_s:.0f} ms"],
        ["least heartbeat", f"{found.least_cycles_hz:.0f} cycles a second"],
        ["heartbeat of the firmware", f"{enable_chain.HEARTBEAT_HZ:.0f} cycles a second"],
        ["store at that heartbeat", f"{enable_chain.steady_v(enable_chain.HEARTBEAT_HZ):.2f} V"],
        ["first edge to enabled, at that heartbeat", f"{1e3 * found.longest_charge_s:.0f} ms"],
    ]
    return table(["worst case over tolerances", "value"], rows)


def _drawn(
    made: Mapping[str, Callable[[], tuple[list[str], list[list[str]]]]],
) -> dict[str, Callable[[], str]]:
    """Tables of another module, as text."""

    def text(name: str) -> Callable[[], str]:
        return lambda: table(*made[name]())

    return {name: text(name) for name in made}


TABLES: Mapping[str, Callable[[], str]] = {
    "ladder": _ladder,
    "levels": _levels,
    "losses": _losses,
    "settings": _settings,
    "codes": _codes,
    "loading": _loading,
    "short": _short,
    "edges": _edges,
    "ohms": _ohms,
    "relays": _relays,
    "pump": _pump,
    **_drawn(wave_tables.TABLES),
    **_drawn(mains_tables.TABLES),
    **_drawn(error_tables.TABLES),
    **_drawn(part_list.TABLES),
}


def pages() -> list[Path]:
    """Pages that carry computed tables."""
    return [path for path in sorted(PAGES.glob("*.md")) if MARK.search(path.read_text("utf-8"))]


def names(page: Path) -> list[str]:
    """Names of the tables of a page, in order."""
    return [found[2] for found in MARK.finditer(page.read_text("utf-8"))]


def printed(page: Path, name: str) -> str:
    """A table as it stands in the page."""
    for found in MARK.finditer(page.read_text("utf-8")):
        if found[2] == name:
            return found[0].removeprefix(found[1]).removesuffix(found[3])
    raise KeyError(f"{page.name} has no table {name}")


def renewed(page: Path) -> str:
    """The page with its tables computed afresh."""
    return MARK.sub(lambda found: found[1] + TABLES[found[2]]() + found[3], page.read_text("utf-8"))


def main(words: Sequence[str]) -> int:
    """Compare or rewrite all pages."""
    differing = []
    try:
        for page in pages():
            fresh = renewed(page)
            if fresh != page.read_text("utf-8"):
                differing.append(page)
                if "--write" in words:
                    page.write_text(fresh, encoding="utf-8")
    except spice.SpiceError as problem:
        sys.stderr.write(f"{problem}\n")
        return 4
    said = "rewritten" if "--write" in words else "differs from what is computed"
    sys.stdout.writelines(f"{page.name} {said}\n" for page in differing)
    return 1 if differing and "--write" not in words else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
