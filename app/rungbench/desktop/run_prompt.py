"""A question of the run, shown in place: what to do, time left, the keys that answer."""

from PySide6.QtWidgets import QFrame, QHBoxLayout, QVBoxLayout

from rungbench.desktop.figures import seconds_left
from rungbench.desktop.run_control import RunControl
from rungbench.desktop.run_labels import PlainLabel, button
from rungbench.qualify.desk import Answer, Reply


class PromptBand(QFrame):
    """Hidden while nothing is asked; its keys are ones that no scanner sends."""

    def __init__(self, control: RunControl, size: float = 1.0) -> None:
        super().__init__()
        self.setObjectName("lost")
        theme = control.room.theme
        self._control = control
        self._text = PlainLabel(theme, size=1.4 * size, bold=True)
        self._left = PlainLabel(theme, size=size).colour("faint")
        self._done = button("Done  (F7)", lambda: control.answer(Answer(Reply.DONE)))
        self.cannot = button("It cannot be done  (F8)", lambda: None)
        row = QHBoxLayout()
        row.addWidget(self._left, 1)
        row.addWidget(self._done)
        row.addWidget(self.cannot)
        layout = QVBoxLayout(self)
        layout.addWidget(self._text)
        layout.addLayout(row)
        self.setAccessibleName("Question")
        self.hide()
        control.changed.connect(self.refresh)
        control.ticked.connect(self.refresh)

    def refresh(self) -> None:
        """Show the open question, or nothing."""
        progress = self._control.progress
        put = progress.question if progress is not None and self._control.running else None
        self.setVisible(put is not None)
        if put is None or progress is None:
            return
        self._text.setText(put.question.text)
        left = progress.answer_left_s(self._control.at_s)
        helper = f"{put.answered_by} answers; " if put.answered_by else ""
        meanwhile = put.question.setting.text()
        self._left.setText(f"{helper}{seconds_left(left or 0.0)} left, meanwhile {meanwhile}")
        for one in (self._done, self.cannot):
            one.setVisible(not put.answered_by)
