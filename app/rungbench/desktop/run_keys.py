"""The keys of a run: none of them is one that a scanner sends."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final

from PySide6.QtCore import Qt
from PySide6.QtGui import QKeySequence, QShortcut
from PySide6.QtWidgets import QWidget


@dataclass(frozen=True, slots=True)
class RunKey:
    """A key with what it does in a few words."""

    name: str
    keys: str
    text: str


KEYS: Final = (
    RunKey("options", "F2", "Options"),
    RunKey("shift", "F3", "Shift"),
    RunKey("operator", "F4", "Operator"),
    RunKey("report", "F5", "Report and next charger"),
    RunKey("pause", "F6", "Pause or go on"),
    RunKey("done", "F7", "Done"),
    RunKey("cannot", "F8", "It cannot be done"),
    RunKey("slip", "F12", "Save the hold slip"),
    RunKey("print", "Ctrl+P", "Print the hold slip"),
    RunKey("skip", "Ctrl+F6", "Skip a step"),
    RunKey("repeat", "Ctrl+F7", "Repeat a step"),
    RunKey("bare", "Ctrl+F8", "Start without arming"),
    RunKey("next", "Ctrl+F5", "Next charger"),
    RunKey("new shift", "Ctrl+F3", "New shift"),
    RunKey("since", "Ctrl+F4", "Shift since"),
    RunKey("save shift", "Ctrl+S", "Save the summary"),
    RunKey("inspection", "F11", "Inspection mode"),
    RunKey("back", "Alt+Left", "Back to the run"),
)
BY_NAME: Final = {key.name: key for key in KEYS}


def bind(widget: QWidget, acts: Mapping[str, Callable[[], None]]) -> None:
    """Bind keys to what they do while the focus is in `widget`."""
    for name, act in acts.items():
        shortcut = QShortcut(QKeySequence(BY_NAME[name].keys), widget)
        shortcut.setContext(Qt.ShortcutContext.WidgetWithChildrenShortcut)
        shortcut.setAutoRepeat(False)
        shortcut.activated.connect(act)


def labelled(name: str) -> str:
    """What stands on a button: what it does and its key."""
    key = BY_NAME[name]
    return f"{key.text}  ({key.keys})"
