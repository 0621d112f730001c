"""Captures from CSV files of oscilloscopes and loggers.

The program opens the file; this module parses the open stream.  It never
assumes a rate, a channel or a unit: what the file does not say must be stated.
"""

import math
from dataclasses import dataclass
from typing import BinaryIO, Final, TextIO

import numpy as np
import numpy.typing as npt

from pilotsignal.budget import RECTANGULAR
from pilotsignal.calibration import UNKNOWN_TIME_BASE, TimeBase, VoltCalibration
from pilotsignal.capture import Capture
from pilotsignal.csv_body import read_body
from pilotsignal.csv_grid import Grid, find_grid, require_interval
from pilotsignal.csv_header import Column, Layout, read_layout
from pilotsignal.csv_text import TextSource
from pilotsignal.csv_units import parse_unit
from pilotsignal.errors import CsvError, UnstatedError

Floats = npt.NDArray[np.float64]

_ENDS: Final = 8  # samples at each end that are looked at for strays
_STRAY: Final = 0.1  # beyond everything else by this share of the range
_COMPANION: Final = "peak detect"
# Beyond these a number is a slip of the keyboard, and squares of it overflow.
_INTERVALS_S: Final = (1e-12, 1e4)
_SCALES: Final = (1e-9, 1e9)
_MOST_V: Final = 1e6


@dataclass(frozen=True, slots=True)
class ReadOptions:
    """What the user states about a file.

    Parameters
    ----------
    channel : name of the channel, or ``None``: the only one.
    interval_s : seconds from row to row, or ``None``: the file says it.
    scale : factor on the voltages, such as that of a probe that the instrument was not told of.
    unit : unit of the voltages (``V``, ``mV``...), or ``None``: the file says it.
    gain_uncertainty : relative standard uncertainty of the voltages, or ``None``: nobody knows.
    offset_uncertainty : their standard uncertainty at 0 V in volts, or ``None``.
    time_base_uncertainty : relative standard uncertainty of the interval, or ``None``.
    origin : what the capture is called.
    """

    channel: str | None = None
    interval_s: float | None = None
    scale: float = 1.0
    unit: str | None = None
    gain_uncertainty: float | None = None
    offset_uncertainty: float | None = None
    time_base_uncertainty: float | None = None
    origin: str = "CSV"

    def __post_init__(self) -> None:
        if self.interval_s is not None and not (
            _INTERVALS_S[0] <= self.interval_s <= _INTERVALS_S[1]
        ):
            raise UnstatedError(
                f"A sample interval of {self.interval_s} s cannot be; state it anew (--interval)."
            )
        if not _SCALES[0] <= abs(self.scale) <= _SCALES[1]:
            raise UnstatedError(f"A scale of {self.scale} cannot be; state another (--scale).")
        if (self.offset_uncertainty or 0.0) > _MOST_V:
            raise UnstatedError(
                f"An uncertainty of {self.offset_uncertainty:g} V tells nothing; state what the "
                "data sheet says (--offset-uncertainty)."
            )


@dataclass(frozen=True, slots=True)
class ImportedCapture:
    """A capture, the channels that the file holds, and remarks on how it was read."""

    capture: Capture
    channels: tuple[str, ...]
    remarks: tuple[str, ...]


def read_capture(stream: TextIO | BinaryIO, options: ReadOptions | None = None) -> ImportedCapture:
    """Read one channel.

    Parameters
    ----------
    stream : open for reading, text or bytes; not closed.
    options : what the user states; by default nothing.

    Raises
    ------
    CsvError : the input is empty, not text, has no evenly spaced numbers, or leaves open what
        the options do not state.  The message names the remedy.
    """
    options = options or ReadOptions()
    source = TextSource(stream)
    layout = read_layout(source.head)
    require_interval(layout, options.interval_s)
    channel, remarks = _choose(layout, options.channel)
    factor = _volts_per_unit(channel, options) * options.scale
    axis = layout.axis or _perhaps_times(layout, channel)
    places = (channel.place,) if axis is None else (axis.place, channel.place)
    body = read_body(source, layout, places)
    if body.columns[-1].size < 2:
        raise CsvError("The input holds a single sample; record it longer.")
    grid = find_grid(layout, options.interval_s, body)
    if grid.foreign and options.channel is None:
        raise _several(layout.channels)
    volts = body.columns[-1] * factor
    _refuse_impossible(volts)
    if body.cut_short:
        remarks.append("The last row is incomplete and was left out.")
    capture = Capture(
        volts,
        grid.interval_s,
        options.origin,
        _calibration(options),
        _time_base(options, grid),
        grid.gaps,
    )
    channels = tuple(one.name for one in layout.channels if grid.foreign or one is not axis)
    return ImportedCapture(capture, channels, (*remarks, *grid.remarks, *_stray_ends(volts)))


