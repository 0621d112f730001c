"""Texts in lots that want to be markup, commands of a terminal, or another direction of writing."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from lot_examples import SHEET, order, write_run

from rungbench.archive.record import RunVerdict
from rungbench.archive.store import Archive, open_archive
from rungbench.cli.main import run
from rungbench.lots.admission import Correction
from rungbench.lots.store import Lots

MARKUP = "[bold red]x[/] [link=file:///etc]y[/link] :boom:"
CONTROL = "\x1b]0;title\x07\x1b[2J\r\n\u202eevil\u2066"


@pytest.fixture
def archive(tmp_path: Path) -> Iterator[Archive]:
    sheet = replace(SHEET, maker=MARKUP, serial_pattern=None)
    with open_archive(tmp_path / "a.sqlite", simulated=False) as made:
        lots = Lots(made)
        wanted = replace(order(listed=False), name="[b]L[/b]", supplier=MARKUP, sheet=sheet)
        lot = lots.make(replace(wanted, notes=CONTROL, operator=CONTROL))
        write_run(made, "[i]1[/i]", RunVerdict.BENCH_FAULT, lot=(lot, ""))
        again = write_run(made, "[i]1[/i]", RunVerdict.FAIL, lot=(lot, CONTROL))
        lots.move(lot, again, Correction(None, CONTROL, MARKUP))
        lots.close(lot, CONTROL, CONTROL)
        yield made


@pytest.mark.parametrize("words", [("list",), ("show", "[b]L[/b]"), ("next", "[b]L[/b]")])
def test_nothing_on_the_terminal_is_obeyed(
    archive: Archive, words: tuple[str, ...], capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["lot", *words, "--archive", str(archive.place)]) == 0
    out = capsys.readouterr().out
    assert "[b]L[/b]" in out
    assert [one for one in out if not one.isprintable() and one != "\n"] == []
    if words[0] == "show":
        squeezed = "".join(out.split())
        assert "[boldred]x[/][link=file:///etc]y[/link]:boom:" in squeezed
        assert "\\x1b[2J" in squeezed


def test_json_is_ascii_and_holds_the_texts_as_they_are(
    archive: Archive, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["lot", "show", "[b]L[/b]", "--json", "--archive", str(archive.place)]) == 0
    out = capsys.readouterr().out
    assert out.isascii()
    assert "\\u202eevil" in out
