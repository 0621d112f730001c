"""What a file leaves open is refused in one sentence that names the remedy."""

import io
import re

import pytest

from pilotsignal.csv_import import ReadOptions, read_capture
from pilotsignal.errors import CsvError, UnstatedError

STATED = ReadOptions(interval_s=1e-5, unit="V")
TIMES = [f"{number * 1e-5:.6f}" for number in range(60)]


def table(header: str, cells: list[str], times: list[str] | None = None) -> str:
    rows = [f"{at},{cell}" for at, cell in zip(times or TIMES, cells, strict=False)]
    return "\n".join([header, *rows]) + "\n"


def square() -> list[str]:
    return [f"{12.0 if number % 10 < 5 else -12.0}" for number in range(60)]


def replaced(cells: list[str], place: int, cell: str) -> list[str]:
    return [*cells[:place], cell, *cells[place + 1 :]]


def refusal(text: str | bytes, options: ReadOptions | None = None) -> CsvError:
    stream = io.BytesIO(text) if isinstance(text, bytes) else io.StringIO(text)
    with pytest.raises(CsvError) as caught:
        read_capture(stream, options)
    sentence = str(caught.value)
    assert "\n" not in sentence
    assert sentence.endswith(".")
    # One sentence: a full stop, question or exclamation mark inside would end it.
    assert not re.search(r"[.!?] [A-Z]", sentence)
    return caught.value


HEADER = "Time (s),CH1 (V)"
BAD = {
    "empty": ("", "empty"),
    "blank": ("\n \n\n", "empty"),
    "text": ("Dear bench,\nplease measure this.\nThank you, and goodbye.\n", "No rows of numbers"),
    "header only": (HEADER + "\n", "No rows of numbers"),
    "NaN": (table(HEADER, replaced(square(), 30, "nan")), 'Line 32 holds "nan"'),
    "infinity": (table(HEADER, replaced(square(), 30, "-inf")), 'Line 32 holds "-inf"'),
    "overload sign": (table(HEADER, replaced(square(), 30, "∞")), 'Line 32 holds "∞"'),
    "word": (table(HEADER, replaced(square(), 30, "oops")), 'Line 32 holds "oops"'),
    "missing cell": (
        table(HEADER, replaced(square(), 30, "")),
        "Line 32 holds nothing in column 2",
    ),
    "one sample": (table(HEADER, square()[:1]), "a single sample"),
    "times only": ("Time (s)\n" + "\n".join(TIMES) + "\n", "times but no voltages"),
    "times fall": (table(HEADER, square(), TIMES[::-1]), "does not rise"),
    "times stand": (table(HEADER, square(), ["0.5"] * 60), "does not rise"),
    "times too coarse": (
        table(HEADER, square(), [f"{number * 1e-5:.4f}" for number in range(60)]),
        "too coarse",
    ),
    "a pause far from zero": (
        table(HEADER, square(), [f"{1.7e9 + n * 0.5 + (n > 30) * 0.5:.2f}" for n in range(60)]),
        "evenly spaced",
    ),
    "a pause": (table(HEADER, square(), [*TIMES[:30], "0.000350", *TIMES[31:]]), "evenly spaced"),
    "numbers fall back": (
        "Interval,1e-5\nSample,CH1 (V)\n"
        + "\n".join(f"{n % 30},{c}" for n, c in enumerate(square())),
        "does not count up",
    ),
    "stated interval is none": (
        "Sample Interval,0\n" + table(HEADER, square()),
        "which cannot be",
    ),
    "interval in volts": ("Sample Interval,5V\n" + table(HEADER, square()), "which cannot be"),
    "statement and times disagree": (
        "Sample Interval,1.002e-5\n" + table(HEADER, square()),
        "disagree",
    ),
    "rate and times disagree": (
        "#Sample rate: 200 kS/s\n" + table(HEADER, square()),
        "disagree",
    ),
    "decimal commas between commas": (
        "Time (s),CH1 (V)\n" + "".join(f"0,{n:05d},1,5\n" for n in range(9)),
        "semicolons",
    ),
}
UNSTATED = {
    "headerless two columns": (table("", square()), "--interval"),
    "headerless one column": ("\n".join(square()), "--interval"),
    "no unit": (table("Time (s),CH1", square()), "--unit"),
    "no unit of time": (table("Time,CH1 (V)", square()), "--interval"),
    "amperes": (table("Time (s),CH1 (A)", square()), "is in A, not in volts"),
    "several channels": ("Time (s),CH1 (V),CH2 (V)\n0,1,2\n1,1,2\n", '"CH1", "CH2"'),
    "no times": ("CH1 (V),CH2 (V)\n1,2\n1,2\n", "--interval"),
}


