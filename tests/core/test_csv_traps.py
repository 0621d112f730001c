"""Encodings, line ends, numbers and remarks of the CSV importer."""

import io
from pathlib import Path
from typing import BinaryIO, cast

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pilotsignal.capture import Gap
from pilotsignal.csv_axis import printed_step
from pilotsignal.csv_import import ImportedCapture, ReadOptions, read_capture
from pilotsignal.csv_units import Unit, parse_amount, parse_unit, split_unit

LEVELS = [12.0 if number % 10 < 5 else -12.0 for number in range(50)]
PLAIN = "Time (ms),CH1 (mV)\n" + "".join(
    f"{number * 0.01:.2f},{level * 1e3:.1f}\n" for number, level in enumerate(LEVELS)
)


class Trickle:
    """A pipe that hands out a few bytes at a time."""

    def __init__(self, data: bytes, sizes: list[int]) -> None:
        self._data = data
        self._sizes = sizes

    def read(self, _size: int = -1) -> bytes:
        size = self._sizes.pop() if self._sizes else len(self._data)
        piece, self._data = self._data[:size], self._data[size:]
        return piece


def read(data: bytes, options: ReadOptions | None = None) -> ImportedCapture:
    return read_capture(io.BytesIO(data), options)


@pytest.mark.parametrize(
    "encoded",
    [
        PLAIN.encode("utf-8"),
        PLAIN.encode("utf-8-sig"),
        PLAIN.encode("utf-16"),
        PLAIN.replace("\n", "\r\n").encode(),
        PLAIN.replace("\n", "\r").encode(),
        PLAIN.replace("\n", "\n\n").encode(),
        PLAIN.replace("\n", ",\n").encode(),
        PLAIN.replace("\n", ", ,\r\n").encode(),
        PLAIN.replace(",", "\t").encode(),
        PLAIN.replace(",", ";").replace(".", ",").encode(),
        PLAIN.replace(",", "\t").replace(".", ",").encode(),
        PLAIN.replace(",", " , ").encode(),
        "".join(f'"{line.replace(",", chr(34) + "," + chr(34))}"\n' for line in PLAIN.split("\n"))
        .replace('""\n', "")
        .encode(),
        PLAIN.rstrip("\n").encode(),
        ("# \N{DEGREE SIGN}C\n" + PLAIN).encode("cp1252"),
    ],
)
def test_however_it_is_written(encoded: bytes) -> None:
    imported = read(encoded)
    assert np.array_equal(imported.capture.samples, LEVELS)
    assert imported.capture.interval_s == pytest.approx(1e-5, rel=1e-9)
    assert imported.channels == ("CH1",)


@pytest.mark.parametrize("sign", ["\N{MICRO SIGN}", "\N{GREEK SMALL LETTER MU}", "u"])
def test_micro_in_every_spelling(sign: str) -> None:
    text = PLAIN.replace("(ms)", f"({sign}s)")
    assert read(text.encode()).capture.interval_s == pytest.approx(1e-8, rel=1e-9)


def test_a_text_stream_gives_the_same() -> None:
    from_text = read_capture(io.StringIO(PLAIN))
    assert from_text.capture.sha256() == read(PLAIN.encode()).capture.sha256()


@given(st.lists(st.integers(1, 400), max_size=12))
def test_any_split_of_the_bytes_gives_the_same(sizes: list[int]) -> None:
    stream = cast(BinaryIO, Trickle(PLAIN.encode("utf-16"), sizes))
    assert np.array_equal(read_capture(stream).capture.samples, LEVELS)


def test_a_row_cut_short_at_the_end_is_left_out_and_told() -> None:
    imported = read(PLAIN.encode() + b"0.50")
    assert imported.capture.samples.size == len(LEVELS)
    assert any("incomplete" in remark for remark in imported.remarks)


