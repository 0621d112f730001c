"""What was answered and measured so far, so that a dialogue can be broken off without loss."""

import json
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Final

from rungbench.calibrations.store import write_whole
from rungbench.errors import InputError

_SCHEMA: Final = "rungbench.calibration-draft/1"
# What was measured longer ago belongs to another state of bench and references.
_LASTS: Final = timedelta(days=7)


class Draft:
    """Answers by key, as texts; every new one is on disk before the next question.

    Raises
    ------
    InputError : the file is there and is no draft of this board, or was begun more than a week ago.
    """

    def __init__(self, path: Path, board_id: str) -> None:
        self._path, self._board_id = path, board_id
        self.begun = datetime.now(UTC)
        self._answers: dict[str, str] = {}
        if path.is_file():
            self._load()

    @classmethod
    def in_folder(cls, folder: Path, board_id: str, *, fresh: bool = False) -> "Draft":
        """The draft of one board beside the records in `folder`; `fresh` drops what there was."""
        path = folder / "drafts" / f"{board_id}.json"
        if fresh:
            path.unlink(missing_ok=True)
        return cls(path, board_id)

    @property
    def answers(self) -> Mapping[str, str]:
        """All answers so far."""
        return self._answers

    def put(self, key: str, text: str) -> None:
        """Keep one more answer."""
        self._answers[key] = text
        self._write()

    def forget(self, prefix: str) -> None:
        """Drop the answers whose keys begin so: their record is made."""
        self._answers = {
            key: text for key, text in self._answers.items() if not key.startswith(prefix)
        }
        self._write()

    def drop(self, key: str) -> None:
        """Drop one answer, which is to be given anew."""
        if self._answers.pop(key, None) is not None:
            self._write()

    def remove(self) -> None:
        """Drop everything."""
        self._answers = {}
        self._path.unlink(missing_ok=True)

    def _write(self) -> None:
        self._path.parent.mkdir(parents=True, exist_ok=True)
        plain = {
            "schema": _SCHEMA,
            "board_id": self._board_id,
            "begun": self.begun.isoformat(timespec="seconds"),
            "answers": self._answers,
        }
        write_whole(self._path, json.dumps(plain, indent=2) + "\n")

    def _load(self) -> None:
        try:
            plain = json.loads(self._path.read_text("ascii"))
            matches = plain["schema"] == _SCHEMA and plain["board_id"] == self._board_id
            begun = datetime.fromisoformat(plain["begun"])
            answers = {str(key): str(text) for key, text in plain["answers"].items()}
        except (OSError, ValueError, KeyError, TypeError, AttributeError) as problem:
            raise self._strange() from problem
        if not matches:
            raise self._strange()
        if answers and datetime.now(UTC) - begun > _LASTS:
            raise InputError(
                f"The unfinished calibration {self._path} was begun on {begun:%Y-%m-%d}, more than "
                f"{_LASTS.days} days ago; begin anew with --restart."
            )
        self.begun, self._answers = begun, answers

    def _strange(self) -> InputError:
        return InputError(
            f"The unfinished calibration {self._path} cannot be read; begin anew with --restart."
        )
