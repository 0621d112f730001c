"""The pages of the help: texts in the package, tables made when they are read; no Qt."""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from importlib.resources import files
from types import MappingProxyType
from typing import Final

from rungbench.desktop.help_licences import about_page, licence_page
from rungbench.desktop.meanings import WHAT_TO_DO
from rungbench.desktop.run_keys import KEYS as RUN_KEYS

START: Final = "start"
ABOUT: Final = "about"
LICENCE: Final = "licence/"

TITLES: Final[Mapping[str, str]] = MappingProxyType(
    {
        START: "Where to begin",
        "pilot": "The control pilot explained",
        "faults": "What each fault looks like",
        "readings": "Every reading explained",
        "verdicts": "How a verdict is made",
        "notices": "Notices and what to do",
        "run": "How a run goes",
        "lots": "Lots and sampling",
        "bench": "The bench",
        "keys": "All keys",
        "build": "Building the stand-in",
        "safety": "Safety",
        ABOUT: "About",
    }
)
"""All pages in the order of the list."""

TOPICS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "frequency_hz": "readings#frequency",
        "duty_percent": "readings#duty",
        "pulse_width_zero_us": "readings#pulse-width-at-0-v",
        "pulse_width_us": "readings#pulse-width-at-0-v",
        "pulse_width_mid_us": "readings#pulse-width-at-half-height",
        "high_plateau_v": "readings#high-level",
        "low_plateau_v": "readings#low-level",
        "rise_time_us": "readings#rise-and-fall-time",
        "fall_time_us": "readings#rise-and-fall-time",
        "width_jitter_us": "readings#jitter",
        "period_jitter_us": "readings#jitter",
        "state": "readings#state",
        "advertised_current_a": "readings#advertised-current",
        "source_resistance": "readings#source-resistance",
        "mains": "readings#times-to-mains",
        "verdict": "verdicts",
        "probability": "readings#probability-of-conformity",
        "calibration": "bench#calibration",
        "cautions": "safety",
    }
)
"""Where a reading, by the name of its quantity, is explained; notices are ``notices#CODE``."""

_CHECKS: Final = {
    "readings#high-level": (
        "idle-level", "idle-steadiness", "plateau-standard", "plateau-ladder", "steady-level",
        "soak-level", "steady-held",
    ),
    "readings#low-level": ("low-plateau",),
    "faults#high-rail-wrong": ("rail-high",),
    "faults#low-rail-wrong-or-missing": ("rail-low",),
    "readings#source-resistance": ("source-resistance",),
    "readings#frequency": ("frequency", "soak-frequency"),
    "readings#duty": ("duty-change", "duty-steps"),
    "readings#pulse-width-at-0-v": ("pulse-width", "soak-width"),
    "readings#jitter": ("width-jitter", "period-jitter"),
    "readings#rise-and-fall-time": ("rise-time", "fall-time"),
    "readings#advertised-current": (
        "advertised-current", "least-current", "set-points", "set-point-fit", "lowest-power",
    ),
    "readings#times-to-mains": (
        "mains-on", "mains-off", "phases", "new-duty", "reactions", "mains-kept", "f-duration",
        "pwm-off", "soak-mains", "soak-looks",
    ),
    "pilot#the-states": (
        "no-mains", "no-mains-silent", "no-mains-restart", "no-pwm-unplugged", "ventilation",
        "straight-to-c", "session-kept", "recovery",
    ),
    "pilot#the-diode": ("diode-shown",),
    "pilot#the-cable": ("cable-code",),
    "faults#recognition-shifted": ("recognised",),
    "faults#duty-of-5": ("digital", "no-mains-digital"),
    "faults#outlet-stays-live": ("outlet-dead",),
}  # fmt: skip
CHECK_TOPICS: Final[Mapping[str, str]] = MappingProxyType(
    {kind: target for target, kinds in _CHECKS.items() for kind in kinds}
)
"""Where a check, by its kind, is explained."""