def _choose(layout: Layout, wanted: str | None) -> tuple[Column, list[str]]:
    channels = layout.channels
    if not channels:
        raise CsvError("The input holds times but no voltages; export the channel too.")
    if wanted is not None:
        for column in channels:
            if column.name.lower() == wanted.strip().lower():
                return column, []
        raise UnstatedError(f'There is no channel "{wanted}"; the input has {_listed(channels)}.')
    names = [column.name.lower() for column in channels]
    main = [
        column
        for column in channels
        if not any(column.name.lower() == f"{name} {_COMPANION}" for name in names)
    ]
    if len(main) == 1 or (not layout.named and layout.axis is None and len(channels) == 2):
        left_out = [f'Column "{one.name}" was left out.' for one in channels if one not in main]
        return (main[0], left_out) if len(main) == 1 else (channels[-1], [])
    raise _several(channels)


def _several(channels: tuple[Column, ...]) -> UnstatedError:
    return UnstatedError(
        f"The input has several channels ({_listed(channels)}); name one with --channel."
    )


def _listed(channels: tuple[Column, ...]) -> str:
    return ", ".join(f'"{column.name}"' for column in channels)


def _volts_per_unit(channel: Column, options: ReadOptions) -> float:
    unit = channel.unit
    if options.unit is not None:
        unit = parse_unit(options.unit)
        if unit is None:
            raise UnstatedError(f'"{options.unit}" is not a unit of voltage; use V or mV.')
    if unit is None:
        raise UnstatedError(
            f'The input does not say in which unit channel "{channel.name}" is; '
            "state it (--unit V or --unit mV)."
        )
    if unit.dimension != "V":
        raise UnstatedError(f'Channel "{channel.name}" is in {unit.dimension}, not in volts.')
    return unit.factor


def _perhaps_times(layout: Layout, channel: Column) -> Column | None:
    """First column of a file without header: times, or another channel."""
    first = layout.channels[0]
    return None if layout.named or first is channel else first


def _time_base(options: ReadOptions, grid: Grid) -> TimeBase:
    """What is stated of the clock; rounded times add their doubt, but say nothing of the clock."""
    stated, rounding = options.time_base_uncertainty, grid.doubt * RECTANGULAR
    if stated is not None:
        return TimeBase("stated", "stated", math.hypot(stated, rounding))
    return TimeBase("printed times", "unknown", rounding) if rounding else UNKNOWN_TIME_BASE


def _calibration(options: ReadOptions) -> VoltCalibration:
    stated = options.gain_uncertainty is not None or options.offset_uncertainty is not None
    return VoltCalibration(
        "stated" if stated else "undescribed",
        1.0,
        0.0,
        u_gain_relative=options.gain_uncertainty,
        u_offset_v=options.offset_uncertainty,
    )


def _refuse_impossible(volts: Floats) -> None:
    most = float(np.abs(volts).max())
    if most > _MOST_V:
        raise CsvError(
            f"The voltages reach {most:.3g} V, which no probe delivers; check the channel, the "
            "unit (--unit) and the scale (--scale)."
        )


def _stray_ends(volts: Floats) -> tuple[str, ...]:
    """Remarks on samples at an end that lie beyond everything else."""
    if volts.size <= 4 * _ENDS:
        return ()
    core = volts[_ENDS:-_ENDS]
    low, high = float(core.min()), float(core.max())
    slack = _STRAY * (high - low)
    found = []
    for name, end in (("first", volts[:_ENDS]), ("last", volts[-_ENDS:])):
        stray = int(((end < low - slack) | (end > high + slack)).sum())
        if stray and high > low:
            found.append(
                f"Of the {name} {_ENDS} samples {stray} lie beyond everything else "
                f"(up to {end[np.argmax(np.abs(end - 0.5 * (low + high)))]:.4g} V); they were kept."
            )
    return tuple(found)
