"""The shift that is counted: since when, remembered over a restart; lives on the main thread."""

from collections.abc import Callable
from datetime import datetime
from typing import Final

from PySide6.QtCore import QObject, Signal

from rungbench.archive.record import utc_now
from rungbench.desktop.errands import Errand, Errands
from rungbench.desktop.preferences import Preferences
from rungbench.desktop.run_shift import Shift, shift_of, still_going
from rungbench.paths import Place

_SECTION: Final = "run"
_KEY: Final = "shift"


class ShiftCount(QObject):
    """`counted` after the archive was looked through; what went wrong goes to `tell`."""

    counted = Signal()

    def __init__(
        self, preferences: Preferences, errands: Errands, tell: Callable[[str], None]
    ) -> None:
        super().__init__()
        self._preferences, self._errands, self._tell = preferences, errands, tell
        self._archive: Place | None = None
        self.simulated = False
        self.shift = Shift(still_going(preferences.get(_SECTION, _KEY, ""), utc_now()))

    def look_in(self, archive: Place | None, *, simulated: bool) -> None:
        """Count in another archive."""
        self._archive, self.simulated = archive, simulated
        self.count()

    def begin(self, since: datetime | None = None) -> None:
        """Count from then on, from now on without it."""
        since = since or utc_now()
        self._preferences.put(_SECTION, _KEY, since.isoformat())
        self.shift = Shift(since)
        self.count()

    def count(self) -> None:
        """Look again."""
        archive, simulated, since = self._archive, self.simulated, self.shift.since
        if archive is not None:
            self._errands.start(
                Errand(lambda _: shift_of(archive, simulated, since), self._show, self._tell)
            )

    def _show(self, shift: Shift) -> None:
        if shift.since == self.shift.since:  # else another shift was begun meanwhile
            self.shift = shift
            self.counted.emit()
