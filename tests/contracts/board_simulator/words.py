"""The program's own words, for a board that runs the firmware."""

from collections.abc import Iterable
from typing import Any

CHARGER = (
    "--maker", "Example", "--model", "Demo 11", "--serial", "D-1", "--rated-current", "16",
    "--phases", "3", "--outlet", "cable",
)  # fmt: skip


def qualify_words(url: str) -> list[str]:
    """The command that takes the charger of a board through the quick plan."""
    return ["qualify", "--bench", url, "--plan", "quick", "--arm", *CHARGER, "--json"]


def last_verdicts(document: dict[str, Any]) -> dict[str, str]:
    """Verdict of the last attempt at each check."""
    return {check["check"]: check["verdict"] for check in document["checks"]}


def having(document: dict[str, Any], verdict: str) -> set[str]:
    """Checks whose last attempt came to a verdict."""
    return {name for name, one in last_verdicts(document).items() if one == verdict}


def text_of(lines: Iterable[str]) -> str:
    """Lines as one sentence after the other, for a look at what is said."""
    return " ".join(" ".join(lines).split())
