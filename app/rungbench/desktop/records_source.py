"""The archives that records are read from, opened once each; no Qt."""

import threading

from rungbench.archive.errors import ArchiveError
from rungbench.archive.store import Archive, open_archive
from rungbench.settings import load_settings


class Source:
    """Opens an archive when an errand first asks for it; `close` comes after the errands.

    `simulated` says which one is looked at, `chosen` that the user said so.
    """

    def __init__(self) -> None:
        self.simulated = False
        self.chosen = False
        self._open: dict[bool, Archive] = {}
        self._lock = threading.Lock()

    def archive(self, simulated: bool) -> Archive | None:
        """The archive, or ``None`` while there is none yet.

        Raises
        ------
        ArchiveError : it cannot be opened or is damaged.
        """
        with self._lock:
            if simulated not in self._open:
                place = load_settings().archive_for(simulated)
                if not place.exists():
                    return None
                self._open[simulated] = open_archive(place, simulated, create=False)
            return self._open[simulated]

    def require(self, simulated: bool) -> Archive:
        """The archive; `ArchiveError` if there is none."""
        archive = self.archive(simulated)
        if archive is None:
            raise ArchiveError("There are no records yet; run a charger first.")
        return archive

    def close(self) -> None:
        """Let go of them."""
        for archive in self._open.values():
            archive.close()
        self._open.clear()
