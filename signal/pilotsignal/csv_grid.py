"""Which sample interval a file has, from everything that states one.

A stated interval goes before a time column, which is often rounded; the two
must agree.  What the user states goes before what the file states.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from pilotsignal.capture import Gap
from pilotsignal.csv_axis import Spacing, gaps_of_numbers, spacing_of_times
from pilotsignal.csv_body import Body
from pilotsignal.csv_header import Column, Layout
from pilotsignal.errors import CsvError, UnstatedError

_AGREE: Final = 1e-3  # a stated interval and the time column may differ by so much
_WORST: Final = 1e-3  # relative doubt of an interval that is still accepted
_NOTABLE: Final = 1e-5  # relative doubt of an interval that is worth a remark
_LOOSE: Final = 0.5  # intervals by which a time may lie off where the interval is stated
_TIME_FACTORS: Final = (1.0, 1e-3, 1e-6, 1e-9)


@dataclass(frozen=True, slots=True)
class Grid:
    """How the samples lie in time.

    Parameters
    ----------
    interval_s : seconds from sample to sample.
    gaps : missing samples.
    remarks : sentences for the user.
    doubt : half width of the relative doubt that rounded times leave.
    foreign : the first of columns without names holds no times but another channel.
    """

    interval_s: float
    gaps: tuple[Gap, ...] = ()
    remarks: tuple[str, ...] = ()
    doubt: float = 0.0
    foreign: bool = False


def require_interval(layout: Layout, told_s: float | None) -> None:
    """Refuse early, before anything is read, where nothing can give an interval.

    Raises
    ------
    CsvError : no time column by name or unit, and no interval stated.
    """
    if layout.axis is None or layout.axis_counts:
        _stated(layout, told_s)


def find_grid(layout: Layout, told_s: float | None, body: Body) -> Grid:
    """Settle the interval.

    Parameters
    ----------
    layout : what the header says.
    told_s : what the user states.
    body : the axis, if there is one, and the channel.

    Raises
    ------
    CsvError : no interval, a contradiction, or times that are not evenly spaced.
    """
    if len(body.columns) == 1:
        return Grid(_stated(layout, told_s))
    first = body.columns[0]
    if layout.axis is None:
        return _unnamed_grid(layout, told_s, body)
    if layout.axis_counts:
        return Grid(_stated(layout, told_s), gaps=gaps_of_numbers(first))
    spacing = spacing_of_times(first, body.first_column_texts)
    if told_s is not None:
        return _told_grid(layout, told_s, spacing)
    if layout.interval_s is not None:
        return _file_grid(layout.axis, layout.interval_s, spacing)
    return _column_grid(layout.axis, spacing)


def _stated(layout: Layout, told_s: float | None) -> float:
    stated = layout.interval_s if told_s is None else told_s
    if stated is None:
        raise UnstatedError(
            "The input has no column of times that says so; "
            "state the sample interval (--interval) and, if it has no header, the unit (--unit)."
        )
    return stated


def _unnamed_grid(layout: Layout, told_s: float | None, body: Body) -> Grid:
    stated = _stated(layout, told_s)
    spacing = spacing_of_times(body.columns[0], body.first_column_texts)
    if not spacing.even() or spacing.coarse:
        return Grid(stated, foreign=True)
    if not _agrees(stated, spacing, None):
        raise _disagreement(stated, spacing, None)
    return Grid(stated)


def _told_grid(layout: Layout, told_s: float, spacing: Spacing) -> Grid:
    if not spacing.even() or spacing.doubt > _WORST:
        return Grid(
            told_s,
            remarks=("The time column is not evenly spaced; the stated interval was used.",),
        )
    unit = layout.axis.unit if layout.axis else None
    by_file = layout.interval_s is not None and abs(told_s / layout.interval_s - 1.0) <= _AGREE
    if by_file or _agrees(told_s, spacing, None if unit is None else unit.factor):
        return Grid(told_s)
    raise _disagreement(told_s, spacing, None if unit is None else unit.factor)


def _file_grid(axis: Column, stated_s: float, spacing: Spacing) -> Grid:
    factor = None if axis.unit is None else axis.unit.factor
    if spacing.doubt <= _AGREE:
        if not spacing.even(_LOOSE):
            raise _unevenness(spacing)
        if not _agrees(stated_s, spacing, factor):
            raise _disagreement(stated_s, spacing, factor)
    return Grid(stated_s, remarks=_coarse_remark(spacing))


def _column_grid(axis: Column, spacing: Spacing) -> Grid:
    if axis.unit is None:
        raise UnstatedError(
            "The time column has no unit; state the sample interval in seconds (--interval)."
        )
    if spacing.interval <= 0:
        raise CsvError(
            "The time column does not rise; if the rows are evenly spaced all the same, "
            "state the sample interval (--interval)."
        )
    if not spacing.even():
        raise _unevenness(spacing)
    if spacing.doubt > _WORST:
        raise CsvError(
            f"The time column is printed in steps of {spacing.step:g}, too coarse to give the "
            "sample interval to 0.1 %; state it (--interval)."
        )
    return Grid(
        # Twelve digits: what arithmetic leaves behind them is no information.
        float(f"{spacing.interval * axis.unit.factor:.12g}"),
        remarks=_coarse_remark(spacing) + _doubt_remark(spacing),
        doubt=spacing.doubt,
    )


def _agrees(stated_s: float, spacing: Spacing, factor: float | None) -> bool:
    """Whether column and statement agree, in any unit of time if the column has none."""
    if spacing.interval <= 0:
        return False
    factors = _TIME_FACTORS if factor is None else (factor,)
    ratios = np.array(factors) * spacing.interval / stated_s
    return bool((np.abs(ratios - 1.0) <= _AGREE + min(spacing.doubt, _AGREE)).any())


def _disagreement(stated_s: float, spacing: Spacing, factor: float | None) -> CsvError:
    column = f"{spacing.interval * (factor or 1.0):.6g}{' s' if factor else ''}"
    return CsvError(
        f"The stated sample interval of {stated_s:.6g} s and the time column "
        f"({column} from row to row) disagree; state the right one (--interval)."
    )


def _unevenness(spacing: Spacing) -> CsvError:
    return CsvError(
        f"The times are not evenly spaced (first to see at row {spacing.break_row}); "
        "record again without pauses, or state the sample interval (--interval) "
        "if only the printed times are wrong."
    )


def _coarse_remark(spacing: Spacing) -> tuple[str, ...]:
    if not spacing.coarse:
        return ()
    return ("The printed times are too coarse to show missing samples.",)


def _doubt_remark(spacing: Spacing) -> tuple[str, ...]:
    if spacing.doubt <= _NOTABLE:
        return ()
    return (
        f"The sample interval comes from rounded times and may be {spacing.doubt * 100:.2g} % off; "
        "state it (--interval) if you know it.",
    )
