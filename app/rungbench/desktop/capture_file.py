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
_MARK: Final = b"#SIMULATED"
_HEAD: Final = 4096

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
        *([_MARK[1:].decode()] if simulated else []),
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


def says_simulated(file: Path) -> bool:
    """Whether a file says in its head that it was simulated, as `save_capture` writes it.

    Raises
    ------
    InputError : it cannot be read.
    """
    try:
        with file.open("rb") as stream:
            head = stream.read(_HEAD)
    except OSError as problem:
        raise _unreadable(file, problem) from problem
    return any(line.strip() == _MARK for line in head.splitlines())


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
        raise _unreadable(file, problem) from problem


def _unreadable(file: Path, problem: OSError) -> InputError:
    reason = problem.strerror or str(problem)
    return InputError(f"{file} cannot be read ({reason}); check path and rights.")
