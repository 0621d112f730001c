"""The checks that a plan may ask for."""

from collections.abc import Mapping
from typing import Final

from rungbench.qualify.checks import (
    answers,
    levels,
    mains,
    recognition,
    sessions,
    set_points,
    soak,
    source,
    timing,
)
from rungbench.qualify.checks.kind import CheckKind

CHECK_KINDS: Final[Mapping[str, CheckKind]] = {
    kind.name: kind
    for module in (
        levels,
        timing,
        mains,
        source,
        recognition,
        sessions,
        answers,
        set_points,
        soak,
    )
    for kind in module.KINDS
}

__all__ = ["CHECK_KINDS", "CheckKind"]
