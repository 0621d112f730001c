"""Version and licences: what the program stands on, with the texts that come with it; no Qt."""

import platform
import re
from collections.abc import Iterator
from dataclasses import dataclass
from importlib import metadata
from importlib.resources import files
from pathlib import Path
from typing import Final

from rungbench import __version__

_NAME: Final = "rungbench"
_OF_QT: Final = ("PySide6-Essentials", "shiboken6")
_OWN_TEXTS: Final = {
    "LGPL-3.0": "GNU Lesser General Public License, version 3",
    "GPL-3.0": "GNU General Public License, version 3, which the LGPL refers to",
}
_TYPEFACES: Final = {
    "typeface-dejavu": ("DejaVu Sans Condensed", "LICENSE-dejavu.txt"),
    "typeface-droid": ("Droid Sans Fallback", "LICENSE-droid.txt"),
}
_TEXTS: Final = re.compile(r"(^|/)(licen[cs]e|copying|notice)[^/]*$", re.IGNORECASE)
_SOURCE: Final = (".py", ".pyc", ".pyi")
_LONGEST: Final = 60


@dataclass(frozen=True, slots=True)
class Component:
    """A package that the program uses: name, version, and its licence in a few words."""

    name: str
    version: str
    licence: str


def components() -> tuple[Component, ...]:
    """All packages that the installed program needs, by name; extras are left out."""
    found: dict[str, Component] = {}
    waiting = list(_needed_by(_NAME))
    while waiting:
        name = waiting.pop()
        if _plain(name) in found:
            continue
        try:
            about = metadata.metadata(name)
        except metadata.PackageNotFoundError:
            continue  # asked for on other systems only
        component = Component(about["Name"], about["Version"], _licence_of(about))
        found[_plain(name)] = component
        waiting += _needed_by(name)
    return tuple(sorted(found.values(), key=lambda one: one.name.lower()))


def _plain(name: str) -> str:
    return re.sub(r"[-_.]+", "-", name).lower()


def _needed_by(name: str) -> Iterator[str]:
    try:
        lines = metadata.requires(name) or ()
    except metadata.PackageNotFoundError:
        lines = ()  # run from its sources, without an installation
    for line in lines:
        if "extra ==" not in line:
            yield re.split(r"[\s<>=!~;\[(]", line, maxsplit=1)[0]


def _licence_of(about: metadata.PackageMetadata) -> str:
    """The licence as the package states it: expression, classifier, or the first line of a text."""
    stated = _stated(about, "License-Expression")
    if stated:
        return stated
    classified = [
        line.rpartition("::")[2].strip()
        for line in about.get_all("Classifier") or ()
        if line.startswith("License ::")
    ]
    named = [one for one in classified if one != "OSI Approved"]
    if named:
        return ", ".join(named)
    first = _stated(about, "License").strip().partition("\n")[0]
    return first[:_LONGEST] or "see its text"


def _stated(about: metadata.PackageMetadata, key: str) -> str:
    return str(next(iter(about.get_all(key) or ()), ""))


def licence_texts(name: str) -> Iterator[tuple[str, str]]:
    """File and text of each licence that an installed package ships."""
    try:
        shipped = metadata.files(name) or ()
    except metadata.PackageNotFoundError:
        return
    for file in shipped:
        path = str(file)
        if _TEXTS.search(path) and not path.endswith(_SOURCE):
            text = _read(file)
            if text:
                yield path, text


def _read(file: metadata.PackagePath) -> str:
    try:
        return Path(str(file.locate())).read_text(encoding="utf-8", errors="replace")
    except OSError:
        return ""


def about_page() -> str:
    """The page About, in Markdown."""
    rows = "\n".join(
        f"| [{one.name}](licence/{one.name}) | {one.version} | {one.licence} |"
        for one in components()
    )
    faces = "\n".join(
        f"| [{name}](licence/{key}) | in reports |" for key, (name, _) in _TYPEFACES.items()
    )
    texts = "\n".join(f"- [{title}](licence/{key})" for key, title in _OWN_TEXTS.items())
    text = files(_NAME).joinpath("help", "about.md").read_text("utf-8")
    system = f"Python {platform.python_version()} on {platform.system()}"
    for mark, filled in (
        ("VERSION", __version__),
        ("SYSTEM", system),
        ("TEXTS", texts),
        ("PACKAGES", rows),
        ("TYPEFACES", faces),
    ):
        text = text.replace(f"[[{mark}]]", filled)
    return text


def licence_page(name: str) -> str:
    """The texts of one licence as a page.

    Raises
    ------
    KeyError : nothing of that name is known here.
    """
    if name in _OWN_TEXTS:
        text = files(_NAME).joinpath("help", "licences", f"{name}.txt").read_text("utf-8")
        return _page(_OWN_TEXTS[name], [("", text)])
    if name in _TYPEFACES:
        title, file = _TYPEFACES[name]
        text = files(_NAME).joinpath("report", "typefaces", file).read_text("utf-8")
        return _page(title, [("", text)])
    known = {_plain(one.name): one for one in components()}
    if name != _NAME and _plain(name) not in known:
        raise KeyError(name)
    return _page(name, list(licence_texts(name)), _where_else(name))


def _where_else(name: str) -> str:
    """What to say of a package that ships no text of its licence."""
    if _plain(name) in {_plain(one) for one in _OF_QT}:
        return (
            "This package ships no text of its own. Its licence is "
            "[LGPL version 3](licence/LGPL-3.0), which refers to [GPL version 3](licence/GPL-3.0)."
        )
    return "This package ships no text of its licence; it states it in its description only."


def _page(title: str, texts: list[tuple[str, str]], otherwise: str = "") -> str:
    if not texts:
        return f"# {title}\n\n{otherwise}\n\n[Back to About](about)\n"
    bodies = []
    for file, text in texts:
        heading = f"## {file}\n\n" if file else ""
        bodies.append(f"{heading}````\n{text.rstrip()}\n````\n")
    return f"# {title}\n\n[Back to About](about)\n\n" + "\n".join(bodies)
