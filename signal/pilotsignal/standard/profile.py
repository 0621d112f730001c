"""Profiles: the limits and codes of one edition of one standard.

Profiles of one's own are files of the same form.  They may be based on one that
ships here and state only what differs, and they show their hash wherever they
judge.
"""

import hashlib
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from pathlib import Path
from types import MappingProxyType
from typing import Any, Final, Self

from pilotsignal.errors import ProfileError
from pilotsignal.limit import Limit
from pilotsignal.standard.reading import Reader, Tables, is_row
from pilotsignal.standard.rows import (
    ContactBand,
    CurrentBand,
    DutyBand,
    Part,
    SpecialDuty,
    Table,
    Window,
)

BUILT_IN: Final = ("iec-61851-1-2017", "sae-j1772-2017")
DEFAULT: Final = BUILT_IN[0]
_CONFIRM: Final = "Limits of one's own: confirm them against your own copy of the standard."


@dataclass(frozen=True, slots=True)
class Profile:
    """Limits and codes, each with its edition and clause.

    Parameters
    ----------
    name : stable name.
    title, edition : for people.
    hash : SHA-256 of the file (with the one it is based on), hexadecimal.
    label : `name`; for a profile of one's own with the beginning of its hash.
    own : whether it is one's own.
    pulse_width_level : ``zero`` (crossing of 0 V) or ``mid`` (50 % points): which width is judged.
    confirm : the line that asks to confirm the numbers against one's own copy.
    """

    name: str
    title: str
    edition: str
    hash: str
    label: str
    own: bool
    pulse_width_level: str
    confirm: str
    limits: Mapping[tuple[str, str | None], Limit]
    windows: Mapping[str, Window]
    duty_bands: tuple[DutyBand, ...]
    current_bands: tuple[CurrentBand, ...]
    special_duties: tuple[SpecialDuty, ...]
    cables: tuple[ContactBand, ...]
    proximities: tuple[ContactBand, ...]
    parts: Mapping[str, Part]

    def limit(self, key: str, state: str | None = None) -> Limit:
        """The limit `key`; where it depends on the state, of `state` (``A``, or ``A1``, ``A2``).

        Raises
        ------
        ProfileError : the profile has no such row.
        """
        found = self._find(key, state)
        if found is None:
            where = f" in state {state}" if state else ""
            raise ProfileError(
                f"Profile {self.label} has no limit {key!r}{where}; "
                "choose another profile or leave the check out."
            )
        return found

    def has(self, key: str, state: str | None = None) -> bool:
        """Whether there is such a limit; it need not decide (see `Limit.deciding`)."""
        return self._find(key, state) is not None

    def keys(self) -> tuple[str, ...]:
        """Keys of the limits, in the order of the file, each once."""
        return tuple(dict.fromkeys(key for key, _ in self.limits))

    def part(self, name: str) -> Part:
        """A part that the edition names.

        Raises
        ------
        ProfileError : the profile has no such row.
        """
        if name not in self.parts:
            raise ProfileError(f"Profile {self.label} names no part {name!r}.")
        return self.parts[name]

    def _find(self, key: str, state: str | None) -> Limit | None:
        of_state = self.limits.get((key, state[:1])) if state else None
        return of_state or self.limits.get((key, None))


@dataclass(frozen=True, slots=True)
class _Text:
    """A profile file before it is read."""

    file: str
    tables: Tables
    content: bytes

    @classmethod
    def of(cls, file: str, content: bytes) -> Self:
        try:
            tables = tomllib.loads(content.decode("utf-8"))
        except UnicodeDecodeError as problem:
            raise ProfileError(f"{file} is not a text in UTF-8; save it as such.") from problem
        except tomllib.TOMLDecodeError as problem:
            raise ProfileError(f"{file} is not valid TOML: {problem}.") from problem
        return cls(file, tables, content)

    def head(self) -> Table:
        entries = self.tables.get("profile")
        if not isinstance(entries, dict):
            raise ProfileError(
                f"{self.file}, table [profile], key 'name': the table is missing; "
                "add it with name, title and edition."
            )
        return Table(self.file, "[profile]", entries, "")