def test_missing_sample_numbers_are_gaps() -> None:
    rows = [f"{number},{level}" for number, level in enumerate(LEVELS) if not 20 <= number < 23]
    text = "X,CH1,Start,Increment,\nSequence,Volt,0,1e-5,\n" + "\n".join(rows) + "\n"
    capture = read(text.encode()).capture
    assert capture.gaps == (Gap(20, 3),)
    assert capture.duration_s == pytest.approx(50e-5)


def test_single_precision_times_are_even() -> None:
    times = (np.arange(3000) * 2e-6 - 3e-3).astype(np.float32)
    rows = "".join(f"{at:.8e},{n % 7}\n" for n, at in enumerate(times))
    capture = read(f"Time (s),CH1 (V)\n{rows}".encode()).capture
    assert capture.interval_s == pytest.approx(2e-6, rel=1e-6)


@pytest.mark.parametrize("digits", [3, 4, 6])
def test_shortest_numbers_are_read_as_exactly_as_they_are_meant(digits: int) -> None:
    """A time such as 0.5 between 0.4999 and 0.5001 is not a coarse one."""
    times = [round(number * 10.0**-digits, digits) for number in range(2001)]
    rows = "".join(f"{at!r},{n % 7}\n" for n, at in enumerate(times))
    capture = read(f"Time (s),CH1 (V)\n{rows}".encode()).capture
    assert capture.interval_s == pytest.approx(10.0**-digits, rel=1e-9)
    assert not read(f"Time (s),CH1 (V)\n{rows}".encode()).remarks


@pytest.mark.parametrize(
    ("texts", "step"),
    [
        (["-1.00000E-06", "-999.00E-09", "+1.00E-09"], 1e-11),  # last place of each
        (["-0.012340", "0.000000", "0.012340"], 1e-6),
        (["-1.23e-03", "-9.99e-04", "1.23e-03"], 1e-5),
        (["0.1", "0.12", "0.1234"], 1e-4),
        (["0", "0.0"], 0.0),
    ],
)
def test_printed_step(texts: list[str], step: float) -> None:
    largest = max(abs(float(text)) for text in texts)
    assert printed_step(texts, largest) == pytest.approx(step)


def test_strays_at_an_end_are_told_and_kept() -> None:
    text = PLAIN.replace("0.00,12000.0", "0.00,40000.0")
    imported = read(text.encode())
    assert imported.capture.samples[0] == 40.0
    assert any("first 8 samples 1 lie" in remark for remark in imported.remarks)
    assert read(PLAIN.encode()).remarks == ()


@pytest.mark.parametrize(
    ("text", "dimension", "factor"),
    [
        ("(ms)", "s", 1e-3),
        ("Second", "s", 1.0),
        ("[mV]", "V", 1e-3),
        ("Volt", "V", 1.0),
        ("kS/s", "Hz", 1e3),
        ("MHz", "Hz", 1e6),
        ("Sequence", "index", 1.0),
    ],
)
def test_units(text: str, dimension: str, factor: float) -> None:
    assert parse_unit(text) == Unit(dimension, factor)


@pytest.mark.parametrize("text", ["", "m", "(MS)", "MV", "CH1", "ksequence", "°C"])
def test_no_units(text: str) -> None:
    assert parse_unit(text) is None


def test_amounts_and_names() -> None:
    assert parse_amount("-12.0mV") == (-12.0, Unit("V", 1e-3))
    assert parse_amount("100 kS/s") == (100.0, Unit("Hz", 1e3))
    assert parse_amount("1.6e-06") == (1.6e-06, None)
    assert parse_amount("4 apples") is None
    assert split_unit("Channel 1 (V)") == ("Channel 1", Unit("V", 1.0))
    assert split_unit("CH1 (old)") == ("CH1 (old)", None)


def test_nothing_is_written_beside_the_stream(tmp_path: Path) -> None:
    """The core parses an open stream; it neither closes it nor opens another."""
    stream = io.BytesIO(PLAIN.encode())
    read_capture(stream)
    assert not stream.closed
    assert list(tmp_path.iterdir()) == []
