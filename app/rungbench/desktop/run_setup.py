"""What the next run is of: serial number, model sheet, plan, profile, operator, in one band."""

from collections.abc import Sequence
from pathlib import Path
from typing import Final

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import (
    QBoxLayout,
    QComboBox,
    QFileDialog,
    QGridLayout,
    QPushButton,
    QSizePolicy,
    QWidget,
)

from rungbench.desktop.figures import short
from rungbench.desktop.run_choice import Choice, Model
from rungbench.desktop.run_control import Phase, RunControl
from rungbench.desktop.run_fields import CalmBox, SerialEdit
from rungbench.desktop.run_flow import FlowLayout
from rungbench.desktop.run_keys import labelled
from rungbench.desktop.run_labels import PlainLabel, button
from rungbench.errors import RungbenchError
from rungbench.qualify.sheet import read_sheet

_BY_HAND: Final = "Describe a charger …"
_FILE: Final = "Open a model sheet …"
_ONE_ROW: Final = 860
# Row of the label, column, columns taken: serial number, sheet, plan, limits, operator.
_WIDE: Final = ((0, 0, 1), (0, 1, 1), (0, 2, 1), (0, 3, 1), (0, 4, 1))
_NARROW: Final = ((0, 0, 2), (2, 0, 1), (2, 1, 1), (2, 2, 1), (0, 2, 1))
_STRETCH: Final = (3, 1, 1, 1, 1)


class SetupBand(QWidget):
    """Shows what `control` holds.

    `describe` asks for the form of a model sheet, `state` for the page of options.
    """

    describe = Signal()
    state = Signal()

    def __init__(self, control: RunControl) -> None:
        super().__init__()
        self._control, self._theme = control, control.room.theme
        self.serial = SerialEdit(self._theme, size=1.5)
        self.serial.scanned.connect(control.scan)
        self.model, self.plan = _box("Model", 15), _box("Plan", 9)
        self.profile = _box("Profile", 15)
        self.operator = QPushButton()
        self._about = PlainLabel(self._theme).colour("faint")
        self.options = button(labelled("options"), self.state.emit)
        self.start = button("Arm and start  (Ctrl+F9)", lambda: control.start(armed=True))
        self.bare = button("Start without arming  (Ctrl+F8)", lambda: control.start(armed=False))
        self.model.activated.connect(self._on_model)
        self.plan.activated.connect(lambda row: control.choose_plan(self.plan.itemData(row)))
        self.profile.activated.connect(
            lambda row: control.choose_profile(self.profile.itemData(row))
        )
        self._lay_out()
        control.changed.connect(self.refresh)

    def _lay_out(self) -> None:
        self._grid = QGridLayout(self)
        self._grid.setContentsMargins(0, 0, 0, 0)
        self._fields: tuple[tuple[PlainLabel, QWidget], ...] = tuple(
            (PlainLabel(self._theme, title, size=0.9).colour("faint"), field)
            for title, field in (
                ("Serial number", self.serial),
                ("Model sheet", self.model),
                ("Plan", self.plan),
                ("Limits", self.profile),
                ("Operator  (F4)", self.operator),
            )
        )
        for label, _ in self._fields:
            label.setWordWrap(False)
        deeds = FlowLayout(self._theme.px(6))
        for deed in (self.options, self.bare, self.start):
            deeds.addWidget(deed)
        self._deeds = QWidget()
        self._deeds.setLayout(deeds)
        self._foot = QBoxLayout(QBoxLayout.Direction.LeftToRight)
        self._foot.addWidget(self._about, 1)
        self._foot.addWidget(self._deeds)
        self._grid.addLayout(self._foot, 4, 0, 1, len(self._fields))
        self.operator.setAccessibleName("Operator")
        self.start.setObjectName("arm and start")
        self._place(wide=True)

    @property
    def about(self) -> str:
        """The charger, the plan, and what was stated beside them."""
        return self._about.text()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """All fields in one row, or in two where there is not the width for one."""
        super().resizeEvent(event)
        wide = event.size().width() >= self._theme.px(_ONE_ROW)
        if wide != self._wide:
            self._place(wide=wide)

    def _place(self, *, wide: bool) -> None:
        self._wide, grid = wide, self._grid
        for label, field in self._fields:
            for part in (label, field):
                grid.removeWidget(part)
        places = _WIDE if wide else _NARROW
        for (label, field), (row, column, span) in zip(self._fields, places, strict=True):
            grid.addWidget(label, row, column, 1, span)
            grid.addWidget(field, row + 1, column, 1, span)
        for column in range(5):
            grid.setColumnStretch(column, _STRETCH[column] if wide else int(column < 3))
        direction = QBoxLayout.Direction
        self._foot.setDirection(direction.LeftToRight if wide else direction.TopToBottom)
        policy = QSizePolicy.Policy
        self._deeds.setSizePolicy(policy.Minimum if wide else policy.Preferred, policy.Preferred)

    def refresh(self) -> None:
        """Show what is chosen."""
        control = self._control
        choice, running = control.choice, control.running
        offer = control.offer
        models = [model.title for model in offer.models]
        _fill(self.model, [*models, _FILE, _BY_HAND], choice.model.title if choice else "")
        _fill(
            self.plan, [one.name for one in control.offer.plans], choice.plan.name if choice else ""
        )
        _fill(
            self.profile,
            [one.name for one in control.offer.profiles],
            choice.profile.name if choice else "",
        )
        _explain(self.plan, [one.title for one in control.offer.plans])
        _explain(self.profile, [one.edition for one in control.offer.profiles])
        self.operator.setText(
            (choice.operator if choice else "").replace("&", "&&") or "nobody named"
        )
        self.serial.show_serial(control.serial)
        self.serial.setReadOnly(running)
        in_lot = choice is not None and choice.model.lot is not None
        for box in (self.plan, self.profile):
            box.setEnabled(not running and not in_lot)
        self.model.setEnabled(not running)
        self.operator.setEnabled(not running)
        self.options.setEnabled(choice is not None and not running and not in_lot)
        ready = control.phase is Phase.READY
        self.start.setEnabled(ready)
        self.bare.setEnabled(ready)
        self._about.setText(_about(choice) if choice else "")

    def _on_model(self, row: int) -> None:
        models = self._control.offer.models
        if row < len(models):
            self._control.choose_model(models[row])
        elif row == len(models):
            self._open_sheet()
        else:
            self.describe.emit()
        self.refresh()

    def _open_sheet(self) -> None:
        file, _ = QFileDialog.getOpenFileName(
            self, "Open a model sheet", "", "Model sheets (*.toml)"
        )
        if file:
            self.take_sheet(file)

    def take_sheet(self, file: str) -> None:
        """A model sheet from a file, chosen at once; what is wrong with it is told."""
        try:
            self._control.add_model(Model(Path(file).stem, read_sheet(Path(file))))
        except RungbenchError as problem:
            self._control.room.say(str(problem))


