"""Resistors: tolerances in, levels and probabilities out, and E96 parts for a level."""

from collections.abc import Callable
from typing import Final

from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import (
    QBoxLayout,
    QComboBox,
    QGridLayout,
    QLabel,
    QLineEdit,
    QPushButton,
    QScrollArea,
    QVBoxLayout,
    QWidget,
)

from pilotsignal.errors import CircuitError, PilotSignalError
from pilotsignal.resistors import Spread
from pilotsignal.standard import Profile
from rungbench.desktop.bench_pairs import Title
from rungbench.desktop.bench_table import ReadTable
from rungbench.desktop.errands import Cancel, Errand, Errands
from rungbench.desktop.resistors_model import (
    LADDERS,
    NAMES,
    SPREADS,
    Answered,
    Asked,
    Fields,
    WantedFields,
    chance_rows,
    fit_row,
    fits_for,
    level_rows,
    low_text,
    most_text,
    standard_fields,
    work_out,
)
from rungbench.desktop.resistors_scale import SpreadScale
from rungbench.desktop.run_flow import FlowLayout
from rungbench.desktop.theme import Theme

_DRAWS, _SEED, _PERCENT = "200000", "1", "1"
_TWO_COLUMNS: Final = 1050
_FORM_AND_PICTURE: Final = 560
_LEVEL: Final = "level"
_WHERE: Final = (("low", "low edge of its window"), ("high", "high edge of its window"))
_UNITS: Final = {"high_rail": "V", "low_rail": "V", "diode": "V"}
_ABOUT: Final = (
    "Thin line: worst case of all corners. Bar: 95 % of the draws. Diamond: nominal. Grey: window "
    "of the state; tinted: what a charger may show with a vehicle's standard parts."
)


