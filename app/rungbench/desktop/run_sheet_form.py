"""A model sheet typed by hand, and kept as a file if that is wanted."""

from dataclasses import dataclass
from pathlib import Path
from typing import Final

from PySide6.QtCore import QLocale, Signal
from PySide6.QtWidgets import QCheckBox, QComboBox, QFormLayout, QFrame, QHBoxLayout, QLineEdit

from rungbench.desktop.run_choice import Model
from rungbench.desktop.run_labels import PlainLabel, button
from rungbench.desktop.run_sheet_file import sheet_from, write_sheet
from rungbench.desktop.theme import Theme
from rungbench.errors import RungbenchError

_TEXTS: Final = (
    ("maker", "Maker"),
    ("model", "Model"),
    ("rated_current_a", "Rated current, A"),
    ("set_current_a", "Set current, A (empty: as rated)"),
    ("serial_pattern", "Pattern of serial numbers"),
    ("barcode_prefix", "Barcodes begin with"),
    ("notes", "Notes"),
)


@dataclass(slots=True)
class _Fields:
    texts: dict[str, QLineEdit]
    phases: QComboBox
    outlet: QComboBox
    keep: QCheckBox


class SheetForm(QFrame):
    """`done` with the model, or `left`; everything it refuses is told in place."""

    done = Signal(object)
    left = Signal()

    def __init__(self, theme: Theme, folder: Path) -> None:
        super().__init__()
        self.setObjectName("page")
        self._folder = folder
        texts = {key: QLineEdit() for key, _ in _TEXTS}
        self._fields = _Fields(texts, QComboBox(), QComboBox(), QCheckBox())
        form = QFormLayout(self)
        form.addRow(PlainLabel(theme, "Describe a charger", size=1.4, bold=True))
        for key, title in _TEXTS:
            texts[key].setAccessibleName(title)
            form.addRow(title, texts[key])
        self._fields.phases.addItems(["3", "1"])
        self._fields.outlet.addItems(["cable", "socket"])
        form.addRow("Phases", self._fields.phases)
        form.addRow("Outlet", self._fields.outlet)
        self._fields.keep.setText("Keep it as a model sheet for later")
        form.addRow(self._fields.keep)
        self._trouble = PlainLabel(theme).colour("fail")
        form.addRow(self._trouble)
        row = QHBoxLayout()
        row.addWidget(button("Use it  (F5)", self.use))
        row.addWidget(button("Back  (Alt+Left)", self.left.emit))
        row.addStretch(1)
        form.addRow(row)

    def ask(self) -> None:
        """Begin with the first field."""
        self._trouble.setText("")
        self._fields.texts["maker"].setFocus()

    def use(self) -> None:
        """Take what was typed, or say what is wrong with it."""
        given = {key: field.text() for key, field in self._fields.texts.items()}
        given["phases"] = self._fields.phases.currentText()
        given["outlet"] = self._fields.outlet.currentText()
        try:
            sheet = sheet_from(given, QLocale().decimalPoint())
            title = f"{sheet.maker} {sheet.model}"
            if self._fields.keep.isChecked():
                title = write_sheet(sheet, self._folder).stem
        except RungbenchError as problem:
            self._trouble.setText(str(problem))
            return
        self.done.emit(Model(title, sheet))
