"""Board: benches to choose from, who the board is, how it is, and the parts of the stand-in."""

from collections.abc import Callable
from typing import Final

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QKeySequence, QResizeEvent
from PySide6.QtWidgets import (
    QBoxLayout,
    QHBoxLayout,
    QLabel,
    QLineEdit,
    QPushButton,
    QScrollArea,
    QVBoxLayout,
    QWidget,
)

from rungbench.desktop.bench_model import (
    Places,
    added,
    health_lines,
    identity_lines,
    in_real_time,
    loss_lines,
    part_rows,
)
from rungbench.desktop.bench_pairs import Pairs, Title
from rungbench.desktop.bench_table import ReadTable
from rungbench.desktop.figures import short, unit_text, with_uncertainty
from rungbench.desktop.snapshots import LinkState, Snapshot
from rungbench.desktop.theme import Theme
from rungbench.standin.calibration import BenchCalibration
from rungbench.standin.record import Losses

_COVERAGE: Final = 2.0  # of the standard uncertainties that records state
_BESIDE: Final = 860
_LEAST: Final = 150  # height of a table where all stand below one another
_NOTHING_OPEN: Final = "No port is opened or written to before you choose it."


class BoardPage(QWidget):
    """`choose` takes an address; `look` finds the places and is called again by F5."""

    chosen = Signal(str)
    leave = Signal()

    def __init__(self, theme: Theme, look: Callable[[], Places]) -> None:
        super().__init__()
        self._theme, self._look = theme, look
        self._places = Places(())
        self._losses = Losses()
        self._stretches = 0
        self._build()

    def _build(self) -> None:
        theme = self._theme
        self.places = ReadTable(theme, "Benches", ("Address", "What it is"), 1)
        self.places.itemActivated.connect(lambda item: self._take(item.row()))
        self.remark = QLabel(_NOTHING_OPEN)
        self.remark.setWordWrap(True)
        self.address = QLineEdit()
        self.address.setPlaceholderText("sim://sound?… or /dev/ttyUSB0")
        self.address.setAccessibleName("Address of a bench")
        self.address.returnPressed.connect(self._take_address)
        label = QLabel("Other &address")
        label.setBuddy(self.address)
        self.use = QPushButton("&Use this bench")
        self.use.clicked.connect(self._take_shown)
        self.again = QPushButton("&Look again (F5)")
        self.again.setShortcut(QKeySequence("F5"))
        self.again.clicked.connect(self.look_again)
        self.free = QPushButton("&Give the bench back")
        self.free.setToolTip("Back to open, then the port is closed.")
        self.free.clicked.connect(self.leave)
        typed, deeds = QHBoxLayout(), QHBoxLayout()
        for row in (typed, deeds):
            row.setSpacing(theme.px(8))
        typed.addWidget(label)
        typed.addWidget(self.address, 1)
        for button in (self.use, self.again, self.free):
            deeds.addWidget(button)
        deeds.addStretch(1)
        left = QVBoxLayout()
        left.setSpacing(theme.px(6))
        left.addWidget(Title(theme, "Benches"))
        left.addWidget(self.remark)
        left.addWidget(self.places, 3)
        left.addLayout(typed)
        left.addLayout(deeds)
        left.addSpacing(theme.px(8))
        left.addWidget(Title(theme, "Parts of the stand-in"))
        columns = ("Part", "Ladder set", "By design", "As calibrated (95 %)")
        self.parts = ReadTable(theme, "Parts of the stand-in", columns, 0)
        self.no_parts = QLabel("")
        self.no_parts.setWordWrap(True)
        left.addWidget(self.no_parts)
        left.addWidget(self.parts, 4)
        self._halves = QBoxLayout(QBoxLayout.Direction.LeftToRight, self)
        self._halves.setSpacing(theme.px(20))
        self._halves.addLayout(left, 3)
        self._halves.addWidget(self._right(), 2)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """What the board says stands beside the benches, or below where there is no width."""
        super().resizeEvent(event)
        direction = QBoxLayout.Direction
        wide = event.size().width() >= self._theme.px(_BESIDE)
        self._halves.setDirection(direction.LeftToRight if wide else direction.TopToBottom)
        for table in (self.places, self.parts):
            table.setMinimumHeight(0 if wide else self._theme.px(_LEAST))
        self._scroll.setMinimumHeight(0 if wide else self._inside.sizeHint().height())

    def _right(self) -> QWidget:
        theme = self._theme
        self.identity = Pairs(theme, "Board")
        self.health = Pairs(theme, "Health")
        self.losses = Pairs(theme, "Link")
        inside = self._inside = QWidget()
        inside.setObjectName("page")
        column = QVBoxLayout(inside)
        column.setSpacing(theme.px(6))
        self.state = QLabel("No bench is connected.")
        self.state.setWordWrap(True)
        self.state.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        column.addWidget(self.state)
        for pairs in (self.health, self.losses, self.identity):
            column.addWidget(pairs)
            column.addSpacing(theme.px(8))
        column.addStretch(1)
        scroll = self._scroll = QScrollArea()
        scroll.setWidgetResizable(True)
        scroll.setFrameShape(QScrollArea.Shape.NoFrame)
        scroll.setWidget(inside)
        scroll.setAccessibleName("Board, health and link")
        return scroll

    # Choosing ---------------------------------------------------------------------------------

    def look_again(self) -> None:
        """List the ports anew; none is opened."""
        self._places = self._look()
        self.places.fill([(place.url, place.text) for place in self._places.places])
        self.remark.setText(" ".join((*self._places.remarks, _NOTHING_OPEN)))

    def _take(self, row: int) -> None:
        if 0 <= row < len(self._places.places):
            self.chosen.emit(in_real_time(self._places.places[row].url))

    def _take_address(self) -> None:
        url = self.address.text().strip()
        if url:
            self.chosen.emit(in_real_time(url))

    def _take_shown(self) -> None:
        if self.address.text().strip():
            self._take_address()
        else:
            self._take(self.places.currentRow())

    # What is there ----------------------------------------------------------------------------

    def show_link(self, link: LinkState) -> None:
        """Another board, or none."""
        self._losses, self._stretches = Losses(), 0
        self.free.setEnabled(bool(link.url))
        there = link.identity is not None
        self.state.setText(
            f"Connected: {link.url}" if there else link.sentence or "No bench is connected."
        )
        self.identity.show_lines(identity_lines(link.identity) if link.identity else ())
        self.losses.show_lines(())
        self.health.show_lines(())
        for pairs in (self.identity, self.losses, self.health):
            pairs.setVisible(there)
        self._show_parts(link)

    def show_snapshot(self, snapshot: Snapshot, *, draw: bool) -> None:
        """How the board is; losses are counted also while nothing is drawn."""
        if snapshot.sampled is not None:
            self._losses = added(self._losses, snapshot.sampled.losses)
            self._stretches += 1
        if not draw or snapshot.health is None:
            return
        self.health.show_lines(health_lines(snapshot.health))
        heard = ("Stretches looked at", str(self._stretches))
        self.losses.show_lines((heard, *loss_lines(self._losses)))

    def _show_parts(self, link: LinkState) -> None:
        calibration = link.calibration
        if link.identity is None or calibration is None:
            self.parts.fill(())
            self.no_parts.setText("Parts are shown when a bench is connected.")
            return
        rows = []
        for row in part_rows(link.identity, calibration):
            design = "" if row.design is None else f"{short(row.design)} {unit_text(row.unit)}"
            known = "not calibrated"
            if row.known is not None:
                known = with_uncertainty(row.known.value, _COVERAGE * row.known.u, row.unit)
            rows.append((row.name, row.ladder, design, known))
        self.parts.fill(rows)
        self.no_parts.setText(_whence(calibration))


def _whence(calibration: BenchCalibration) -> str:
    """Where the values come from, or why there are none."""
    doubt = calibration.doubts.get("parts")
    if doubt:
        return doubt
    if not calibration.parts:
        return "This board's parts were not calibrated: what is shown is the design."
    for record in calibration.records:
        if record["part"] == "parts":
            return f"Values of {record['id']}, by {record['by']}, until {record['valid_until']}."
    return f"Values of {calibration.id}."
