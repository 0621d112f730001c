"""What the window remembers: a TOML file beside the settings, in sections of plain values."""

import json
import logging
import os
import tomllib
from contextlib import suppress
from pathlib import Path
from typing import Final, TypeVar

from rungbench.paths import paths

Value = str | int | float | bool
_Value = TypeVar("_Value", str, int, float, bool)
_log = logging.getLogger(__name__)
_FILE: Final = "desktop.toml"


class Preferences:
    """Read once, written by `save`; a file that is damaged or cannot be written stops nothing."""

    def __init__(self, file: Path | None = None) -> None:
        self.file = file or paths().config_file.parent / _FILE
        self.trouble = ""
        self._sections: dict[str, dict[str, Value]] = {}
        self._read()

    def get(self, section: str, key: str, default: _Value) -> _Value:
        """The value, or `default` where there is none of its type."""
        value = self._sections.get(section, {}).get(key, default)
        return value if isinstance(value, type(default)) and _same(value, default) else default

    def put(self, section: str, key: str, value: Value) -> None:
        """Remember; `save` writes it."""
        self._sections.setdefault(section, {})[key] = value

    def save(self) -> None:
        """Write the file whole, or leave the old one and say why in `trouble`."""
        text = "\n".join(_section(name, keys) for name, keys in sorted(self._sections.items()))
        beside = self.file.with_name(f".{self.file.name}.{os.getpid()}")
        try:
            self.file.parent.mkdir(parents=True, exist_ok=True)
            beside.write_text(text, encoding="utf-8")
            beside.replace(self.file)
        except OSError as problem:
            reason = problem.strerror or str(problem)
            self.trouble = f"The preferences {self.file} cannot be written ({reason})."
            _log.warning("%s", self.trouble)
            with suppress(OSError):
                beside.unlink(missing_ok=True)

    def _read(self) -> None:
        try:
            content = tomllib.loads(self.file.read_text(encoding="utf-8"))
        except FileNotFoundError:
            return
        except (OSError, tomllib.TOMLDecodeError, UnicodeDecodeError) as problem:
            self.trouble = f"The preferences {self.file} are not used ({problem})."
            _log.warning("%s", self.trouble)
            return
        for name, keys in content.items():
            if isinstance(keys, dict):
                plain = {k: v for k, v in keys.items() if isinstance(v, (str, int, float, bool))}
                self._sections[name] = plain


def _same(value: Value, default: Value) -> bool:
    """Whether the types agree; to Python a truth value is a whole number, too."""
    return isinstance(value, bool) == isinstance(default, bool)


def _section(name: str, keys: dict[str, Value]) -> str:
    lines = [f"[{name}]", *(f"{json.dumps(key)} = {_text(value)}" for key, value in keys.items())]
    return "\n".join(lines) + "\n"


def _text(value: Value) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    # A string of JSON is one of TOML, but for pairs of surrogates and one control character.
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    return repr(value)