def load_profile(name_or_path: str | Path = DEFAULT) -> Profile:
    """Profile by its name, or one's own from a file.

    Parameters
    ----------
    name_or_path : one of `BUILT_IN`, or a path (a text counts as one if it ends with ``.toml`` or
        holds a separator).

    Raises
    ------
    ProfileError : no such profile; a file that cannot be read or has a faulty row, with the file,
        the table and the key.
    """
    if isinstance(name_or_path, str) and name_or_path in BUILT_IN:
        return _built_in(name_or_path)
    path = Path(name_or_path)
    if isinstance(name_or_path, str) and path.suffix != ".toml" and len(path.parts) <= 1:
        raise ProfileError(
            f"There is no profile {name_or_path!r}; choose {' or '.join(BUILT_IN)}, "
            "or give the path of a .toml file."
        )
    try:
        content = path.read_bytes()
    except OSError as problem:
        reason = problem.strerror or "it cannot be opened"
        raise ProfileError(
            f"The profile {path} cannot be read: {reason}; check the path."
        ) from problem
    return parse_profile(path.name, content)


def parse_profile(file: str, content: bytes) -> Profile:
    """One's own profile from the bytes of a file called `file`; raises as `load_profile`."""
    text = _Text.of(file, content)
    name = text.head().text("name")
    if name in BUILT_IN:
        text.head().fail("name", f"{name} is a profile of this program; choose another name")
    base = text.head().maybe_text("based_on")
    if base and base not in BUILT_IN:
        text.head().fail("based_on", f"{base!r} is none of {', '.join(BUILT_IN)}")
    return _profile(_over(_shipped(base), text) if base else text, own=True)


@cache
def _built_in(name: str) -> Profile:
    return _profile(_shipped(name), own=False)


def _shipped(name: str) -> _Text:
    file = f"{name}.toml"
    return _Text.of(file, files(__package__).joinpath(file).read_bytes())


def _over(base: _Text, own: _Text) -> _Text:
    """The tables of `base` with those of `own` laid over them.

    Named rows replace rows of the same name (and state); a list of rows replaces the whole list.
    """
    merged = _stamped(base.tables, base.tables["profile"]["edition"])
    for section, entries in own.tables.items():
        merged[section] = _laid_over(merged.get(section), entries)
    merged["profile"] = _head_over(base.tables["profile"], own.tables["profile"])
    return _Text(own.file, merged, base.content + own.content)


def _laid_over(below: Any, above: Any) -> Any:
    if not isinstance(below, dict) or not isinstance(above, dict) or is_row(below) or is_row(above):
        return above
    return {**below, **{key: _laid_over(below.get(key), row) for key, row in above.items()}}


def _stamped(tables: Any, edition: str) -> Any:
    """The same tables, every row with the edition that it comes from."""
    if isinstance(tables, list):
        return [_stamped(entry, edition) for entry in tables]
    if not isinstance(tables, dict):
        return tables
    inner = {key: _stamped(value, edition) for key, value in tables.items()}
    return {"edition": edition, **inner} if "clause" in inner else inner


def _head_over(base: Mapping[str, Any], own: Mapping[str, Any]) -> dict[str, Any]:
    inherited = {key: base[key] for key in ("edition", "pulse_width_level") if key in base}
    return {"confirm": _CONFIRM, **inherited, **own}


def _profile(text: _Text, *, own: bool) -> Profile:
    head = text.head()
    name, title, edition = head.text("name"), head.text("title"), head.text("edition")
    level = head.choice("pulse_width_level", ("zero", "mid"))
    confirm = head.maybe_text("confirm", _CONFIRM)
    head.maybe_text("based_on")
    head.finish()
    digest = hashlib.sha256(text.content).hexdigest()
    label = f"{name} ({digest[:12]})" if own else name
    reader = Reader(text.file, text.tables, edition, label)
    reader.check_sections()
    return Profile(
        name=name,
        title=title,
        edition=edition,
        hash=digest,
        label=label,
        own=own,
        pulse_width_level=level,
        confirm=confirm,
        limits=MappingProxyType(reader.limits()),
        windows=MappingProxyType(reader.windows()),
        duty_bands=reader.duty_bands(),
        current_bands=reader.current_bands(),
        special_duties=reader.special_duties(),
        cables=reader.contact_bands("cable"),
        proximities=reader.contact_bands("proximity"),
        parts=MappingProxyType(reader.parts()),
    )
