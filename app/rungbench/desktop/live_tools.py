"""The row of tools over the live view, and the row for what an opened file does not say."""

from dataclasses import dataclass
from typing import Any, Final

from PySide6.QtCore import QSize, Qt, Signal
from PySide6.QtGui import QKeySequence
from PySide6.QtWidgets import (
    QBoxLayout,
    QCheckBox,
    QComboBox,
    QGridLayout,
    QHBoxLayout,
    QLabel,
    QLineEdit,
    QPushButton,
    QWidget,
)

from pilotsignal.csv_import import ReadOptions
from pilotsignal.csv_units import Unit, parse_amount
from rungbench.desktop.notes import SIMULATED
from rungbench.desktop.scale_model import Extras
from rungbench.desktop.theme import Theme
from rungbench.errors import WrongUse
from rungbench.link.messages import Identity
from rungbench.link.words import CableCode, Mode
from rungbench.qualify.amounts import current_of

_FREEZE_KEY: Final = "F8"
_MODES: Final = ((Mode.STREAM10, "fine in voltage"), (Mode.STREAM8, "fine in time"))
_CABLES: Final = (
    (CableCode.OPEN, "no cable code"),
    (CableCode.A13, "13 A cable"),
    (CableCode.A20, "20 A cable"),
    (CableCode.A32, "32 A cable"),
    (CableCode.A63, "63 A cable"),
    (CableCode.SHORT, "cable code shorted"),
)


class LiveTools(QWidget):
    """Signals only; `LiveView` does what they say."""

    frozen = Signal(bool)
    save = Signal()
    picture = Signal()
    open_file = Signal()
    mode = Signal(object)
    set_current = Signal(object)
    refused = Signal(str)

    def __init__(self, theme: Theme) -> None:
        super().__init__()
        self._freeze = _button("Freeze", _FREEZE_KEY, "Keep what is drawn; the bench goes on.")
        self._freeze.setCheckable(True)
        save = _button("Save data…", "Ctrl+S", "Write the measured stretch as CSV.")
        picture = _button("Picture…", "Ctrl+P", "Write the view as SVG or PNG.")
        file = _button("Open file…", "Ctrl+O", "Show a recorded pilot from a CSV file.")
        self._mode = QComboBox()
        for mode, text in _MODES:
            self._mode.addItem(text, mode)
        self._mode.setAccessibleName("Sampling")
        self._mode.setToolTip("10 bits at 19 kS/s, or 8 bits at 77 kS/s")
        self._current = QLineEdit()
        self._current.setAccessibleName("Current that the charger is set to, in ampere")
        self._current.setPlaceholderText("not stated")
        label = QLabel("Charger set to, A")
        label.setBuddy(self._current)
        deeds, wishes = QHBoxLayout(), QHBoxLayout()
        for button in (self._freeze, save, picture, file):
            deeds.addWidget(button)
        deeds.addStretch(1)
        for wish in (QLabel("Sampling"), self._mode, label, self._current):
            wishes.addWidget(wish)
        wishes.addStretch(1)
        self._rows = QBoxLayout(QBoxLayout.Direction.LeftToRight, self)
        self._rows.setContentsMargins(0, 0, 0, 0)
        self._rows.addLayout(deeds, 1)
        self._rows.addLayout(wishes)
        self._freeze.toggled.connect(self._on_freeze)
        save.clicked.connect(self.save)
        picture.clicked.connect(self.picture)
        file.clicked.connect(self.open_file)
        self._mode.activated.connect(lambda _place: self.mode.emit(self._mode.currentData()))
        self._current.editingFinished.connect(self._state_current)
        theme.changed.connect(lambda: self._resize(theme))
        self._resize(theme)

    def reflow(self, *, wide: bool) -> None:
        """One row, or two where there is not the width for one."""
        direction = QBoxLayout.Direction
        self._rows.setDirection(direction.LeftToRight if wide else direction.TopToBottom)

    def show_mode(self, mode: Mode) -> None:
        """The mode that the bench samples in."""
        place = self._mode.findData(mode)
        if place >= 0 and place != self._mode.currentIndex():
            self._mode.setCurrentIndex(place)

    def unfreeze(self) -> None:
        """Go on drawing."""
        self._freeze.setChecked(False)

    def _on_freeze(self, frozen: bool) -> None:
        """The button says what it would do now."""
        self._freeze.setText("Live again" if frozen else "Freeze")
        self._freeze.setShortcut(QKeySequence(_FREEZE_KEY))  # another text takes it away
        self.frozen.emit(frozen)

    def _state_current(self) -> None:
        text = self._current.text().strip()
        try:
            value = current_of(text, self._current.locale().decimalPoint()) if text else None
        except WrongUse as problem:
            self.refused.emit(str(problem))
            return
        self.set_current.emit(value)

    def _resize(self, theme: Theme) -> None:
        self._current.setMaximumWidth(theme.px(90))