@pytest.mark.parametrize("name", BAD)
def test_unusable(name: str) -> None:
    text, words = BAD[name]
    problem = refusal(text)
    assert words in str(problem)
    assert not isinstance(problem, UnstatedError)


@pytest.mark.parametrize("name", UNSTATED)
def test_the_user_has_to_state_something(name: str) -> None:
    text, words = UNSTATED[name]
    problem = refusal(text)
    assert words in str(problem)
    assert isinstance(problem, UnstatedError)


@pytest.mark.parametrize(
    "content",
    [
        bytes(range(256)) * 40,
        b"\x89PNG\r\n\x1a\n" + b"\x00\x01" * 500,
        b"\x00" * 5000,
        "0,1\n".encode("utf-16-le") * 50,  # without the mark that says so
    ],
)
def test_not_text(content: bytes) -> None:
    assert "not a text file" in str(refusal(content))


def test_a_text_stream_in_the_wrong_encoding() -> None:
    stream = io.TextIOWrapper(io.BytesIO(b"\xff\xfe\xfa" * 100), encoding="utf-8")
    with pytest.raises(CsvError, match="not a text file"):
        read_capture(stream)


def test_a_channel_that_is_not_there_is_answered_with_those_that_are() -> None:
    text = "Time (s),CH1 (V),CH2 (V)\n0,1,2\n1,1,2\n"
    problem = refusal(text, ReadOptions(channel="CH3"))
    assert "CH3" in str(problem)
    assert '"CH1", "CH2"' in str(problem)


def test_two_voltages_without_header_are_not_taken_for_times() -> None:
    rows = "\n".join(f"{cell},{cell}" for cell in square())
    assert '"1", "2"' in str(refusal(rows, STATED))
    both = read_capture(io.StringIO(rows), ReadOptions("1", 1e-5, unit="V"))
    assert both.channels == ("1", "2")


def test_times_without_header_must_agree_with_the_stated_interval() -> None:
    problem = refusal(table("", square()), ReadOptions(interval_s=2e-5, unit="V"))
    assert "disagree" in str(problem)


@pytest.mark.parametrize("off", [1.0009, 1 / 1.0009])
def test_statement_and_times_may_differ_by_a_thousandth(off: float) -> None:
    text = f"Sample Interval,{1e-5 * off:.9e}\n" + table(HEADER, square())
    assert read_capture(io.StringIO(text)).capture.interval_s == pytest.approx(1e-5 * off)


@pytest.mark.parametrize("interval", [0.0, -1e-5, float("nan"), float("inf")])
def test_impossible_intervals(interval: float) -> None:
    with pytest.raises(UnstatedError, match="interval"):
        ReadOptions(interval_s=interval)


@pytest.mark.parametrize("scale", [0.0, float("nan"), float("inf")])
def test_impossible_scales(scale: float) -> None:
    with pytest.raises(UnstatedError, match="scale"):
        ReadOptions(scale=scale)


def test_an_unknown_unit() -> None:
    problem = refusal("1\n2\n3\n", ReadOptions(interval_s=1.0, unit="furlong"))
    assert "use V or mV" in str(problem)


def test_the_users_interval_replaces_bad_times_with_a_remark() -> None:
    text = table(HEADER, square(), [*TIMES[:30], "0.000350", *TIMES[31:]])
    imported = read_capture(io.StringIO(text), ReadOptions(interval_s=1e-5))
    assert imported.capture.interval_s == 1e-5
    assert any("not evenly spaced" in remark for remark in imported.remarks)


def test_the_users_interval_must_agree_with_good_times() -> None:
    assert "disagree" in str(refusal(table(HEADER, square()), ReadOptions(interval_s=1e-6)))
