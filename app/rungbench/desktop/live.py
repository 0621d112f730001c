"""Live: the voltage scale, one period, the last minutes, the readings; the same for a file."""

import math
from pathlib import Path
from typing import Final

from PySide6.QtCore import QEvent, QObject, Qt, QTimer, Slot
from PySide6.QtWidgets import (
    QBoxLayout,
    QFileDialog,
    QFrame,
    QLabel,
    QScrollArea,
    QSpacerItem,
    QVBoxLayout,
    QWidget,
)

from pilotsignal.errors import PilotSignalError
from rungbench.desktop.capture_file import in_fields, open_capture, save_capture, says_simulated
from rungbench.desktop.errands import Cancel, Errand, Errands
from rungbench.desktop.figures import number
from rungbench.desktop.handing import explain
from rungbench.desktop.history import History, levels
from rungbench.desktop.judging import Measured, measured_capture, measured_stretch
from rungbench.desktop.live_tools import ExtrasRow, FileRow, LiveTools
from rungbench.desktop.notes import SIMULATED
from rungbench.desktop.readings import Readings
from rungbench.desktop.room import Room
from rungbench.desktop.scale import VoltageScale
from rungbench.desktop.scale_model import Extras, bands, choices
from rungbench.desktop.setting_words import Parts
from rungbench.desktop.snapshots import LinkState, Sampled, Snapshot
from rungbench.errors import RungbenchError
from rungbench.link.words import OPEN, Mode, Setting
from rungbench.qualify.readings import ReadingBasis

_TWO_COLUMNS: Final = 900
_SCALE: Final = 405  # widest, so that the readings beside it have the room
_SCALE_HIGH: Final = 345  # in one column, so that the state is seen below it
_UNBOUND: Final = 16_777_215  # Qt's own
_PLOTS_AFTER_MS: Final = 30  # so that the window stands before pyqtgraph is imported
_FROZEN: Final = "Frozen: all of this is of before, and the bench goes on. F8: live again."
REPAINT_MS: Final = 24
"""A little shorter than the 33 ms that 30 frames a second take."""