_HEADING: Final = re.compile(r"^(#{1,3}) (.+)$", re.MULTILINE)
_MARKS: Final = re.compile(r"[*`]|!?\[([^\]]*)\]\([^)]*\)")


@dataclass(frozen=True, slots=True)
class Place:
    """A place in the help: a page and, if not empty, the slug of a heading on it."""

    page: str
    heading: str = ""

    @classmethod
    def of(cls, target: str) -> "Place":
        """The place of a link such as ``readings#why-8-98-v``."""
        page, _, heading = target.partition("#")
        return cls(page, heading)

    def __str__(self) -> str:
        return f"{self.page}#{self.heading}" if self.heading else self.page


@dataclass(frozen=True, slots=True)
class Hit:
    """A heading under which the words that were sought stand."""

    place: Place
    title: str


def slug(heading: str) -> str:
    """A heading as it stands in links: ``Why 8.98 V`` is ``why-8-98-v``."""
    return re.sub(r"[^a-z0-9]+", "-", heading.lower()).strip("-")


def page_text(page: str) -> str:
    """The Markdown of a page.

    Raises
    ------
    KeyError : there is no such page.
    """
    if page == ABOUT:
        return about_page()
    if page.startswith(LICENCE):
        return licence_page(page.removeprefix(LICENCE))
    if page not in TITLES:
        raise KeyError(page)
    text = files("rungbench").joinpath("help", f"{page}.md").read_text("utf-8")
    if page == "notices":
        return _with_remedies(text)
    if page == "keys":
        return text + _run_keys()
    return text


def headings(page: str) -> Iterator[str]:
    """All headings of a page but its title."""
    for marks, heading in _HEADING.findall(page_text(page)):
        if len(marks) > 1:
            yield heading


def exists(place: Place) -> bool:
    """Whether a link leads anywhere."""
    try:
        text = page_text(place.page)
    except KeyError:
        return False
    found = {slug(heading) for _, heading in _HEADING.findall(text)}
    return not place.heading or place.heading in found


def topic(name: str) -> Place:
    """Where a quantity, a check or a notice is explained; the beginning if nowhere.

    Checks are told by their kind, or by their id, which begins with the kind.
    """
    if name in WHAT_TO_DO:
        return Place("notices", slug(name))
    kinds = (kind for kind in CHECK_TOPICS if name == kind or name.startswith(f"{kind}-"))
    kind = max(kinds, key=len, default="plateau-standard" if name.startswith("plateau-") else "")
    return Place.of(TOPICS.get(name) or CHECK_TOPICS.get(kind, START))


def search(words: str) -> tuple[Hit, ...]:
    """Sections in which all words stand, in any order, upper or lower case alike."""
    wanted = words.lower().split()
    if not wanted:
        return ()
    found = []
    for page, title in TITLES.items():
        for heading, body in _sections(page_text(page)):
            said = f"{title} {heading} {body}".lower()
            if all(word in said for word in wanted):
                name = title if not heading or heading == title else f"{title}: {heading}"
                found.append(Hit(Place(page, slug(heading)), name))
    return tuple(found)


def _sections(text: str) -> Iterator[tuple[str, str]]:
    """Heading and plain body of each section of a page."""
    marks = list(_HEADING.finditer(text))
    for number, mark in enumerate(marks):
        end = marks[number + 1].start() if number + 1 < len(marks) else len(text)
        yield mark[2], _MARKS.sub(r"\1", text[mark.end() : end])


def _with_remedies(text: str) -> str:
    """Each notice with the sentence that says what to do."""
    parts = re.split(r"^## ", text, flags=re.MULTILINE)
    found = [parts[0]]
    for part in parts[1:]:
        code = part.partition("\n")[0].strip()
        found.append(f"{part.rstrip()}\n\n**What to do:** {WHAT_TO_DO[code]}\n\n")
    return "## ".join(found)


def _run_keys() -> str:
    rows = "\n".join(f"| {key.keys} | {key.text} |" for key in RUN_KEYS)
    return f"## Run\n\n| key | what it does |\n|---|---|\n{rows}\n"
