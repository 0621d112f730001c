"""Barcode scanners type a burst of characters and then Enter or Tab: that is no choice."""

import time
from typing import Final

from PySide6.QtGui import QKeyEvent

BURST_S: Final = 0.15
"""An Enter that comes so soon after a character was not pressed by a hand."""


class ScanGuard:
    """Tells the Enter of a hand from that of a scanner."""

    def __init__(self) -> None:
        self._typed_s = -BURST_S

    def saw(self, event: QKeyEvent) -> None:
        """Every key that is no command passes here."""
        if event.text().isprintable() and event.text().strip():
            self._typed_s = time.monotonic()

    def by_hand(self) -> bool:
        """Whether an Enter now would be one of a hand."""
        return time.monotonic() - self._typed_s >= BURST_S
