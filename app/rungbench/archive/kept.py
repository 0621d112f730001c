"""Where runs are kept that their archive could not take, in the order in which they were."""

import re
import tempfile
from collections.abc import Iterable
from pathlib import Path
from typing import Final

from rungbench.paths import paths

_NAME: Final = re.compile(r"rungbench-(\d{4,})-[0-9a-z-]+\.sqlite")
_DELIVERED: Final = ".delivered.sqlite"


def kept_folders() -> tuple[Path, ...]:
    """Folders for such runs, the first that can be written is taken."""
    places = paths()
    return places.kept, places.log_file.parent, Path(tempfile.gettempdir())


def kept_file(folder: Path, run_id: str) -> Path:
    """A file for another run, counted on from those that are there: the clock orders nothing."""
    last = max((_number(path) for path in kept_files([folder])), default=0)
    return folder / f"rungbench-{last + 1:04d}-{run_id}.sqlite"


def kept_files(folders: Iterable[Path]) -> list[Path]:
    """Runs that are still to be delivered, in order, one folder after the other."""
    found: list[Path] = []
    for folder in folders:
        try:
            here = [path for path in folder.iterdir() if _NAME.fullmatch(path.name)]
        except OSError:
            continue
        found += sorted(here, key=_number)
    return found


def is_kept(path: Path) -> bool:
    """Whether a file is one of those."""
    return _NAME.fullmatch(path.name) is not None


def mark_delivered(path: Path) -> Path:
    """Rename a file, so that it is not delivered again; nothing is removed."""
    return path.rename(path.with_name(path.name.removesuffix(".sqlite") + _DELIVERED))


def _number(path: Path) -> int:
    match = _NAME.fullmatch(path.name)
    return int(match[1]) if match else 0
