"""Texts into lines: no wider than their room, nothing lost, nothing blank."""

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rungbench.report.lines import LONGEST, Style, one_line, wrapped
from rungbench.report.typefaces import BOLD, EASTERN, REGULAR, face_of, needs_codes, runs, spelled

_TEXTS = st.text(st.characters(max_codepoint=0x2FFFF), max_size=120)
_STYLES = st.sampled_from([Style(6.4), Style(8.0, bold=True), Style(22.0)])


@given(_TEXTS, _STYLES, st.floats(60.0, 500.0))
def test_lines_fit_and_keep_every_character(text: str, style: Style, room: float) -> None:
    lines = wrapped(text, room, style)
    assert all(line.width <= room + 1e-6 for line in lines)
    told = "".join(line.text for line in lines)
    assert told.replace(" ", "") == spelled(text).replace(" ", "")


@given(_TEXTS)
def test_whatever_is_printed_leaves_ink(text: str) -> None:
    for one in spelled(text):
        assert one.isprintable()
        assert face_of(one, bold=False)
        assert face_of(one, bold=True)
        assert unicodedata.bidirectional(one) not in ("R", "AL", "RLO", "RLE", "RLI")


@given(_TEXTS)
def test_codes_are_told_from_texts_that_need_none(text: str) -> None:
    composed = unicodedata.normalize("NFC", text)
    assert needs_codes(text) is (spelled(text) != composed)


def test_each_character_is_set_in_the_typeface_that_has_it() -> None:
    assert runs("Завод 示例 A") == ((REGULAR, "Завод "), (EASTERN, "示例"), (REGULAR, " A"))
    assert runs("示A", bold=True) == ((EASTERN, "示"), (BOLD, "A"))


def test_whole_character_sets_are_there() -> None:
    # GB 2312: rows 16 to 87 are its ideographs; ISO 8859-5 holds the letters of Cyrillic.
    chinese = bytes(
        b for row in range(0xB0, 0xF8) for cell in range(0xA1, 0xFF) for b in (row, cell)
    )
    ideographs = chinese.decode("gb2312", "ignore")
    assert len(ideographs) == 6763
    assert [one for one in ideographs if needs_codes(one)] == []
    cyrillic = bytes(range(0xA1, 0x100)).decode("iso8859-5").replace("\xad", "")
    assert [one for one in cyrillic if needs_codes(one)] == []


def test_endless_texts_are_cut_with_their_length() -> None:
    lines = wrapped("a" * 100_000, 200.0, Style(8.0))
    assert sum(len(line.text) for line in lines) < LONGEST + 40
    assert " ".join(line.text for line in lines).endswith("(100000 characters)")


@pytest.mark.parametrize("text", ["", "short", "w" * 300, "中" * 300])
def test_one_line_is_one_line(text: str) -> None:
    line = one_line(text, 100.0, Style(8.0))
    assert line.width <= 100.0
    assert line.text.endswith("…") is (len(text) > 10)
