"""The page of options: only those are shown that the plan has a use for."""

from typing import Final

from PySide6.QtCore import QLocale, Signal
from PySide6.QtWidgets import (
    QCheckBox,
    QComboBox,
    QFormLayout,
    QFrame,
    QHBoxLayout,
    QLabel,
    QLineEdit,
    QWidget,
)

from rungbench.desktop.figures import short
from rungbench.desktop.run_choice import Choice
from rungbench.desktop.run_labels import PlainLabel, button
from rungbench.desktop.run_options import ANSWERS_TO_D, Options, options_from, span_text, used_by
from rungbench.desktop.theme import Theme
from rungbench.errors import RungbenchError
from rungbench.qualify.desk import Ask

_TEXTS: Final = (
    ("set_current", "The charger is set to, A", "as the model sheet says"),
    ("currents", "Currents to set one after another, A", "as the plan says: 6; 10; 16"),
    ("length", "Length of the long stay", "as the plan says: 90s, 30m, 2h"),
)
_D_WORDS: Final = ("nothing is declared", "it allows D", "it refuses D")
_CANNOT: Final = "Nobody can do this with the charger; checks that need it are left out:"


class OptionsForm(QFrame):
    """`done` with the options, or `left`; what it refuses is told in place.

    `by_hand` tells whether people answer the questions of a simulated bench.
    """

    done = Signal(object)
    left = Signal()
    by_hand = Signal(bool)

    def __init__(self, theme: Theme) -> None:
        super().__init__()
        self.setObjectName("page")
        self._choice: Choice | None = None
        self.texts = {key: QLineEdit() for key, _, _ in _TEXTS}
        self.ventilation = QComboBox()
        self.ventilation.addItems(_D_WORDS)
        self.asks = {ask: QCheckBox(ask.value) for ask in Ask}
        self.hands = QCheckBox("Answer the questions of the simulated bench by hand")
        self._labels: dict[QWidget, QLabel] = {}
        self._form = form = QFormLayout(self)
        form.setRowWrapPolicy(QFormLayout.RowWrapPolicy.WrapLongRows)
        form.addRow(PlainLabel(theme, "Options of the runs to come", size=1.4, bold=True))
        for key, title, example in _TEXTS:
            self.texts[key].setPlaceholderText(example)
            self._row(title, self.texts[key])
        self._row("When ventilation is asked for", self.ventilation)
        self._cannot = PlainLabel(theme, _CANNOT)
        form.addRow(self._cannot)
        for box in (*self.asks.values(), self.hands):
            form.addRow(box)
        self._trouble = PlainLabel(theme).colour("fail")
        form.addRow(self._trouble)
        row = QHBoxLayout()
        row.addWidget(button("Use it  (F5)", self.use))
        row.addWidget(button("Back  (Alt+Left)", self.left.emit))
        row.addStretch(1)
        form.addRow(row)

    @property
    def trouble(self) -> str:
        """What was refused, or nothing."""
        return self._trouble.text()

    def _row(self, title: str, field: QWidget) -> None:
        field.setAccessibleName(title)
        self._labels[field] = QLabel(title)
        self._form.addRow(self._labels[field], field)

    def ask(self, choice: Choice, *, simulated: bool, by_hand: bool) -> None:
        """Show what is stated for a choice, and what its plan has a use for."""
        self._choice, options, used = choice, choice.options, used_by(choice.plan)
        current = options.set_current_a
        self.texts["set_current"].setText("" if current is None else short(current))
        self.texts["currents"].setText("; ".join(short(one) for one in options.amperes))
        self.texts["length"].setText(span_text(options.length_s))
        self.ventilation.setCurrentIndex(ANSWERS_TO_D.index(options.ventilation))
        for field, shown in (
            (self.texts["currents"], used.currents),
            (self.texts["length"], used.length),
            (self.ventilation, used.ventilation),
        ):
            field.setVisible(shown)
            self._labels[field].setVisible(shown)
        declared = choice.model.sheet.cannot or ()
        self._cannot.setVisible(bool(used.asks))
        for ask, box in self.asks.items():
            box.setVisible(ask in used.asks)
            box.setEnabled(ask.value not in declared)
            box.setChecked(ask in options.cannot or ask.value in declared)
        self.hands.setVisible(simulated and bool(used.asks))
        self.hands.setChecked(by_hand)
        self._trouble.setText("")
        self.texts["set_current"].setFocus()

    def use(self) -> None:
        """Take what was stated, or say what is wrong with it."""
        if self._choice is None:
            return
        given = {key: field.text() for key, field in self.texts.items()}
        given["ventilation"] = ANSWERS_TO_D[self.ventilation.currentIndex()]
        declared = self._choice.model.sheet.cannot or ()
        cannot = frozenset(
            ask for ask, box in self.asks.items() if box.isChecked() and ask.value not in declared
        )
        try:
            options: Options = options_from(
                given, cannot, self._choice.plan, QLocale().decimalPoint()
            )
        except RungbenchError as problem:
            self._trouble.setText(str(problem))
            return
        self.by_hand.emit(self.hands.isChecked())
        self.done.emit(options)
