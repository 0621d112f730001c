"""Files that are there whole or not at all."""

import os
from collections.abc import Iterable
from pathlib import Path

from rungbench.errors import RungbenchError, WrongUse


def write_whole(path: Path, chunks: Iterable[bytes], *, replace: bool = False) -> None:
    """Write a file; until it is complete it bears another name in the same folder.

    Parameters
    ----------
    replace : whether a file of that name may be replaced.  What is no file (a pipe, a device) is
        written to as it is.

    Raises
    ------
    WrongUse : the file exists already.
    RungbenchError : it cannot be written; nothing of it is left behind.
    """
    target = path.expanduser().resolve()
    special = target.exists() and not target.is_file()
    if target.is_file() and not replace:
        raise WrongUse(f"{path} exists already; name another file, or allow --replace.")
    try:
        if special:
            _write(target, "wb", chunks)
        else:
            _write_beside(target, chunks)
    except OSError as problem:
        reason = problem.strerror or "the system refuses"
        raise RungbenchError(
            f"{path} cannot be written ({reason}); make room or name another file."
        ) from problem


def write_file(file: Path, content: bytes) -> Path:
    """Write a file whole, its folder too; `RungbenchError` where that is not possible."""
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
    except OSError as problem:
        raise RungbenchError(
            f"{file.parent} cannot be made ({problem.strerror}); name another folder."
        ) from problem
    write_whole(file, [content], replace=True)
    return file


def _write_beside(target: Path, chunks: Iterable[bytes]) -> None:
    part = target.with_name(f".{target.name[:100]}.{os.getpid()}.part")
    try:
        _write(part, "xb", chunks)
        part.replace(target)
    finally:
        part.unlink(missing_ok=True)


def _write(path: Path, mode: str, chunks: Iterable[bytes]) -> None:
    with path.open(mode) as stream:
        for chunk in chunks:
            stream.write(chunk)
        stream.flush()
