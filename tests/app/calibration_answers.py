"""Answers for a calibration of a simulated bench, and what the tests of it share."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from rungbench.calibrations.record import CalibrationRecord, Part
from rungbench.calibrations.store import CalibrationStore
from rungbench.link.words import LadderSet
from rungbench.qualify.bench import store_for
from rungbench.simulated.parts import parts_of

URL = "sim://sound"
LEVELS_V = (-12.0, -6.0, 0.0, 3.0, 6.0, 9.0, 12.0)
U_METER, U_OHMMETER = (2e-4, 2e-3), (2e-4, 0.02)  # limits: relative and fixed


def toml(seed: int = 1, *, meter_error: float = 0.0, parts: str = "") -> str:
    """A file of answers that an honest laboratory would give for the board of a seed.

    `meter_error` is how wrong the meter is, as a part of its limits, from -1 to 1.
    """
    wanted = parts.split() or [str(part) for part in Part]
    tables = {
        "volts": _volts(meter_error),
        "clock": _CLOCK,
        "parts": _parts(seed),
        "widths": _PULSE,
    }
    return _HEAD + "".join(tables[part] for part in wanted)


_HEAD = 'by = "A. Tester"\ntemperature_c = 24.0\nspan_k = 5\nvalid_until = "365"\nnote = "a note"\n'
_CLOCK = """
[clock]
meter = "counter"
serial = "F-1"
accuracy = "1 ppm"
frequency_hz = 1000.0
"""
_PULSE = """
[widths]
meter = "pulse source"
accuracy = "0.01 us"
[widths.any]
how = "measured"
width_us = 300.0
[widths.C]
how = "typed"
bias_us = 0.06
u_us = 0.02
"""


def _volts(meter_error: float) -> str:
    # The bench applies what is typed: the board is made to see a voltage that is off by the error.
    lines = [f'"{level:g}" = {level + meter_error * 0.001:.4f}' for level in LEVELS_V]
    return (
        '\n[volts]\nmeter = "bench meter"\nserial = "M-1"\naccuracy = "0.02 % + 2 mV"\n'
        "digit = 0.001\n[volts.readings]\n" + "\n".join(lines) + "\n"
    )


def _parts(seed: int) -> str:
    true = parts_of(seed)
    rng = np.random.default_rng((seed, 77))
    ohms = {"short": true.short_ohm, "input_ohm": 1e6}
    roles = (
        ("permanent", true.permanent_ohm),
        ("switched_c", true.c_ohm),
        ("switched_d", true.d_ohm),
    )
    for role, table in roles:
        for which, ohm in table.items():
            ohms[role if which is LadderSet.NOMINAL else f"{role}_{which}"] = ohm
    relative, fixed = U_OHMMETER
    read = {
        name: round(ohm + rng.uniform(-1, 1) * (relative * ohm + fixed), 2)
        for name, ohm in ohms.items()
    }
    lines = [f"{name} = {ohm:.2f}" for name, ohm in read.items()]
    low, high = (true.diode.drop(ampere) for ampere in (2e-3, 10e-3))
    return (
        '\n[parts]\nmeter = "ohmmeter"\naccuracy = "0.02 % + 0.02 ohm"\ndigit = 0.01\n'
        "[parts.ohm]\n" + "\n".join(lines) + '\n[parts.diode]\nmeter = "bench meter"\n'
        f'accuracy = "0.02 % + 2 mV"\nlow_v = {low:.4f}\nhigh_v = {high:.4f}\n'
    )


def written(folder: Path, text: str) -> str:
    """The path of a file of answers."""
    file = folder / "answers.toml"
    file.write_text(text, "utf-8")
    return str(file)


def stored(part: Part, board_id: str = "SIMULATED") -> CalibrationRecord:
    """The newest record of one part of a simulated board."""
    records = store_for(simulated=True).records(board_id)
    return [record for record in records if record.part is part][-1]


def redated(record: CalibrationRecord, days: int, lasts: int = 365) -> CalibrationRecord:
    """The same record made `days` earlier, lasting for some days, with another id."""
    at = datetime.now(UTC).replace(microsecond=0) - timedelta(days)
    made = replace(record.made, at=at, valid_until=(at + timedelta(lasts)).date())
    return replace(record, id=f"{record.id}-{days}d{lasts}", made=made)


def warmed(record: CalibrationRecord, celsius: float) -> CalibrationRecord:
    """The same record made at another temperature."""
    made = replace(record.made, temperature_c=celsius)
    return replace(record, id=f"{record.id}-{celsius:g}C", made=made)


def only(store: CalibrationStore, *records: CalibrationRecord) -> None:
    """Let the store hold these records and no other."""
    for file in store.folder.glob("*.json"):
        file.unlink()
    for record in records:
        store.add(record)
