"""Captures to and from CSV files; no Qt."""

from collections.abc import Iterator
from pathlib import Path
from typing import Final

import numpy as np

from pilotsignal.capture import Capture
from pilotsignal.csv_import import ImportedCapture, ReadOptions, read_capture
from rungbench.errors import InputError
from rungbench.report.files import write_whole

_CHUNK: Final = 65_536

FIELDS: Final = {
    "--channel": "Channel",
    "--interval": "Interval",
    "--unit": "Unit",
    "--gain-uncertainty": "u of gain",
    "--offset-uncertainty": "u at 0 V",
}
"""Fields of the window by the command line's options."""


def save_capture(capture: Capture, file: Path, *, simulated: bool) -> None:
    """Write every sample with its time in seconds and in volts, with a dot, whatever the locale.

    `read_capture` reads the file back.

    Raises
    ------
    RungbenchError : it cannot be written.
    """
    write_whole(file, _chunks(capture, simulated=simulated), replace=True)


def _chunks(capture: Capture, *, simulated: bool) -> Iterator[bytes]:
    line = capture.calibration
    comments = [
        *(["SIMULATED"] if simulated else []),
        f"Origin: {capture.origin}",
        f"Interval: {capture.interval_s!r} s",
        f"Calibration: {line.id}",
        f"Time base: {capture.time_base.id}",
        f"Gaps (index, missing): {[(gap.index, gap.missing) for gap in capture.gaps]}",
    ]
    head = "".join(f"#{' '.join(text.split())}\n" for text in comments)
    yield f"{head}Time (s),Pilot (V)\n".encode()
    place = np.arange(capture.samples.size, dtype=np.int64)
    for gap in capture.gaps:
        place[gap.index :] += gap.missing
    for start in range(0, place.size, _CHUNK):
        part = slice(start, start + _CHUNK)
        times = (place[part] * capture.interval_s).tolist()
        volts = capture.volts(capture.samples[part]).tolist()
        rows = zip(times, volts, strict=True)
        yield "".join(f"{time:.10g},{volt:.7g}\n" for time, volt in rows).encode()


def in_fields(sentence: str) -> str:
    """A sentence of the reader, which speaks of options, in terms of the window's fields."""
    for option, field in FIELDS.items():
        sentence = sentence.replace(option, f"the field “{field}”")
    return sentence


def open_capture(file: Path, options: ReadOptions) -> ImportedCapture:
    """Read a CSV file; what it does not say has to be in `options`.

    Raises
    ------
    CsvError, UnstatedError, InputError : a sentence that says what to state or do.
    """
    try:
        with file.open("rb") as stream:
            return read_capture(stream, options)
    except OSError as problem:
        reason = problem.strerror or str(problem)
        raise InputError(f"{file} cannot be read ({reason}); check path and rights.") from problem
