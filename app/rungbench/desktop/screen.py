"""Whether there is a screen to open a window on.

Qt ends the whole program where there is none, with a page of its own words; so it is looked at
before Qt is asked.  Linux only: elsewhere there is a screen wherever somebody is logged in.
"""

import ctypes
import os
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Final

from rungbench.errors import RungbenchError

_OTHER: Final = "use the other commands, such as `rungbench qualify`"
_NONE: Final = (
    "There is no screen to open the window on (neither DISPLAY nor WAYLAND_DISPLAY is set); "
    f"start it on a desktop, or {_OTHER}."
)
# What Qt's plug-in for X needs beside Qt itself, with the packages of Debian that hold it.
_LIBRARIES: Final = {
    "libxcb.so.1": "libxcb1",
    "libxcb-cursor.so.0": "libxcb-cursor0",
    "libxkbcommon-x11.so.0": "libxkbcommon-x11-0",
    "libxcb-icccm.so.4": "libxcb-icccm4",
    "libxcb-keysyms.so.1": "libxcb-keysyms1",
}


def require_screen(environment: Mapping[str, str] = os.environ) -> None:
    """Return if a window can be opened.

    Raises
    ------
    RungbenchError : there is no screen, it does not answer, or a library for it is missing.
    """
    wanted = environment.get("QT_QPA_PLATFORM", "").partition(":")[0]
    if sys.platform != "linux" or wanted not in ("", "xcb"):
        return
    if not wanted and _wayland(environment):
        return
    display = environment.get("DISPLAY", "")
    if not display:
        raise RungbenchError(_NONE)
    missing = [package for name, package in _LIBRARIES.items() if _library(name) is None]
    if missing:
        raise RungbenchError(
            f"The window needs libraries that are not installed; install {' '.join(missing)} "
            f"(apt-get install), or {_OTHER}."
        )
    if not _answers(display):
        raise RungbenchError(
            f"The screen {display} (from DISPLAY) cannot be opened; correct DISPLAY or allow "
            f"access to it, or {_OTHER}."
        )


def _wayland(environment: Mapping[str, str]) -> bool:
    name = environment.get("WAYLAND_DISPLAY", "")
    return bool(name) and Path(environment.get("XDG_RUNTIME_DIR", "/"), name).exists()


def _library(name: str) -> ctypes.CDLL | None:
    try:
        return ctypes.CDLL(name)
    except OSError:
        return None


def _answers(display: str) -> bool:
    """Whether an X server takes a connection, which is closed again."""
    xcb = _library("libxcb.so.1")
    if xcb is None:
        return False
    xcb.xcb_connect.restype = ctypes.c_void_p
    xcb.xcb_connect.argtypes = (ctypes.c_char_p, ctypes.c_void_p)
    xcb.xcb_connection_has_error.argtypes = (ctypes.c_void_p,)
    xcb.xcb_disconnect.argtypes = (ctypes.c_void_p,)
    connection = xcb.xcb_connect(os.fsencode(display), None)
    failed = bool(xcb.xcb_connection_has_error(connection))
    xcb.xcb_disconnect(connection)
    return not failed
