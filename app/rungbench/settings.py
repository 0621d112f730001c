"""Settings: an option beats ``RUNGBENCH_*``, which beats ``config.toml``, which beats the default.

A setting is made once and handed on; nothing is global.
"""

import os
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any, Final

from rungbench.errors import InputError, RungbenchError, WrongUse
from rungbench.paths import Place, Server, paths
from rungbench.redact import without_password

_PREFIX: Final = "RUNGBENCH_"
_OPTION: Final = "option"
_DEFAULT: Final = "default"
# Other variables of the program, which are no settings.
_OTHER_VARIABLES: Final = frozenset({"RUNGBENCH_LOG"})


@dataclass(frozen=True, slots=True)
class Settings:
    """What the user chose.

    Parameters
    ----------
    bench : port or URL of the board; empty: none chosen.
    archive, demo_archive : files, or databases on a server, for real and for simulated runs.
    operator : name for the records; may stay empty.
    plan, profile : names or files.
    after_run_folder : folder that gets report and JSON of each run, or empty.
    after_run_command : what to start after each run, with the path of its JSON, or empty.
    """

    bench: str
    archive: str
    demo_archive: str
    operator: str
    plan: str
    profile: str
    after_run_folder: str
    after_run_command: str

    def shown(self) -> dict[str, str]:
        """All settings as a screen may show them: without passwords, and without the command."""
        shown = {one.name: without_password(getattr(self, one.name)) for one in fields(self)}
        for name in ("archive", "demo_archive"):
            shown[name] = _shown_place(getattr(self, name))
        # Whatever somebody needs there, a key of their own system among it.
        shown["after_run_command"] = "(set, not shown)" if self.after_run_command.strip() else ""
        return shown


def _shown_place(text: str) -> str:
    try:
        return str(place_of(text))
    except RungbenchError:
        return "(no archive can be there)"


@dataclass(frozen=True, slots=True)
class Chosen:
    """Settings, and for each where it came from: ``option``, a variable, a file, ``default``."""

    settings: Settings
    sources: Mapping[str, str]

    def archive_for(self, simulated: bool) -> Place:
        """File or server for the records; one named as an option serves either kind.

        Raises
        ------
        InputError : it is neither.
        """
        demo = simulated and self.sources["archive"] != _OPTION
        chosen = self.settings.demo_archive if demo else self.settings.archive
        return place_of(chosen)


def place_of(text: str) -> Place:
    """Where the archive lies that the user named.

    Raises
    ------
    InputError : nothing was named.
    WrongUse : an address of another kind.
    """
    name = text.removeprefix("sqlite:///")
    if not name.strip():
        raise InputError("No archive is named; name a file.")
    # A path would swallow a slash, and folders would be made of what an address says.
    return Server(name) if "://" in name else Path(name).expanduser()


def load_settings(options: Mapping[str, str | None] | None = None) -> Chosen:
    """Settings from `options` (``None``: not given), the environment and the file.

    Raises
    ------
    WrongUse : a key or a variable that is no setting, or a value that is no text.
    InputError : the file cannot be read or is not TOML.
    """
    file = paths().config_file
    layers = (
        (_OPTION, options or {}),
        (_PREFIX, _from_environment(os.environ)),
        (str(file), _from_file(file)),
        (_DEFAULT, _defaults()),
    )
    values: dict[str, str] = {}
    sources: dict[str, str] = {}
    for name in _names():
        for source, layer in layers:
            value = layer.get(name)
            if value is not None:
                values[name] = value
                sources[name] = f"{_PREFIX}{name.upper()}" if source == _PREFIX else source
                break
    return Chosen(Settings(**values), sources)


def _names() -> tuple[str, ...]:
    return tuple(field.name for field in fields(Settings))


def _defaults() -> dict[str, str]:
    places = paths()
    return {
        "bench": "",
        "archive": str(places.archive),
        "demo_archive": str(places.demo_archive),
        "operator": "",
        "plan": "quick",
        "profile": "iec-61851-1-2017",
        "after_run_folder": "",
        "after_run_command": "",
    }


def _from_environment(environment: Mapping[str, str]) -> dict[str, str]:
    found = {}
    for variable in sorted(environment):
        if not variable.startswith(_PREFIX) or variable in _OTHER_VARIABLES:
            continue
        name = variable.removeprefix(_PREFIX).lower()
        if name not in _names():
            known = ", ".join(_PREFIX + one.upper() for one in _names())
            raise WrongUse(f"The variable {variable} is no setting; those are {known}.")
        found[name] = environment[variable]
    return found


def _from_file(file: Path) -> dict[str, str]:
    try:
        content = tomllib.loads(file.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return {}
    except OSError as problem:
        raise InputError(
            f"The settings {file} cannot be read ({problem.strerror}); get the right, or move "
            "the file away."
        ) from problem
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as problem:
        raise InputError(
            f"The settings {file} are not TOML ({problem}); correct them."
        ) from problem
    return {name: _text(name, value, file) for name, value in content.items()}


def _text(name: str, value: Any, file: Path) -> str:
    if name not in _names():
        raise WrongUse(
            f"The settings {file} hold {name!r}, which is no setting; those are "
            f"{', '.join(_names())}."
        )
    if not isinstance(value, str):
        raise WrongUse(f"The settings {file} give {name} a value that is no text; quote it.")
    return value
