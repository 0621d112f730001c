"""After a run: its record into a folder, or to a command, for the user's own system.

Whatever goes wrong here is told and changes nothing: the record is in the archive already, and its
verdict stands.
"""

import shlex
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Final

from rungbench.errors import RungbenchError
from rungbench.redact import without_password
from rungbench.report.evidence import Evidence
from rungbench.report.export_json import export_chunks
from rungbench.report.files import write_whole
from rungbench.report.pdf import report_pdf

# A command that hangs must not hold the bench.
_LONGEST_S: Final = 60.0


def hand_over(evidence: Evidence, folder: str, command: str) -> tuple[str, ...]:
    """Do what the settings ask for; returns a sentence for each thing that went wrong.

    Parameters
    ----------
    folder : where ``ID.pdf`` and then ``ID.json`` are put, or empty.  It must exist.
    command : what to start with the path of the JSON as its last argument, or empty.  It is split
        like a shell would and started without one: no text of a record is ever part of it.
    """
    return tuple(_troubles(evidence, folder, command))


def _troubles(evidence: Evidence, folder: str, command: str) -> Iterator[str]:
    kept: Path | None = None
    if folder.strip():
        try:
            kept = _drop(evidence, Path(folder).expanduser())
        except RungbenchError as problem:
            yield f"The report was not handed over: {problem}"
    if not command.strip():
        return
    if kept is not None:
        yield from _started(command, kept)
        return
    with tempfile.TemporaryDirectory(prefix="rungbench-") as place:
        file = Path(place) / f"{evidence.record.run_id}.json"
        try:
            write_whole(file, export_chunks([evidence.record]))
        except RungbenchError as problem:
            yield f"The command after the run was not started: {problem}"
            return
        yield from _started(command, file)


def _drop(evidence: Evidence, folder: Path) -> Path:
    """The JSON comes last: whoever waits for it finds the report beside it."""
    run_id = evidence.record.run_id
    write_whole(folder / f"{run_id}.pdf", [report_pdf([evidence])], replace=True)
    file = folder / f"{run_id}.json"
    write_whole(file, export_chunks([evidence.record]), replace=True)
    return file


def _started(command: str, file: Path) -> Iterator[str]:
    try:
        words = shlex.split(command)
        ended = subprocess.run(
            [*words, str(file)],
            stdin=subprocess.DEVNULL,
            capture_output=True,
            timeout=_LONGEST_S,
            check=False,
        )
    except ValueError as problem:
        yield f"The command after the run cannot be split into words ({problem}); correct it."
    except subprocess.TimeoutExpired:
        yield f"The command after the run took longer than {_LONGEST_S:g} s and was ended."
    except OSError as problem:
        reason = problem.strerror or "the system refuses"
        yield f"The command after the run cannot be started ({reason}); check the setting."
    else:
        if ended.returncode:
            yield f"The command after the run ended with {ended.returncode}{_said(ended.stderr)}."


def _said(stderr: bytes) -> str:
    """The last line that a command complained with, kept short and printable."""
    lines = stderr.decode("utf-8", "replace").split("\n")
    last = next((line.strip() for line in reversed(lines) if line.strip()), "")
    kept = without_password(last)[:200]
    shown = "".join(one if one.isprintable() else ascii(one)[1:-1] for one in kept)
    return f": {shown.rstrip('.')}" if shown else ""
