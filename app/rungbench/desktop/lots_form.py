"""A new lot: what it is, and n, Ac, Re, risks and advice before it is made."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from PySide6.QtCore import Qt, QTimer, Signal
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import (
    QComboBox,
    QFileDialog,
    QFormLayout,
    QFrame,
    QHBoxLayout,
    QLabel,
    QLineEdit,
    QPlainTextEdit,
    QScrollArea,
    QSizePolicy,
    QVBoxLayout,
    QWidget,
)

from rungbench.desktop.figures import short
from rungbench.desktop.lots_draft import Draft, Preview, against
from rungbench.desktop.lots_words import asked_text, in_locale
from rungbench.desktop.run_choice import Model, Offer
from rungbench.desktop.run_labels import PlainLabel, button
from rungbench.desktop.theme import Theme
from rungbench.errors import RungbenchError
from rungbench.lots.lot import Lot
from rungbench.lots.sampling import DEFAULT_LEVEL, Severity, acceptance_quality_limits
from rungbench.lots.wording import plan_lines, risk_lines
from rungbench.qualify.sheet import read_sheet

_WAIT_MS: Final = 250  # while somebody types nothing is worked out
_BESIDE: Final = 760  # width of the form with names beside their fields
_USUAL_AQL: Final = 1.5
_ORIGINAL: Final = "no, an original inspection"
_SEVERITIES: Final = (
    ("as the switching rules ask", None),
    ("normal", Severity.NORMAL),
    ("tightened", Severity.TIGHTENED),
)


@dataclass(slots=True)
class _Fields:
    name: QLineEdit
    supplier: QLineEdit
    model: QComboBox
    plan: QComboBox
    profile: QComboBox
    size: QLineEdit
    aql: QComboBox
    level: QComboBox
    severity: QComboBox
    resubmits: QComboBox
    serials: QPlainTextEdit
    seed: QLineEdit
    operator: QLineEdit
    notes: QLineEdit


class LotForm(QWidget):
    """`changed` after somebody typed; `able` tells whether a lot can be made of it."""

    changed = Signal()

    def __init__(self, theme: Theme) -> None:
        super().__init__()
        self._theme = theme
        self._models: tuple[Model, ...] = ()
        self._offer = Offer()
        self.simulated = False
        self.fields = _Fields(
            QLineEdit(), QLineEdit(), QComboBox(), QComboBox(), QComboBox(), QLineEdit(),
            QComboBox(), QComboBox(), QComboBox(), QComboBox(), QPlainTextEdit(), QLineEdit(),
            QLineEdit(), QLineEdit(),
        )  # fmt: skip
        self._mark = PlainLabel(theme, "SIMULATED: a lot of the demo archive.", bold=True)
        self._mark.setObjectName("simulated")
        self.numbers = PlainLabel(theme, size=1.6, bold=True)
        self.preview = PlainLabel(theme)
        self.listed = PlainLabel(theme, size=0.9).colour("faint")
        self.advice = PlainLabel(theme)
        self.trouble = PlainLabel(theme, bold=True).colour("fail")
        self.able = False
        self._timer = QTimer(self)
        self._timer.setSingleShot(True)
        self._timer.setInterval(_WAIT_MS)
        self._timer.timeout.connect(self.changed)
        self._lay_out()
        self._wire()

    # Widgets ------------------------------------------------------------------------------------

    def _lay_out(self) -> None:
        theme, fields = self._theme, self.fields
        self._form = form = QFormLayout()
        form.setFieldGrowthPolicy(QFormLayout.FieldGrowthPolicy.ExpandingFieldsGrow)
        rows: tuple[tuple[str, QWidget], ...] = (
            ("Lot", fields.name),
            ("Supplier", fields.supplier),
            ("Model sheet", fields.model),
            ("Plan", fields.plan),
            ("Limits", fields.profile),
            ("Units delivered", fields.size),
            ("AQL, % nonconforming", fields.aql),
            ("General level", fields.level),
            ("Inspection", fields.severity),
            ("Presented again", fields.resubmits),
            ("Seed", fields.seed),
            ("Operator", fields.operator),
            ("Notes", fields.notes),
        )
        fields.seed.setPlaceholderText("empty: a new one")
        for title, field in rows:
            field.setAccessibleName(title)
            form.addRow(_label(title, field), field)
            if field is fields.model:
                form.addRow("", button("Open a sheet  (Ctrl+O)", self.ask_sheet))
        form.addRow(self._serials())
        inner = QWidget()
        inner.setLayout(form)
        scroll = QScrollArea()
        scroll.setWidget(inner)
        scroll.setWidgetResizable(True)
        scroll.setFrameShape(QFrame.Shape.NoFrame)
        scroll.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        scroll.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        right = QVBoxLayout()
        for label in (self._mark, self.trouble, self.numbers, self.preview, self.advice):
            right.addWidget(label)
        right.addStretch(1)
        texts = QWidget()
        texts.setLayout(right)
        told = QScrollArea()
        told.setWidget(texts)
        told.setWidgetResizable(True)
        told.setFrameShape(QFrame.Shape.NoFrame)
        told.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        columns = QHBoxLayout()
        columns.setSpacing(theme.px(16))
        columns.addWidget(scroll, 1)
        columns.addWidget(told, 1)
        whole = QVBoxLayout(self)
        whole.setContentsMargins(0, 0, 0, 0)
        whole.addWidget(PlainLabel(theme, "A new lot", size=1.4, bold=True))
        whole.addLayout(columns, 1)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Names stand above their fields where there is not the width for both."""
        super().resizeEvent(event)
        policy = QFormLayout.RowWrapPolicy
        wide = event.size().width() >= self._theme.px(_BESIDE)
        self._form.setRowWrapPolicy(policy.WrapLongRows if wide else policy.WrapAllRows)

    def _serials(self) -> QWidget:
        """All serial numbers of the lot: typed, pasted, or from a file."""
        box = QWidget()
        column = QVBoxLayout(box)
        column.setContentsMargins(0, 0, 0, 0)
        title = "Serial numbers of the whole lot, one a line (empty: places are drawn)"
        field = self.fields.serials
        field.setAccessibleName(title)
        field.setTabChangesFocus(True)
        field.setLineWrapMode(QPlainTextEdit.LineWrapMode.NoWrap)
        field.setMinimumHeight(self._theme.px(120))
        row = QHBoxLayout()
        row.addWidget(self.listed, 1)
        row.addWidget(button("From a file  (Ctrl+I)", self.ask_list))
        column.addWidget(PlainLabel(self._theme, title))
        column.addWidget(field, 1)
        column.addLayout(row)
        return box

    def _wire(self) -> None:
        fields = self.fields
        for line in (fields.name, fields.supplier, fields.size, fields.seed, fields.operator):
            line.setMaxLength(200)
            line.textChanged.connect(self._timer.start)
        fields.notes.setMaxLength(1000)
        fields.serials.textChanged.connect(self._timer.start)
        for aql in acceptance_quality_limits():
            fields.aql.addItem(short(aql), aql)
        fields.aql.setCurrentIndex(max(0, fields.aql.findData(_USUAL_AQL)))
        fields.level.addItem(DEFAULT_LEVEL, DEFAULT_LEVEL)
        for title, _ in _SEVERITIES:
            fields.severity.addItem(title)
        for box in (fields.plan, fields.profile, fields.aql, fields.level, fields.severity):
            box.activated.connect(lambda _: self.changed.emit())
        fields.model.activated.connect(lambda _: self._model_chosen())
        fields.resubmits.activated.connect(lambda _: self._resubmit_chosen())
        for box in (fields.model, fields.plan, fields.profile, fields.resubmits):
            box.setSizeAdjustPolicy(
                QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon
            )
            box.setMinimumContentsLength(12)
            box.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)

    # What can be chosen -------------------------------------------------------------------------

    def offer(self, found: Offer, rejected: Sequence[Lot], *, simulated: bool) -> None:
        """What there is to choose from; what was chosen before stays if it is still there."""
        fields, before = self.fields, self.fields.model.currentText()
        self.simulated = simulated
        self._mark.setVisible(simulated)
        self._offer = found
        self._models = tuple(one for one in found.models if one.lot is None)
        _fill(fields.model, [one.title for one in self._models], before)
        _fill(fields.plan, [one.name for one in found.plans], fields.plan.currentText())
        _fill(fields.profile, [one.name for one in found.profiles], fields.profile.currentText())
        chosen = fields.resubmits.currentData()
        fields.resubmits.clear()
        fields.resubmits.addItem(_ORIGINAL, None)
        for lot in rejected:
            fields.resubmits.addItem(lot.name, lot)
        names = [lot.name for lot in rejected]
        if isinstance(chosen, Lot) and chosen.name in names:
            fields.resubmits.setCurrentIndex(1 + names.index(chosen.name))
        self._model_chosen()

    def prefer(self, plan: str, profile: str) -> None:
        """Plan and limits that are usual, unless the sheet names a plan."""
        model = self._model
        if model is None or not model.sheet.plan:
            self.fields.plan.setCurrentText(plan)
        self.fields.profile.setCurrentText(profile)

    def add_model(self, model: Model) -> None:
        """A model sheet from a file or of a lot; it is chosen."""
        self._models = (model, *(one for one in self._models if one.title != model.title))
        _fill(self.fields.model, [one.title for one in self._models], model.title)
        self._model_chosen()

    def present_again(self, lot: Lot) -> None:
        """A rejected lot: the same supplier, sheet and AQL, named as the one before."""
        fields = self.fields
        row = next(
            (
                row
                for row in range(1, fields.resubmits.count())
                if fields.resubmits.itemData(row).name == lot.name
            ),
            0,
        )
        if row == 0:
            fields.resubmits.addItem(lot.name, lot)
            row = fields.resubmits.count() - 1
        fields.resubmits.setCurrentIndex(row)
        self._resubmit_chosen()

    def _model_chosen(self) -> None:
        """The plan of the sheet, if it names one."""
        model = self._model
        if model is not None and model.sheet.plan:
            self.fields.plan.setCurrentText(model.sheet.plan)
        self.changed.emit()

    def _resubmit_chosen(self) -> None:
        lot = self.fields.resubmits.currentData()
        if isinstance(lot, Lot):
            fields = self.fields
            fields.supplier.setText(lot.supplier)
            fields.aql.setCurrentIndex(max(0, fields.aql.findData(lot.plan.aql)))
            fields.size.setText(f"{lot.plan.lot_size}")
            self.add_model(
                Model(f"{lot.sheet.maker} {lot.sheet.model} (lot {lot.name})", lot.sheet)
            )
            fields.plan.setCurrentText(lot.basis.plan)
            fields.profile.setCurrentText(lot.basis.profile.split(" ")[0])
        self.changed.emit()

    @property
    def _model(self) -> Model | None:
        row = self.fields.model.currentIndex()
        return self._models[row] if 0 <= row < len(self._models) else None

    @property
    def draft(self) -> Draft:
        """What stands in the fields."""
        fields = self.fields
        again = fields.resubmits.currentData()
        return Draft(
            name=fields.name.text(),
            supplier=fields.supplier.text(),
            model=self._model,
            plan=self._offer.plan(fields.plan.currentText()),
            profile=self._offer.profile(fields.profile.currentText()),
            size=fields.size.text(),
            aql=float(fields.aql.currentData()),
            level=str(fields.level.currentData()),
            # By its place: Qt gives words of an enumeration back as plain texts.
            severity=_SEVERITIES[fields.severity.currentIndex()][1],
            serials=fields.serials.toPlainText(),
            seed=fields.seed.text(),
            resubmits=again.name if isinstance(again, Lot) else "",
            operator=fields.operator.text().strip(),
            notes=fields.notes.text(),
        )

    # What comes back ----------------------------------------------------------------------------

    def show_preview(self, found: Preview) -> None:
        """n, Ac, Re, risks and advice of what stands in the fields."""
        plan = found.plan
        pairs = (("n", plan.sample_size), ("Ac", plan.accept), ("Re", plan.reject))
        # A space that never breaks keeps each number with its name.
        self.numbers.setText("    ".join(f"{name}\u00a0{number}" for name, number in pairs))
        self.preview.setText(in_locale((*plan_lines(plan), *risk_lines(plan, found.risks))))
        asked = "" if found.advice is None else asked_text(found.advice)
        warning = against(self.draft, found)
        self.advice.setText("\n".join(filter(None, (asked, warning))))
        count = found.listed
        self.listed.setText(f"{count} serial numbers in the list" if count else "")
        self.trouble.setText(found.wanting)
        self.able = not found.wanting

    def refuse(self, sentence: str) -> None:
        """Nothing can be made of what stands in the fields."""
        self.numbers.setText("")
        self.preview.setText("")
        self.advice.setText("")
        self.trouble.setText(sentence)
        self.able = False

    def ask(self, operator: str) -> None:
        """Begin with the first field."""
        if not self.fields.operator.text():
            self.fields.operator.setText(operator)
        self.fields.name.setFocus()
        self.changed.emit()

    def clear(self) -> None:
        """Room for another lot."""
        fields = self.fields
        for line in (fields.name, fields.size, fields.seed, fields.notes):
            line.clear()
        fields.serials.clear()
        fields.resubmits.setCurrentIndex(0)
        fields.severity.setCurrentIndex(0)

    # Files --------------------------------------------------------------------------------------

    def ask_sheet(self) -> None:
        """Ask for a model sheet."""
        file, _ = QFileDialog.getOpenFileName(
            self, "Open a model sheet", "", "Model sheets (*.toml)"
        )
        if file:
            self.take_sheet(file)

    def take_sheet(self, file: str) -> None:
        """A model sheet from a file; what is wrong with it is told in place."""
        try:
            self.add_model(Model(Path(file).stem, read_sheet(Path(file))))
        except RungbenchError as problem:
            self.trouble.setText(str(problem))

    def ask_list(self) -> None:
        """Ask for a list of serial numbers."""
        file, _ = QFileDialog.getOpenFileName(self, "List of serial numbers", "", "Text (*.txt *)")
        if file:
            self.take_list(file)

    def take_list(self, file: str) -> None:
        """A list of serial numbers from a file into the field."""
        try:
            text = Path(file).read_text(encoding="utf-8-sig")
        except UnicodeDecodeError:
            self.trouble.setText(f"The list {file} is no UTF-8 text; save it as such.")
            return
        except OSError as problem:
            self.trouble.setText(
                f"The list {file} cannot be read ({problem.strerror}); check the path."
            )
            return
        self.fields.serials.setPlainText(text.replace("\x00", "�"))


def _label(title: str, field: QWidget) -> QLabel:
    label = QLabel(title)
    label.setBuddy(field)
    return label


def _fill(box: QComboBox, names: Sequence[str], chosen: str) -> None:
    box.clear()
    box.addItems(list(names))
    box.setCurrentIndex(names.index(chosen) if chosen in names else 0 if names else -1)