class ResistorsPage(QScrollArea):
    """The page; everything is worked out on a thread of its own."""

    def __init__(self, theme: Theme, profile: Profile, say: Callable[[str], None]) -> None:
        super().__init__()
        self._theme, self._profile, self._say = theme, profile, say
        self._errands = Errands("resistors", self)
        self._waiting: Cancel | None = None
        self.answered: Answered | None = None
        self.setWidgetResizable(True)
        self.setFrameShape(QScrollArea.Shape.NoFrame)
        inside = QWidget()
        inside.setObjectName("page")
        self.setWidget(inside)
        asked = self._beside = QBoxLayout(QBoxLayout.Direction.LeftToRight)
        asked.setSpacing(theme.px(12))
        asked.addLayout(self._form(), 0)
        asked.addLayout(self._picture(), 1)
        self._columns = QBoxLayout(QBoxLayout.Direction.LeftToRight, inside)
        self._columns.setSpacing(theme.px(12))
        self._columns.addLayout(asked, 4)
        self._columns.addLayout(self._answers(), 5)
        theme.changed.connect(self._reflow)
        self._fill_form("nominal")

    # Widgets ----------------------------------------------------------------------------------

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Answers beside the form, or below where there is not the width for it."""
        super().resizeEvent(event)
        self._reflow()

    def _reflow(self) -> None:
        wide = self.viewport().width() >= self._theme.px(_TWO_COLUMNS)
        direction = QBoxLayout.Direction
        self._columns.setDirection(direction.LeftToRight if wide else direction.TopToBottom)
        both = self.viewport().width() >= self._theme.px(_FORM_AND_PICTURE)
        self._beside.setDirection(direction.LeftToRight if both else direction.TopToBottom)

    def _form(self) -> QVBoxLayout:
        grid = QGridLayout()
        grid.setSpacing(self._theme.px(5))
        self.values: dict[str, QLineEdit] = {}
        self.tolerances: dict[str, QLineEdit] = {}
        self.ladder = QComboBox()
        for name, words in LADDERS:
            self.ladder.addItem(words, name)
        self.ladder.setAccessibleName("Standard parts to begin with")
        self.ladder.activated.connect(self._take_standard)
        for column, words in enumerate(("Part", "Value", "Tolerance ±")):
            head = QLabel(words)
            head.setObjectName("link")
            grid.addWidget(head, 0, column)
        for row, (name, words) in enumerate(NAMES.items(), start=1):
            unit = _UNITS.get(name, "Ω")
            label = QLabel(f"{words}, {unit}")
            value, tolerance = self._field(words), self._field(f"Tolerance of {words}")
            label.setBuddy(value)
            self.values[name], self.tolerances[name] = value, tolerance
            for column, widget in enumerate((label, value, tolerance)):
                grid.addWidget(widget, row, column)
        self.draws, self.seed = self._field("Draws"), self._field("Seed")
        self.draws.setText(_DRAWS)
        self.seed.setText(_SEED)
        self.spread = QComboBox()
        for spread, words in SPREADS:
            self.spread.addItem(words, spread)
        self.spread.setAccessibleName("How parts lie within their limits")
        self.go = QPushButton("&Work out (Enter)")
        self.go.clicked.connect(self.work_out)
        more = QGridLayout()
        more.setSpacing(self._theme.px(5))
        for row, (words, field) in enumerate(
            (("Parts lie", self.spread), ("Draws", self.draws), ("Seed", self.seed))
        ):
            label = QLabel(words)
            label.setBuddy(field)
            more.addWidget(label, row, 0)
            more.addWidget(field, row, 1)
        whole = QVBoxLayout()
        whole.setSpacing(self._theme.px(6))
        whole.addWidget(Title(self._theme, "Charger and vehicle side"))
        whole.addWidget(self.ladder)
        whole.addLayout(grid)
        whole.addSpacing(self._theme.px(6))
        whole.addLayout(more)
        whole.addWidget(self.go)
        whole.addStretch(1)
        return whole

    def _field(self, name: str) -> QLineEdit:
        field = QLineEdit()
        field.setAccessibleName(name)
        field.setMinimumWidth(self._theme.px(60))
        field.setMaximumWidth(self._theme.px(110))
        field.returnPressed.connect(self.work_out)
        return field

    def _picture(self) -> QVBoxLayout:
        self.scale = SpreadScale(self._theme, self._profile)
        about = QLabel(_ABOUT)
        about.setWordWrap(True)
        about.setObjectName("link")
        column = QVBoxLayout()
        column.setSpacing(self._theme.px(6))
        column.addWidget(Title(self._theme, "States and levels"))
        column.addWidget(self.scale, 1)
        column.addWidget(about)
        return column

    def _answers(self) -> QVBoxLayout:
        theme = self._theme
        self.levels = ReadTable(
            theme,
            "Levels",
            ("State", "Nominal V", "Worst case V", "95 % of draws V"),
            3,
            whole=True,
        )
        self.chances = ReadTable(
            theme,
            "Probabilities",
            ("State", "What becomes of it", "Probability (95 %)"),
            1,
            whole=True,
        )
        self.source = QLabel("")
        self.source.setWordWrap(True)
        self.source.setObjectName("link")
        self.low, self.most = QLabel(""), QLabel("")
        for label in (self.low, self.most):
            label.setWordWrap(True)
        self.fits = ReadTable(
            theme,
            "E96 parts",
            ("Parts, Ω", "Together, Ω", "Level V", "Off mV", "Worst case V"),
            0,
            whole=True,
        )
        column = QVBoxLayout()
        column.setSpacing(theme.px(6))
        column.addWidget(Title(theme, "Levels"))
        column.addWidget(self.levels)
        column.addWidget(self.most)
        column.addWidget(self.low)
        column.addSpacing(theme.px(6))
        column.addWidget(Title(theme, "Probabilities"))
        column.addWidget(self.chances)
        column.addWidget(self.source)
        column.addWidget(Title(theme, "E96 parts for a level (IEC 60063)"))
        column.addLayout(self._wanted_row())
        self.needed = QLabel("")
        self.needed.setWordWrap(True)
        column.addWidget(self.needed)
        column.addWidget(self.fits)
        column.addStretch(1)
        return column

    def _wanted_row(self) -> FlowLayout:
        self.state, self.where = QComboBox(), QComboBox()
        self.state.addItems(["B", "C", "D"])
        self.state.setAccessibleName("State for which a level is wanted")
        for where, words in _WHERE:
            self.where.addItem(words, where)
        self.where.addItem("level in V:", _LEVEL)
        self.where.setAccessibleName("Which level is wanted")
        self.level, self.percent = QLineEdit(), QLineEdit(_PERCENT)
        self.level.setAccessibleName("Wanted level in volts")
        self.percent.setAccessibleName("Tolerance of the parts in percent")
        self.seek = QPushButton("&Find parts")
        for field in (self.level, self.percent):
            field.setMaximumWidth(self._theme.px(56))
            field.returnPressed.connect(self.find_parts)
        self.level.textEdited.connect(
            lambda _text: self.where.setCurrentIndex(self.where.findData(_LEVEL))
        )
        self.seek.clicked.connect(self.find_parts)
        parts = QLabel("parts ± %")
        parts.setBuddy(self.percent)
        row = FlowLayout(self._theme.px(6), centred=True)
        for widget in (self.state, self.where, self.level, parts, self.percent, self.seek):
            row.addWidget(widget)
        return row

    # As a page --------------------------------------------------------------------------------

    def shown(self) -> None:
        """Work out once when it is first looked at."""
        if self.answered is None and self._waiting is None:
            self.work_out()

    def close_errands(self) -> None:
        """The program ends."""
        self._errands.close()

    # Working out ------------------------------------------------------------------------------

    def _take_standard(self) -> None:
        self._fill_form(self.ladder.currentData())
        self.work_out()

    def _fill_form(self, ladder: str) -> None:
        try:
            found = standard_fields(self._profile, ladder)
        except PilotSignalError as problem:
            self._say(str(problem))
            return
        for name, typed in found.items():
            self.values[name].setText(typed.value)
            self.tolerances[name].setText(typed.tolerance)

    def _asked(self) -> Asked:
        fields = {
            name: Fields(self.values[name].text(), self.tolerances[name].text()) for name in NAMES
        }
        return Asked(fields, self.draws.text(), self.seed.text(), Spread(self.spread.currentData()))

    def work_out(self) -> None:
        """Levels and probabilities of what stands in the fields."""
        if self._waiting is not None:
            self._waiting.request()
        asked, profile = self._asked(), self._profile
        self.go.setEnabled(False)
        self._waiting = self._errands.start(
            Errand(lambda _cancel: work_out(asked, profile), self._take, self._refuse)
        )

    def _take(self, answered: Answered) -> None:
        self._waiting = None
        self.go.setEnabled(True)
        self.answered = answered
        self._say("")
        self.scale.show_spreads(answered.spreads)
        self.low.setText(low_text(answered))
        self.most.setText(most_text(answered))
        self.levels.fill(list(level_rows(answered)))
        self.chances.fill(list(chance_rows(answered, self._profile)))
        drawing = answered.drawing
        self.source.setText(
            f"{drawing.draws} draws, seed {drawing.seed}; intervals of 95 % after Clopper and "
            f"Pearson. Windows of {self._profile.edition}. {self._profile.confirm}"
        )
        self.find_parts()

    def _refuse(self, sentence: str) -> None:
        self._waiting = None
        self.go.setEnabled(True)
        self.answered = None
        self.scale.show_spreads(())
        for table in (self.levels, self.chances, self.fits):
            table.fill(())
        for label in (self.needed, self.low, self.most, self.source):
            label.setText("")
        self._say(sentence)

    def find_parts(self) -> None:
        """E96 parts for the wanted level, with the parts that were worked out last."""
        if self.answered is None:
            return
        where = self.where.currentData()
        level = self.level.text() if where == _LEVEL else where
        asked = WantedFields(self.state.currentText(), level, self.percent.text())
        try:
            sentence, fits = fits_for(asked, self.answered.parts, self._profile)
        except CircuitError as problem:
            self.fits.fill(())
            self.needed.setText(str(problem))
            return
        self.needed.setText(sentence)
        self.fits.fill([fit_row(fit) for fit in fits])
