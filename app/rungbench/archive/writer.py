"""An archive for a run in progress, with a way out when it fails.

If it cannot be written any more (the disk is full, the drive or the server is
gone) the whole run so far goes into a file of its own elsewhere, and the run
goes on there: what was measured is not lost, and the user is told.
"""

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import Any, TypeVar

from pilotsignal.capture import Capture, EdgeRecord
from rungbench.archive.errors import ArchiveError
from rungbench.archive.kept import kept_file, kept_folders
from rungbench.archive.record import NOTHING, CheckResult, RunHeader, RunVerdict
from rungbench.archive.store import Archive, Beside, open_archive
from rungbench.paths import Place

T = TypeVar("T")


@contextmanager
def open_for_run(
    path_or_url: str | Place, simulated: bool, folders: tuple[Path, ...] | None = None
) -> Iterator["RunArchive"]:
    """`open_archive` for one run after another.

    Parameters
    ----------
    folders : where to go if the archive fails, the first that works; default: `kept_folders`.

    Raises
    ------
    ArchiveError : the archive cannot be opened.
    """
    with open_archive(path_or_url, simulated) as archive, RunArchive(archive, folders) as running:
        yield running


class RunArchive(Archive):
    """An archive that remembers what it wrote of the run in progress.

    `begin` raises if the archive cannot be written: then the run need not begin.  After that a
    failure is raised only if no folder could be written either.
    """

    def __init__(self, archive: Archive, folders: tuple[Path, ...] | None = None) -> None:
        super().__init__(archive._engine, archive.simulated, archive.place)
        self._folders = folders
        self._header: RunHeader | None = None
        self._written: list[Callable[[], object]] = []
        self.beside: Beside | None = None
        """What is entered together with every run that begins: its place in a lot."""
        self.problem: str | None = None
        """A sentence for the user once the run is kept elsewhere; `place` then says where."""

    def begin(self, header: RunHeader, beside: Beside | None = None) -> None:
        super().begin(header, beside or self.beside)
        self._header = header
        self._written.clear()

    def add_capture(self, run_id: str, recorded: Capture | EdgeRecord, name: str) -> str:
        add = super().add_capture
        return self._write(lambda: add(run_id, recorded, name))

    def add_check(self, run_id: str, result: CheckResult) -> None:
        add = super().add_check
        self._write(lambda: add(run_id, result))

    def finish(
        self,
        run_id: str,
        verdict: RunVerdict,
        finished: datetime,
        interrupted: str | None = None,
        make_safe: Mapping[str, Any] = NOTHING,
    ) -> None:
        end = super().finish
        self._write(lambda: end(run_id, verdict, finished, interrupted, make_safe))

    def _write(self, step: Callable[[], T]) -> T:
        try:
            result = step()
        except ArchiveError as problem:
            if self._header is None or self.problem is not None:
                raise
            result = self._write_elsewhere(self._header, step, problem)
        self._written.append(step)
        return result

    def _write_elsewhere(
        self, header: RunHeader, step: Callable[[], T], problem: ArchiveError
    ) -> T:
        """All of the run again in the first folder that works, then `step`."""
        here = self._engine, self.place, self._numbers
        for folder in kept_folders() if self._folders is None else self._folders:
            try:
                self._switch_to(kept_file(folder, header.run_id))
                super().begin(header)
                for written in self._written:
                    written()
                result = step()
            except ArchiveError:
                if self._engine is not here[0]:
                    self._engine.dispose()
                self._engine, self.place, self._numbers = here
                continue
            here[0].dispose()
            self.problem = (
                f"{problem} The run is kept in {self.place}; `rungbench records push` delivers "
                "it later."
            )
            return result
        raise problem

    def _switch_to(self, path: Path) -> None:
        other = open_archive(path, self.simulated)
        self._engine, self.place, self._numbers = other._engine, other.place, {}
