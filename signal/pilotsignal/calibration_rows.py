"""Budget rows of a level in volts that come from the calibration it went through.

Where nobody stated the uncertainty of gain or offset a row says so.

References
----------
.. [1] JCGM 100:2008 (GUM), 4.3 (type B), 5.2 (correlated inputs), F.1.2.4 (correlation by a shared
   input).
"""

import math

from pilotsignal.calibration import VoltCalibration
from pilotsignal.quantity import BudgetRow, unstated


def volt_rows(line: VoltCalibration, value_v: float) -> tuple[BudgetRow, ...]:
    """Rows of a level of `value_v` volts, in volts.

    Ids name the calibration, so that every level that went through it shares its inputs.  What a
    line leaves (``linearity``) and the converter's own bending (``converter``) are other inputs at
    another voltage: their ids name the level to the volt.

    Parameters
    ----------
    line : the calibration.
    value_v : the level at the contact, finite.

    Returns
    -------
    tuple of BudgetRow : ``gain``, ``offset``, ``meter``, ``meter-zero``, ``linearity-NV``,
        ``temperature-gain``, ``temperature-zero``, ``converter-NV``, each followed by ``@ID``; of
        those below the first two only what was stated.
    """
    return (*_fit_rows(line, value_v), *_meter_rows(line, value_v), *_other_rows(line, value_v))


def _fit_rows(line: VoltCalibration, value_v: float) -> list[BudgetRow]:
    """Gain and offset; their correlation makes the gain an input of the offset as well."""
    rows = []
    gain, offset = line.u_gain_relative, line.u_offset_v
    shared = line.gain_offset_correlation if gain and offset else 0.0
    if gain is None:
        rows.append(unstated("gain", line.id, "gain", "1", value_v))
    else:
        lever = value_v + (shared * (offset or 0.0) / gain if shared else 0.0)
        kind = "B" if line.u_meter_relative is None else "A"
        rows.append(
            BudgetRow(f"gain@{line.id}", "gain", kind, "normal", gain, "1", line.dof, lever)
        )
    if offset is None:
        rows.append(unstated("offset", line.id, "offset", "V", 1.0))
    else:
        own = math.sqrt(1.0 - shared**2)
        kind = "B" if line.u_meter_v is None else "A"
        rows.append(
            BudgetRow(f"offset@{line.id}", "offset", kind, "normal", offset, "V", line.dof, own)
        )
    return rows


def _meter_rows(line: VoltCalibration, value_v: float) -> list[BudgetRow]:
    rows = []
    if line.u_meter_relative is not None:
        u = line.u_meter_relative
        rows.append(_stated(f"meter@{line.id}", "reference meter, gain", u, "1", value_v))
    if line.u_meter_v is not None:
        u = line.u_meter_v
        rows.append(_stated(f"meter-zero@{line.id}", "reference meter, zero", u, "V", 1.0))
    return rows


def _other_rows(line: VoltCalibration, value_v: float) -> list[BudgetRow]:
    at = f"{round(value_v)}V@{line.id}"
    span = line.span_k
    # The coefficient is the input; the temperature is taken at the end of its span.
    stated = (
        (f"linearity-{at}", "linearity", line.u_linearity_v, "V", 1.0),
        (
            f"temperature-gain@{line.id}",
            f"temperature, gain, {span:g} K away",
            line.drift_relative_per_k,
            "1/K",
            value_v * span,
        ),
        (
            f"temperature-zero@{line.id}",
            f"temperature, offset, {span:g} K away",
            line.u_drift_v_per_k,
            "V/K",
            span,
        ),
        (
            f"converter-{at}",
            "converter non-linearity",
            line.u_nonlinearity_lsb,
            "count",
            line.gain_v,
        ),
    )
    return [_stated(*row) for row in stated if row[2] > 0.0 and row[4] != 0.0]


def _stated(row_id: str, component: str, u: float, unit: str, sensitivity: float) -> BudgetRow:
    return BudgetRow(row_id, component, "B", "normal", u, unit, math.inf, sensitivity)