def _box(name: str, letters: int) -> QComboBox:
    box = CalmBox()
    box.setAccessibleName(name)
    box.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
    box.setMinimumContentsLength(letters)
    return box


def _fill(box: QComboBox, names: Sequence[str], chosen: str) -> None:
    if [box.itemText(row) for row in range(box.count())] != list(names):
        box.clear()
        for name in names:
            box.addItem(name, name)
    box.setCurrentIndex(names.index(chosen) if chosen in names else -1)


def _explain(box: QComboBox, titles: Sequence[str]) -> None:
    """What stands behind each name, where the mouse rests and for screen readers."""
    for row, title in enumerate(titles):
        box.setItemData(row, title, Qt.ItemDataRole.ToolTipRole)
    chosen = box.currentIndex()
    title = titles[chosen] if 0 <= chosen < len(titles) else ""
    box.setToolTip(title)
    box.setAccessibleDescription(title)


def _about(choice: Choice) -> str:
    """The charger and the plan in a few words."""
    sheet, plan = choice.model.sheet, choice.amended
    charger = f"{sheet.maker or '?'} {sheet.model or '?'}"
    if sheet.rated_current_a is not None:
        charger += f", {short(sheet.rated_current_a)} A"
    live = sum(step.energises for step in plan.steps)
    minutes = plan.expected_s / 60.0
    length = f"{minutes:.0f} min" if minutes >= 1.5 else f"{plan.expected_s:.0f} s"
    energised = f"outlet live in {live} of {len(plan.steps)} steps" if live else "never energises"
    own = (
        ""
        if choice.profile.label == choice.profile.name
        else f"; own limits {choice.profile.label}"
    )
    stated = choice.options.told(choice.plan)
    told = f"  Stated: {stated}." if stated else ""
    return f"{charger}.  {plan.title}: about {length}, {energised}{own}.{told}"
