"""The command line as somebody starts it, and what each refusal must look like."""

import os
import re
import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path

ESCAPE = "\x1b"
CHARGER = (
    "--maker", "Example", "--model", "Demo 11", "--serial", "D-1", "--rated-current", "16",
    "--phases", "3", "--outlet", "cable",
)  # fmt: skip


def command(*words: str | bytes | Path) -> list[str | bytes | Path]:
    """A command line of the program."""
    return [sys.executable, "-m", "rungbench", *words]


def surroundings(**more: str) -> Mapping[str, str]:
    """The environment for it, with the test's own home, and output buffered as users have it."""
    ours = {key: value for key, value in os.environ.items() if key != "PYTHONUNBUFFERED"}
    return {**ours, "PYTHONPATH": os.pathsep.join(sys.path), **more}


def start(*words: str | bytes | Path, **more: str) -> subprocess.CompletedProcess[bytes]:
    """Run the program to its end."""
    return subprocess.run(
        command(*words),
        capture_output=True,
        env=surroundings(**more),
        timeout=60,
        check=False,
    )


def one_sentence(text: str) -> str:
    """`text`, which must be one plain sentence on one line."""
    assert text.count("\n") == 1, text
    assert text.endswith(".\n"), text
    assert "Traceback" not in text
    assert "fault of the program" not in text
    assert ESCAPE not in text
    assert not re.search(r"[.!?] [A-Z]", text), text
    return text
