"""Where settings, archives and logs lie on this machine."""

from dataclasses import dataclass
from pathlib import Path

import platformdirs

_NAME = "rungbench"


@dataclass(frozen=True, slots=True)
class Paths:
    """Every place that the program reads or writes by itself."""

    config_file: Path
    plans: Path
    profiles: Path
    archive: Path
    demo_archive: Path
    log_file: Path


def paths() -> Paths:
    """The places, by the customs of the system; on Linux the ``XDG_*`` variables move them.

    Nothing is made here.
    """
    config = platformdirs.user_config_path(_NAME, appauthor=False)
    data = platformdirs.user_data_path(_NAME, appauthor=False)
    log = platformdirs.user_log_path(_NAME, appauthor=False)
    return Paths(
        config_file=config / "config.toml",
        plans=config / "plans",
        profiles=config / "profiles",
        archive=data / "archive.sqlite",
        demo_archive=data / "demo.sqlite",
        log_file=log / "rungbench.log",
    )


def under_home(path: Path) -> str:
    """`path` for people, the user's own folder as ``~``."""
    try:
        return str(Path("~") / path.relative_to(Path.home()))
    except ValueError:
        return str(path)
