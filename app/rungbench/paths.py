"""Where settings, archives and logs lie on this machine."""

import re
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

import platformdirs

from rungbench.errors import WrongUse

_NAME = "rungbench"
_SERVER: Final = "postgresql"
# Scheme, then perhaps name and password, as they are told apart when the address is used.
_USER: Final = re.compile(r"^[^:/@]*(?::[^@]*)?@")


@dataclass(frozen=True, slots=True)
class Paths:
    """Every place that the program reads or writes by itself."""

    config_file: Path
    plans: Path
    profiles: Path
    archive: Path
    demo_archive: Path
    kept: Path
    reports: Path
    calibrations: Path
    simulated_calibrations: Path
    log_file: Path


@dataclass(frozen=True, slots=True)
class Server:
    """A database on a server that holds an archive; as text it shows neither name nor password.

    Raises
    ------
    WrongUse : an address of another kind, or one whose password stands where it might be printed.
    """

    url: str = field(repr=False)

    def __post_init__(self) -> None:
        scheme = self.url.partition("://")[0]
        if scheme.partition("+")[0] != _SERVER:
            raise WrongUse(
                f"An archive at {scheme}:// is not supported; name a file, or "
                "postgresql+psycopg://SERVER/DATABASE."
            )
        if "password=" in self.url.lower():
            raise WrongUse(
                "A password after the archive's address is not taken; let ~/.pgpass or "
                "PGPASSWORD give it."
            )

    def __str__(self) -> str:
        scheme, _, rest = self.url.partition("://")
        place = _USER.sub("", rest).partition("?")[0].rpartition("@")[2]
        return f"{scheme}://{place}"

    def exists(self) -> bool:
        """Whether to look there; a server is there until it was asked."""
        return True


# Where an archive lies.
Place = Path | Server


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
        kept=data / "kept",
        reports=data / "reports",
        calibrations=data / "calibrations",
        simulated_calibrations=data / "simulated_calibrations",
        log_file=log / "rungbench.log",
    )


def under_home(path: Place) -> str:
    """`path` for people, the user's own folder as ``~``."""
    if isinstance(path, Server):
        return str(path)
    try:
        return str(Path("~") / path.relative_to(Path.home()))
    except ValueError:
        return str(path)
