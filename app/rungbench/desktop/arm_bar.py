"""Whether the outlet may be live, in the window's head: arming, its countdown, the way back."""

from typing import Final

from PySide6.QtCore import QSize, Qt, Signal
from PySide6.QtGui import QFontMetrics
from PySide6.QtWidgets import QFrame, QHBoxLayout, QLabel, QPushButton, QSizePolicy

from rungbench.desktop.figures import seconds_left
from rungbench.desktop.snapshots import Snapshot
from rungbench.desktop.theme import Theme

_LARGE: Final = 150  # percent, from which on there is no room for the keys beside the words


class ArmBar(QFrame):
    """Never takes the focus, so that no Enter or Space of a scanner reaches its buttons."""

    arm = Signal()
    back = Signal()

    def __init__(self, theme: Theme) -> None:
        super().__init__()
        self.setObjectName("arm")
        self._theme = theme
        self._label = QLabel("")
        self._label.setAccessibleName("Arming")
        self._label.setWordWrap(True)
        self._arm, self._back = QPushButton(), QPushButton()
        self._arm.setToolTip("Arm (Ctrl+F9)")
        self._back.setToolTip("Back to open (Esc)")
        for button, signal in ((self._arm, self.arm), (self._back, self.back)):
            button.setFocusPolicy(Qt.FocusPolicy.NoFocus)
            button.clicked.connect(signal)
        layout = QHBoxLayout(self)
        layout.setContentsMargins(theme.px(10), theme.px(4), theme.px(4), theme.px(4))
        layout.addWidget(self._label, 1)
        layout.addWidget(self._arm)
        layout.addWidget(self._back)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        theme.changed.connect(self._restyle)
        self._restyle()
        self.show_snapshot(None)

    @property
    def text(self) -> str:
        """What it says."""
        return self._label.text()

    def show_snapshot(self, snapshot: Snapshot | None) -> None:
        """How it is now."""
        text, state = arm_text(snapshot)
        if text != self._label.text():
            self._label.setText(text)
        if self.property("armed") != state:
            self.setProperty("armed", state)
            for one in (self, self._label):
                one.style().unpolish(one)
                one.style().polish(one)
        self._arm.setEnabled(snapshot is not None and state == "no" and not snapshot.job)
        self._back.setEnabled(snapshot is not None)

    def _restyle(self) -> None:
        large = self._theme.scale >= _LARGE
        self._arm.setText("Arm" if large else "Arm (Ctrl+F9)")
        self._back.setText("Open" if large else "Open (Esc)")
        # Two lines always, so that nothing below moves when the words become more.
        self._label.setMinimumSize(
            QSize(0, 2 * QFontMetrics(self._theme.font(bold=True)).lineSpacing())
        )


def arm_text(snapshot: Snapshot | None) -> tuple[str, str]:
    """What the bar says, and how it looks: ``no``, ``yes`` (armed) or ``live``."""
    if snapshot is None:
        return "No bench", "no"
    if snapshot.mains:
        phases = ", ".join(f"L{phase}" for phase in sorted(snapshot.mains))
        return f"Outlet live: {phases}{_hold(snapshot)}", "live"
    if snapshot.setting.energising:
        return f"Outlet may be live{_hold(snapshot)}", "live"
    if snapshot.armed_left_s is not None:
        return f"Armed: choose one\nwithin {seconds_left(snapshot.armed_left_s)}", "yes"
    if snapshot.watch_left_s is not None:
        return f"Outlet watched for\nanother {seconds_left(snapshot.watch_left_s)}", "no"
    return "Not armed", "no"


def _hold(snapshot: Snapshot) -> str:
    if snapshot.hold_left_s is None:
        return ""
    return f"\nboard goes open in {seconds_left(snapshot.hold_left_s)}"
