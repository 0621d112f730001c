"""What people read on the screen: words and no keys, numbers by the locale, curves with signs."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from lot_examples import fill, order
from PySide6.QtCore import QEvent, QLocale, QPoint, Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QComboBox, QLabel, QTableWidget, QWidget
from pytestqt.qtbot import QtBot
from records_examples import fill as fill_records
from test_desktop_layout import theme
from test_desktop_lots import counter
from test_desktop_run import BAD, run_view

from rungbench.archive.search import Search
from rungbench.archive.store import Archive, open_archive
from rungbench.desktop.errands import Cancel
from rungbench.desktop.figures import localised
from rungbench.desktop.records_export import export_fitting, export_ids
from rungbench.desktop.records_facts import component_words
from rungbench.desktop.records_overlay import OverlayPlot
from rungbench.desktop.records_traces import Trace
from rungbench.desktop.snapshots import empty
from rungbench.lots.store import Lots
from rungbench.paths import paths

pytestmark = pytest.mark.qt_log_ignore("propagateSizeHints")


@pytest.fixture
def german() -> Iterator[None]:
    before = QLocale()
    QLocale.setDefault(QLocale(QLocale.Language.German))
    yield
    QLocale.setDefault(before)


@pytest.mark.usefixtures("german")
@pytest.mark.parametrize(
    ("written", "read"),
    [
        (
            "1099.1 ± 3.8 ohm lies outside 970..1030 ohm.",
            "1099,1 ± 3,8 Ω lies outside 970 … 1030 Ω.",
        ),
        ("-0.125 us against 0.5..1.5 us", "-0,125 µs against 0,5 … 1,5 µs"),
        ("IEC 61851-1:2017, A.4.4, Table A.10", "IEC 61851-1:2017, A.4.4, Table A.10"),
        ("version 0.1.0 of 2026-11-25", "version 0.1.0 of 2026-11-25"),
        ("sim://sound?frequency_hz=1007.5", "sim://sound?frequency_hz=1007.5"),
        ("SIM-0.5 stays", "SIM-0,5 stays"),  # a hyphen may be a sign: the price of it
        ("ends at 12.", "ends at 12."),
    ],
)
def test_sentences_follow_the_locale(written: str, read: str) -> None:
    assert localised(written) == read


def test_a_point_stays_where_it_is_the_locales() -> None:
    assert localised("8.98 V in 970..1030 ohm") == "8.98 V in 970 … 1030 Ω"


@pytest.mark.parametrize(
    ("component", "words"),
    [
        ("linearity", "linearity"),
        ("ladder resistor, permanent", "permanent resistor"),
        ("ladder resistor, switched_c_low", "switched resistor of C, low set"),
        ("diode, diode_drop_b", "drop of the diode in B"),
        ("input loading, input_ohm", "load of the measuring path"),
        ("cable code, cable_13", "cable code, cable 13"),
        ("diode, shape of its curve", "diode, shape of its curve"),
    ],
)
def test_components_of_a_budget_are_words(component: str, words: str) -> None:
    assert component_words(component) == words


def all_texts(widget: QWidget) -> Iterator[str]:
    """Everything that stands there to be read."""
    for label in widget.findChildren(QLabel):
        if label.isVisible():
            yield label.text()
    for box in widget.findChildren(QComboBox):
        yield from (box.itemText(row) for row in range(box.count()))
    for table in widget.findChildren(QTableWidget):
        for row in range(table.rowCount()):
            for column in range(table.columnCount()):
                item = table.item(row, column)
                yield "" if item is None else item.text()


@pytest.mark.usefixtures("german")
def test_a_run_and_its_record_are_read_with_the_comma(qtbot: QtBot) -> None:
    """The sentences of the judging, too, which are stored with points."""
    with run_view(qtbot, BAD) as bench:
        bench.arm()
        bench.verdict()
        window = bench.stage.window
        qtbot.wait(50)
        texts = "\n".join(all_texts(bench.page.parts.evidence))
        assert ",1 ± " in texts or ",0 ± " in texts or "± 3," in texts
        assert "Ω lies outside 970 … 1030 Ω" in texts
        told = "\n".join(all_texts(bench.page.parts.verdict))
        assert "Ω lies outside" in told
        assert bench.control.outcome is not None
        record = bench.control.outcome.record
        stored = next(one.why for one in record.checks if one.verdict == "fail")
        assert "." in stored.removesuffix(".")  # the record itself has points
        assert "ohm" in stored
        window.go("Records")
        view = window.view("Records")
        view.open(record.run_id)
        bench.until(lambda: view.detail.opened is not None)
        assert " Ω, 10 % high" in view.detail.findings.toPlainText()


# Lots -------------------------------------------------------------------------------------------


@pytest.fixture
def demo() -> Iterator[Archive]:
    paths().demo_archive.parent.mkdir(parents=True, exist_ok=True)
    with open_archive(paths().demo_archive, simulated=True) as archive:
        yield archive


def test_the_values_of_a_lot_go_by_the_titles_of_their_checks(qtbot: QtBot, demo: Archive) -> None:
    lot = Lots(demo).make(order("T-1"))
    fill(demo, lot, "p" * 13)
    with counter(qtbot) as one:
        one.open("T-1")
        one.part("Values")
        page = one.lot.values
        assert page.words == "Frequency in B"
        assert page.name == "frequency:frequency_hz"  # by which it is asked for
        assert page.table.item(0, 0).text() == "Frequency in B"
        one.part("Supplier")
        texts = list(all_texts(one.view.widget))
        assert any("; Frequency in B" in text for text in texts)
        assert not [text for text in texts if "_" in text or "frequency:" in text]


# Records ----------------------------------------------------------------------------------------


def trace(volts: float) -> Trace:
    import numpy as np

    x = np.linspace(0.0, 1000.0, 100)
    y = np.full(100, volts)
    return Trace("B", x, y, y, y)


def test_compared_curves_carry_their_signs(qtbot: QtBot) -> None:
    plot = OverlayPlot(theme(), signs=True)
    qtbot.addWidget(plot)
    plot.show()
    plot.show_traces((trace(9.0), trace(9.0), trace(8.0)))
    assert plot.signs_shown == ["#1", "#2", "#3"]
    places = [item.pos().x() for item in plot._signs[:3]]
    assert len(set(places)) == 3  # curves alike: their signs stand beside one another
    plot.show_traces((Trace("B", empty(), empty(), empty(), empty()),))
    assert plot.signs_shown == []
    alone = OverlayPlot(theme())
    qtbot.addWidget(alone)
    alone.show_traces((trace(9.0),))
    assert alone.signs_shown == []


def test_the_cursor_reads_out_a_recorded_curve(qtbot: QtBot) -> None:
    plot = OverlayPlot(theme())
    qtbot.addWidget(plot)
    plot.resize(600, 300)
    plot.show()
    plot.show_traces((trace(9.0),))
    curve = plot._plot
    QTest.keyClick(curve, Qt.Key.Key_Right)
    assert plot.read_out.text().endswith(" µs, 9.00 V")
    QTest.mouseMove(curve._plot.viewport(), QPoint(300, 150))
    qtbot.waitUntil(lambda: "9.00 V" not in plot.read_out.text())
    QApplication.sendEvent(curve._plot.viewport(), QEvent(QEvent.Type.Leave))
    assert plot.read_out.text() == ""


def test_all_that_fit_are_streamed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Batch by batch, not one query after another for each record."""
    archived = tmp_path / "a.sqlite"
    fill_records(archived, 60)
    with open_archive(archived, False) as archive:
        ids = [one.run_id for one in reversed(archive.find(Search(limit=100)))]
        for ending in ("csv", "json"):
            export_ids(archive, ids, tmp_path / f"one.{ending}", Cancel())
        monkeypatch.setattr(Archive, "load", lambda *_: pytest.fail("loaded one by one"))
        for ending in ("csv", "json"):
            done = export_fitting(archive, Search(), tmp_path / f"all.{ending}", Cancel())
            assert done.runs == 60
    for ending in ("csv", "json"):
        written = [(tmp_path / f"{name}.{ending}").read_bytes() for name in ("one", "all")]
        assert written[0] == written[1]