class LiveView(QObject):
    """The view; plots are made when it is first shown, after the window is on the screen."""

    name = "Live"

    def __init__(self, room: Room) -> None:
        super().__init__()
        self._room, self._profile = room, room.profile
        self._history = History(room.profile)
        self._measured: Measured | None = None
        self._held: Measured | None = None  # what is shown while frozen
        self._file: Measured | None = None
        self._path: Path | None = None
        self._set_current_a: float | None = None
        self._frozen = self._fresh = self._shown = False
        self._snapshot: Snapshot | None = None
        self._link = LinkState()
        self._measurer = Errands("measurer", self)
        self._files = Errands("files", self)
        self._parts = Parts(self._profile)
        self._build()
        room.worker.snapshot.connect(self._on_snapshot)
        room.worker.link.connect(self._on_link)
        self._timer = QTimer(self)
        self._timer.setTimerType(Qt.TimerType.PreciseTimer)
        self._timer.setInterval(REPAINT_MS)
        self._timer.timeout.connect(self.repaint_now)
        self._show_choices()

    # Widgets ----------------------------------------------------------------------------------

    @property
    def widget(self) -> QWidget:
        """What fills the window."""
        return self._scroll

    def _build(self) -> None:
        theme = self._room.theme
        self._scroll = QScrollArea()
        self._scroll.setWidgetResizable(True)
        self._scroll.setFrameShape(QFrame.Shape.NoFrame)
        self.page = QWidget()
        self.page.setObjectName("page")
        self._scroll.setWidget(self.page)
        self.tools, self.extras, self.files = LiveTools(theme), ExtrasRow(), FileRow(theme)
        self.frozen = QLabel(_FROZEN)
        self.frozen.setObjectName("armed")
        self.frozen.setWordWrap(True)
        self.frozen.hide()
        self.scale = VoltageScale(theme)
        self.readings = Readings(theme, self._profile)
        left = QVBoxLayout()
        left.addWidget(self.scale, 1)
        left.addWidget(self.extras)
        legend = QLabel("∿  the outlet may be live: arm with Ctrl+F9 first")
        left.addWidget(legend)
        self._right = QVBoxLayout()
        self._right.setSpacing(theme.px(4))
        self._space = QSpacerItem(0, 0)  # where the plots come later
        self._right.addItem(self._space)
        self._right.setStretch(0, 1)
        self._right.addWidget(self.readings)
        self._columns = columns = QBoxLayout(QBoxLayout.Direction.LeftToRight)
        columns.addLayout(left, 3)
        columns.addLayout(self._right, 5)
        self._scroll.viewport().installEventFilter(self)
        theme.changed.connect(self._reflow)
        page = QVBoxLayout(self.page)
        page.addWidget(self.tools)
        page.addWidget(self.frozen)
        page.addWidget(self.files)
        page.addLayout(columns, 1)
        self._wire()

    def _wire(self) -> None:
        self.scale.chosen.connect(self._choose)
        self.readings.asked.connect(lambda name, said: explain(self._room, name, said))
        self.extras.changed.connect(lambda _extras: self._show_choices())
        self.tools.frozen.connect(self._freeze)
        self.tools.mode.connect(self._sample)
        self.tools.set_current.connect(self._state_current)
        self.tools.refused.connect(self._room.say)
        self.tools.save.connect(self._ask_save)
        self.tools.picture.connect(self._ask_picture)
        self.tools.open_file.connect(self._ask_open)
        self.files.again.connect(self._read_again)
        self.files.back.connect(self.close_file)

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        """Columns beside one another, or below where there is not the width for it."""
        if event.type() == QEvent.Type.Resize:
            self._reflow()
        return super().eventFilter(watched, event)

    def _reflow(self) -> None:
        wide = self._scroll.viewport().width() >= self._room.theme.px(_TWO_COLUMNS)
        direction = QBoxLayout.Direction
        self._columns.setDirection(direction.LeftToRight if wide else direction.TopToBottom)
        self._columns.setSpacing(self._room.theme.px(12))
        self.scale.setMaximumWidth(self._room.theme.px(_SCALE) if wide else _UNBOUND)
        self.scale.setMaximumHeight(_UNBOUND if wide else self._room.theme.px(_SCALE_HIGH))
        self.tools.reflow(wide=wide)
        self.files.reflow(wide=wide)
        # In one column the readings come before the plots: they are what the scale leads to.
        self._right.removeWidget(self.readings)
        self._right.insertWidget(self._right.count() if wide else 0, self.readings)
        if self._plots_made:
            for plot in self.strips.plots:
                plot.setMinimumHeight(self._room.theme.px(60))
            self.period.setMinimumHeight(self._room.theme.px(150))

    def make_plots(self) -> None:
        """The plots; pyqtgraph is imported here, once the window stands."""
        if self._plots_made:
            return
        from rungbench.desktop.period_plot import PeriodPlot
        from rungbench.desktop.strip_plot import Strips

        theme = self._room.theme
        self.period, self.strips = PeriodPlot(theme, self._profile), Strips(theme)
        self._right.removeItem(self._space)
        self._right.insertWidget(0, self.period, 5)
        self._right.insertWidget(1, self.strips, 6)
        for plot in (self.period, *self.strips.plots):
            plot.read_out.connect(self._read_out)
        self._reflow()
        self._show_measured()

    @property
    def _plots_made(self) -> bool:
        return hasattr(self, "period")

    # As a view --------------------------------------------------------------------------------

    def shown(self) -> None:
        """Draw from now on."""
        self._shown = True
        QTimer.singleShot(_PLOTS_AFTER_MS, self.make_plots)
        self._timer.start()
        self.scale.setFocus()

    def hidden(self) -> None:
        """Draw nothing."""
        self._shown = False
        self._timer.stop()

    def close(self) -> None:
        """The program ends."""
        self._timer.stop()
        self._measurer.close()
        self._files.close()

    # From the bench ---------------------------------------------------------------------------

    @Slot(object)
    def _on_snapshot(self, snapshot: Snapshot) -> None:
        self._snapshot = snapshot
        self._history.add(snapshot.at_s, snapshot.stretch)
        self._fresh = True
        # Not before the plots are made: two threads that import numerics for the first time at
        # once may find half of them.
        ready = self._plots_made and self._shown and not self._measurer.busy
        if snapshot.sampled is not None and ready:
            self._measure(snapshot.sampled, snapshot)

    @Slot(object)
    def _on_link(self, link: LinkState) -> None:
        self._link = link
        self.extras.show_board(link.identity)
        if link.up:
            self._history.clear()
        else:
            self._measured, self._snapshot = None, None
            if not self._frozen:
                self.scale.set_live(())
                self._show_measured()
        self._show_choices()

    def _measure(self, sampled: Sampled, snapshot: Snapshot) -> None:
        calibration = self._link.calibration
        doubt = calibration.doubts.get("volts", "") if calibration is not None else ""
        temperature = snapshot.health.temperature_c if snapshot.health else None
        basis = self._basis(temperature, doubt)
        self._measurer.start(
            Errand(lambda _cancel: measured_stretch(sampled, basis), self._take, self._room.say)
        )

    def _basis(self, temperature_c: float | None, doubt: str) -> ReadingBasis:
        simulated = self._link.simulated
        return ReadingBasis(self._profile, self._set_current_a, simulated, temperature_c, doubt)

    def _take(self, measured: Measured) -> None:
        if not self._link.up:
            return
        self._measured = measured
        if not self._frozen and self._file is None:
            self._show_measured()

    # Drawing ----------------------------------------------------------------------------------

    @Slot()
    def repaint_now(self) -> None:
        """Draw the newest data, if there is any and it is to be seen."""
        snapshot = self._snapshot
        if not self._fresh or snapshot is None or self._frozen or self._file is not None:
            return
        self._fresh = False
        self.scale.set_setting(self._parts.presented(snapshot.setting), snapshot.asked)
        self.tools.show_mode(snapshot.mode)
        high, low = levels(snapshot.stretch)
        if high.size or low.size:
            self.scale.set_live(tuple(round(float(v), 2) for part in (high, low) for v in part))
        if self._plots_made:
            self.period.show_raw(snapshot.stretch)
            self.strips.show_history(self._history)

    def _show_measured(self) -> None:
        measured = self.showing
        found = measured.found if measured is not None else None
        self.scale.set_levels(
            found.high_plateau_v if found else None, found.low_plateau_v if found else None
        )
        self.readings.show_measured(measured)
        if self._plots_made:
            self.period.show_measured(measured, self._set_current_a)
            self.strips.setVisible(self._file is None)
            if self._file is not None or measured is None:
                self.period.clear_raw()

    def _show_choices(self) -> None:
        self._parts = Parts(self._profile, self._link.calibration)
        offered = (
            choices(self._parts, self.extras.extras, self._link.identity) if self._link.up else ()
        )
        self.scale.set_ground(bands(self._profile), () if self._file is not None else offered)

    def _read_out(self, x: float, y: float) -> None:
        plot = self.sender()
        frame = getattr(plot, "frame", None)
        if frame is None or math.isnan(x):
            self.readings.read_out.setText("")
            return
        far = "" if math.isnan(y) else f", {number(y, 2)} {frame.y_unit}"
        self.readings.read_out.setText(f"at {number(x, 1)} {frame.x_unit}{far}")

    # Hands ------------------------------------------------------------------------------------

    def _choose(self, setting: Setting) -> None:
        snapshot = self._snapshot
        if snapshot is None:
            self._room.say("There is no bench; connect one first.")
        elif self._frozen and setting != OPEN:
            self._room.say("What is drawn is frozen and would not follow; press F8, then choose.")
        elif snapshot.job:
            self._room.say(f"{snapshot.job} has the bench; stop it with Esc first.")
        elif setting.energising and snapshot.armed_left_s is None:
            self._room.say(
                "This setting may put mains on the outlet. Arm with Ctrl+F9, then choose it again."
            )
        else:
            self._room.say("")
            self._room.worker.present(setting)

    def _sample(self, mode: Mode) -> None:
        self._room.worker.sample(mode)

    def _state_current(self, ampere: float | None) -> None:
        if ampere == self._set_current_a:
            return
        self._set_current_a = ampere
        if self._file is not None:
            self._read_again()

    def _freeze(self, frozen: bool) -> None:
        self._frozen, self._held = frozen, self._measured if frozen else None
        self.frozen.setVisible(frozen)
        if not frozen:
            self._fresh = True
            self._show_measured()

    # Files ------------------------------------------------------------------------------------

    def _ask_save(self) -> None:
        measured = self.showing
        if measured is None:
            self._room.say("Nothing was measured yet; wait for the first readings.")
            return
        name, _ = QFileDialog.getSaveFileName(
            self.page, "Save data", "pilot.csv", "CSV files (*.csv)"
        )
        if name:
            self.save_data(measured, Path(name))

    def save_data(self, measured: Measured, file: Path) -> None:
        """Write a measured stretch; what comes of it is said."""
        simulated = self._simulated
        self._files.start(
            Errand(
                lambda _cancel: save_capture(measured.capture, file, simulated=simulated),
                lambda _nothing: self._room.say(f"Saved: {file}"),
                self._room.say,
            )
        )

    def _ask_picture(self) -> None:
        name, _ = QFileDialog.getSaveFileName(
            self.page, "Save picture", "pilot.svg", "Pictures (*.svg *.png)"
        )
        if name:
            self.save_picture(Path(name))

    def save_picture(self, file: Path) -> None:
        """Write the view as it is."""
        # Late: only an export needs it.
        from rungbench.desktop.pictures import save_picture

        stamp = SIMULATED if self._simulated else ""
        title = f"Rungbench {stamp}".strip()
        try:
            save_picture(self.page, file, title, stamp)
        except RungbenchError as problem:
            self._room.say(str(problem))
        else:
            self._room.say(f"Saved: {file}")

    def _ask_open(self) -> None:
        name, _ = QFileDialog.getOpenFileName(
            self.page, "Open a recorded pilot", "", "CSV files (*.csv *.txt);;All files (*)"
        )
        if name:
            self.open_file(Path(name))

    def open_file(self, file: Path) -> None:
        """Show a recorded pilot in place of the bench's."""
        self._path = file
        self.files.show_file(file.name)
        self._read_again()

    def _read_again(self) -> None:
        if self._path is None:
            return
        file, basis = self._path, ReadingBasis(self._profile, self._set_current_a)
        try:
            options = self.files.options(file.name)
        except (RungbenchError, PilotSignalError) as problem:
            self._room.say(str(problem))
            return

        def work(_cancel: Cancel) -> tuple[Measured, bool]:
            captured = open_capture(file, options).capture
            return measured_capture(captured, basis), says_simulated(file)

        def refused(sentence: str) -> None:
            self._room.say(in_fields(sentence))

        self._files.start(Errand(work, self._take_file, refused))

    def _take_file(self, read: tuple[Measured, bool]) -> None:
        if self._path is None:
            return
        self._file, simulated = read
        self.files.simulated.setVisible(simulated)
        self.tools.unfreeze()
        self.scale.set_live(())
        self._show_choices()
        self._show_measured()
        self._room.say("A file is shown; the bench goes on behind it.")

    def close_file(self) -> None:
        """Back to what the bench brings."""
        self._path = self._file = None
        self._room.say("")
        self.files.hide()
        self._show_choices()
        self._show_measured()

    @property
    def showing(self) -> Measured | None:
        """What the readings show, and what is saved."""
        return self._file or (self._held if self._frozen else self._measured)

    @property
    def _simulated(self) -> bool:
        """Whether what is shown is simulated: the bench, or what the opened file says."""
        if self._file is not None:
            return not self.files.simulated.isHidden()
        return self._link.simulated

    @property
    def chosen_extras(self) -> Extras:
        """What is presented besides the rung."""
        return self.extras.extras
