"""A raw capture as CSV, with all that is needed to use it elsewhere in comment lines on top."""

from collections.abc import Mapping
from typing import TextIO

import numpy as np

from pilotsignal.calibration import TimeBase
from pilotsignal.capture import Capture, EdgeRecord

_CHUNK = 65_536


def write_csv(recorded: Capture | EdgeRecord, stream: TextIO) -> None:
    """Write every sample or edge; times count from the first sample, or in board ticks."""
    if isinstance(recorded, EdgeRecord):
        _write_edges(recorded, stream)
    else:
        _write_samples(recorded, stream)


def _write_samples(capture: Capture, stream: TextIO) -> None:
    line = capture.calibration
    comments = {
        "origin": capture.origin,
        "sample interval (s)": repr(capture.interval_s),
        "first tick": capture.first_tick,
        "calibration": f"{line.id}: volts = {line.gain_v!r} * count + {line.offset_v!r}",
        "time base": _clock(capture.time_base),
        "gaps (index, missing samples)": [(gap.index, gap.missing) for gap in capture.gaps],
    }
    _write_comments(comments, stream)
    stream.write("time_s,count,volts\n")
    position = np.arange(capture.samples.size, dtype=np.int64)
    for gap in capture.gaps:
        position[gap.index :] += gap.missing
    for start in range(0, position.size, _CHUNK):
        part = slice(start, start + _CHUNK)
        rows = zip(
            (position[part] * capture.interval_s).tolist(),
            capture.samples[part].tolist(),
            capture.volts(capture.samples[part]).tolist(),
            strict=True,
        )
        stream.writelines(f"{time:.9g},{count},{volts:.7g}\n" for time, count, volts in rows)


def _write_edges(edges: EdgeRecord, stream: TextIO) -> None:
    comments = {
        "origin": edges.origin,
        "tick (s)": repr(edges.tick_s),
        "time base": _clock(edges.time_base),
        "width added to a high pulse (us)": edges.width_bias.bias_us,
        "gaps (index, missing edges)": [(gap.index, gap.missing) for gap in edges.gaps],
    }
    _write_comments(comments, stream)
    stream.write("tick,edge\n")
    for tick, rising in zip(edges.times.tolist(), edges.rising.tolist(), strict=True):
        stream.write(f"{tick},{'rise' if rising else 'fall'}\n")


def _clock(time_base: TimeBase) -> str:
    stated = "not stated" if time_base.u_relative is None else f"{time_base.u_relative:.3g}"
    return f"{time_base.id} ({time_base.kind}), standard uncertainty {stated}, relative"


def _write_comments(comments: Mapping[str, object], stream: TextIO) -> None:
    for name, value in comments.items():
        text = str(value).replace("\r", " ").replace("\n", " ")
        stream.write(f"# {name}: {text}\n")