class ExtrasRow(QWidget):
    """Diode, PE return and cable code, below the scale."""

    changed = Signal(object)

    def __init__(self) -> None:
        super().__init__()
        self._diode = QCheckBox("diode bypassed")
        self._pe = QCheckBox("PE return open")
        self._cable = QComboBox()
        for code, text in _CABLES:
            self._cable.addItem(text, code)
        self._cable.setAccessibleName("Cable code")
        row = QHBoxLayout(self)
        row.setContentsMargins(0, 0, 0, 0)
        for one in (self._diode, self._pe):
            row.addWidget(one)
            one.toggled.connect(lambda _on: self.changed.emit(self.extras))
        row.addWidget(self._cable, 1)
        self._cable.activated.connect(lambda _place: self.changed.emit(self.extras))

    @property
    def extras(self) -> Extras:
        """What is ticked."""
        cable = self._cable.currentData()
        return Extras(not self._diode.isChecked(), not self._pe.isChecked(), CableCode(cable))

    def show_board(self, identity: Identity | None) -> None:
        """Offer what the board has parts for."""
        self._diode.setEnabled(identity is None or identity.can_bypass_diode)
        self._pe.setEnabled(identity is None or identity.can_open_pe)
        self._cable.setEnabled(identity is None or len(identity.cable_codes) > 1)


@dataclass(frozen=True, slots=True)
class _Field:
    key: str
    title: str
    example: str
    dimension: str = ""


_FIELDS: Final = (
    _Field("channel", "Channel", "as in the file"),
    _Field("interval_s", "Interval", "10us", "s"),
    _Field("unit", "Unit", "V"),
    _Field("gain_uncertainty", "u of gain", "0.3 %", "%"),
    _Field("offset_uncertainty", "u at 0 V", "20 mV", "V"),
)


class FileRow(QWidget):
    """The file that is shown, and what the user states about it."""

    again = Signal()
    back = Signal()

    def __init__(self, theme: Theme) -> None:
        super().__init__()
        self._theme = theme
        self.simulated = QLabel(SIMULATED)
        self.simulated.setObjectName("simulated")
        self.simulated.hide()
        self._name = QLabel("")
        self._name.setObjectName("file")
        self._edits = {field.key: QLineEdit() for field in _FIELDS}
        self._labels = {field.key: QLabel(field.title) for field in _FIELDS}
        for field in _FIELDS:
            edit = self._edits[field.key]
            edit.setPlaceholderText(field.example)
            edit.setAccessibleName(field.title)
            edit.returnPressed.connect(self.again)
        again, back = QPushButton("Read again"), QPushButton("Back to live")
        again.clicked.connect(self.again)
        back.clicked.connect(self.back)
        self._head = QHBoxLayout()
        for one in (self.simulated, self._name, again, back):
            self._head.addWidget(one)
        self._head.insertStretch(2, 1)
        self._grid = QGridLayout(self)
        self._grid.setContentsMargins(0, 0, 0, 0)
        self.reflow(wide=True)
        self.hide()

    def reflow(self, *, wide: bool) -> None:
        """All fields in one row, or two in each where there is not the width."""
        each = len(_FIELDS) if wide else 2
        self._grid.removeItem(self._head)
        self._grid.addLayout(self._head, 0, 0, 1, 2 * each)
        for number, field in enumerate(_FIELDS):
            row, column = 1 + number // each, 2 * (number % each)
            self._grid.addWidget(self._labels[field.key], row, column)
            self._grid.addWidget(self._edits[field.key], row, column + 1)
            self._edits[field.key].setMinimumWidth(self._theme.px(60))

    def show_file(self, name: str) -> None:
        """This file is shown, or could not be read."""
        metrics = self._name.fontMetrics()
        room = metrics.averageCharWidth() * 40
        self._name.setText(metrics.elidedText(name, Qt.TextElideMode.ElideMiddle, room))
        self._name.setToolTip(name)
        self.show()

    def options(self, origin: str) -> ReadOptions:
        """What is stated.

        Raises
        ------
        WrongUse : a field that is no amount of its kind.
        UnstatedError : an amount that cannot be.
        """
        values = {field.key: self._value(field) for field in _FIELDS}
        stated: dict[str, Any] = {key: one for key, one in values.items() if one is not None}
        return ReadOptions(origin=origin, **stated)

    def _value(self, field: _Field) -> str | float | None:
        text = self._edits[field.key].text().strip()
        if not text:
            return None
        if not field.dimension:
            return text
        text = text.replace(",", ".")
        if field.dimension == "%":
            return _share(text, field.title)
        amount = parse_amount(text)
        if amount is None or (amount[1] is not None and amount[1].dimension != field.dimension):
            raise WrongUse(f"{field.title}: {text!r} is not like {field.example}; correct it.")
        return amount[0] * (amount[1] or Unit(field.dimension, 1.0)).factor


def _share(text: str, title: str) -> float:
    try:
        value = float(text.removesuffix("%")) * (0.01 if text.endswith("%") else 1.0)
    except ValueError:
        value = -1.0
    if not 0.0 <= value < 1.0:
        raise WrongUse(f"{title}: {text!r} is not a share such as 0.3 %; correct it.")
    return value


def _button(text: str, keys: str, tip: str) -> QPushButton:
    button = QPushButton(text)
    button.setShortcut(QKeySequence(keys))
    button.setToolTip(f"{tip} ({keys})")
    button.setAutoDefault(False)
    button.setMinimumSize(QSize(0, 0))
    return button
