"""Plans from TOML, refused with the line and the key that is wrong."""

import hashlib
import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from importlib import resources
from pathlib import Path
from typing import Any, Final, TypeVar

from rungbench.archive.record import Role
from rungbench.link.words import CableCode, LadderSet, Mode, Rung, Setting
from rungbench.qualify.checks import CHECK_KINDS
from rungbench.qualify.desk import Ask
from rungbench.qualify.errors import PlanError
from rungbench.qualify.plan import (
    Await,
    Do,
    Expect,
    Plan,
    PlannedCheck,
    Request,
    Step,
    When,
)

SCHEMA: Final = "rungbench.plan/1"
# Levels need resolution; a change must be seen within the shortest pulse.
MODES: Final = {
    Do.OBSERVE: Mode.STREAM10,
    Do.CHANGE: Mode.STREAM8,
    # Edges and mains tell what an answer brings about; nobody knows how long it takes.
    Do.ASK: Mode.OFF,
    Do.TOGGLE: Mode.STREAM8,
    Do.SWEEP: Mode.STREAM10,
    Do.RECOVER: Mode.STREAM10,
    Do.ENDURE: Mode.STREAM10,
}
LONGEST_S: Final = 7200.0

_Word = TypeVar("_Word", bound=StrEnum)
_TOP: Final = ("schema", "name", "title", "about", "step")
_SETTING: Final = ("rung", "ladder", "diode", "pe", "cable")
_DURATIONS: Final = (
    "settle_s",
    "record_s",
    "retake_s",
    "await_pwm_s",
    "before_s",
    "after_s",
    "every_s",
)
_REQUEST: Final = ("ask", "awaits", "limit_s", "answer_s", "ampere")
_LISTS: Final = ("holds_s", "amperes")
_STEP: Final = (
    "name",
    "do",
    "when",
    "needs",
    "outlet",
    "mode",
    "expect",
    "limit",
    "check",
    *_SETTING,
    *_DURATIONS,
    *_REQUEST,
    *_LISTS,
)
# What a kind of step asks unless the plan says otherwise.
_ASKS: Final = {Do.SWEEP: Ask.SET_CURRENT, Do.RECOVER: Ask.CLEAR}
_CHECK: Final = ("id", "kind", "role", "against")
_OUTLETS: Final = ("", "socket", "cable")
_NAME: Final = re.compile(r"[a-z0-9][a-z0-9-]*\Z")


def shipped_plans() -> tuple[str, ...]:
    """Names of the plans inside the package."""
    folder = resources.files("rungbench.qualify") / "plans"
    return tuple(sorted(p.name.removesuffix(".toml") for p in folder.iterdir()))


def load_plan(name: str, own: Path | None = None) -> Plan:
    """The plan called `name`: from the folder `own` of the user's plans, else from the package.

    Raises
    ------
    PlanError : no such plan, one that hides a shipped one, or one that cannot be run; names file,
        line and key.
    """
    if _NAME.match(name) is None:
        raise PlanError(f"A plan's name has small letters, digits and dashes only, not {name!r}.")
    path = None if own is None else own / f"{name}.toml"
    if path is not None and path.is_file():
        if name in shipped_plans():
            # Two records that say "quick" must have been through the same checks.
            raise PlanError(f"{path} has the name of a plan that is shipped; rename the file.")
        return read_plan(_text_of(path), str(path))
    shipped = resources.files("rungbench.qualify") / "plans" / f"{name}.toml"
    if not shipped.is_file():
        raise PlanError(f"There is no plan {name!r}; known: {', '.join(shipped_plans())}.")
    return read_plan(shipped.read_text(encoding="utf-8"), f"{name}.toml")


def _text_of(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8")
    except UnicodeDecodeError as problem:
        raise PlanError(f"{path} is not a text in UTF-8; save it as such.") from problem


def read_plan(text: str, origin: str) -> Plan:
    """The plan in `text`; `origin` is what errors call it.

    Raises
    ------
    PlanError : as `load_plan`.
    """
    try:
        table = tomllib.loads(text)
    except tomllib.TOMLDecodeError as problem:
        raise PlanError(f"{origin} is not TOML: {problem}.") from problem
    place = _Place(origin, text)
    _known(table, _TOP, place)
    if table.get("schema") != SCHEMA:
        raise place.key("schema").error(f"must be {SCHEMA!r}")
    steps = tuple(
        _step(row, place.row("step", index))
        for index, row in enumerate(_rows(table, "step", place))
    )
    plan = Plan(
        name=_text(table, "name", place),
        title=_text(table, "title", place),
        about=_text(table, "about", place, ""),
        steps=steps,
        hash=hashlib.sha256(text.encode()).hexdigest(),
    )
    _consistent(plan, place)
    return plan


@dataclass(frozen=True, slots=True)
class _Place:
    """Where in the file we are, so that an error can name the line."""

    origin: str
    text: str
    path: str = ""
    start: int = 0
    end: int | None = None

    def row(self, name: str, index: int) -> "_Place":
        """The table number `index` of the array `name` inside this place."""
        header = f"{self.path}.{name}".lstrip(".").replace("[", "").replace("]", "")
        header = re.sub(r"\d+", "", header)
        lines = self._lines()
        heads = [n for n, line in lines if line.strip() == f"[[{header}]]"]
        start = heads[index] if index < len(heads) else self.start
        later = [n for n in heads if n > start]
        stop = later[0] if later else self.end
        return _Place(
            self.origin, self.text, f"{self.path}.{name}[{index}]".lstrip("."), start, stop
        )

    def key(self, key: str) -> "_Place":
        """The line of `key` in this table, or its first line."""
        line = next(
            (n for n, line in self._lines() if re.match(rf"\s*{re.escape(key)}\s*=", line)),
            self.start,
        )
        path = f"{self.path}.{key}".lstrip(".")
        return _Place(self.origin, self.text, path, line, line + 1)

    def error(self, problem: str) -> PlanError:
        return PlanError(f"{self.origin}, line {self.start + 1}, {self.path}: {problem}.")

    def _lines(self) -> list[tuple[int, str]]:
        lines = self.text.splitlines()
        return list(enumerate(lines))[self.start : self.end]


def _step(row: Mapping[str, Any], place: _Place) -> Step:
    _known(row, _STEP, place)
    do = _word(row, "do", place, Do)
    checks = tuple(
        _check(check, place.row("check", index), do)
        for index, check in enumerate(_rows(row, "check", place, needed=False))
    )
    expect = _word(row, "expect", place, Expect) if "expect" in row else None
    if do is Do.CHANGE and (expect is None or not row.get("limit")):
        raise place.error("a change must say what to expect and by which limit")
    durations = {key: _seconds(row, key, place) for key in _DURATIONS if key in row}
    return Step(
        name=_text(row, "name", place),
        do=do,
        setting=_setting(row, place),
        checks=checks,
        mode=_word(row, "mode", place, Mode, MODES[do]),
        expect=expect,
        limit=_text(row, "limit", place, ""),
        when=_word(row, "when", place, When, When.ALWAYS),
        needs=_word(row, "needs", place, Ask) if "needs" in row else None,
        outlet=_outlet(row, place),
        any_cable="cable" not in row,
        request=_request(row, place, do),
        holds_s=_numbers(row, "holds_s", place, needed=do is Do.TOGGLE),
        amperes=_numbers(row, "amperes", place, needed=do is Do.SWEEP),
        **durations,
    )


def _outlet(row: Mapping[str, Any], place: _Place) -> str:
    outlet = _text(row, "outlet", place, "")
    if outlet not in _OUTLETS:
        raise place.key("outlet").error(f"{outlet!r} is none of socket, cable")
    return outlet


def _request(row: Mapping[str, Any], place: _Place, do: Do) -> Request | None:
    if do not in (Do.ASK, *_ASKS):
        extra = next((key for key in _REQUEST if key in row), None)
        if extra is not None:
            raise place.key(extra).error(f"a step that does {do!s} asks nobody anything")
        return None
    ask = _word(row, "ask", place, Ask, _ASKS.get(do))
    numbers = {key: _seconds(row, key, place) for key in ("limit_s", "answer_s") if key in row}
    ampere = _seconds(row, "ampere", place) if "ampere" in row else None
    if do is Do.ASK and (ask is Ask.SET_CURRENT) != (ampere is not None):
        raise place.error("'ampere' goes with the question 'set the current', and only with it")
    awaits = _word(row, "awaits", place, Await, Await.NOTHING)
    return Request(ask, awaits, ampere=ampere, **numbers)


def _numbers(row: Mapping[str, Any], key: str, place: _Place, *, needed: bool) -> tuple[float, ...]:
    values = row.get(key, [])
    if needed != bool(values):
        raise place.key(key).error(
            "must be a list of numbers" if needed else "does not belong to this kind of step"
        )
    if not isinstance(values, list):
        raise place.key(key).error("must be a list of numbers")
    return tuple(_seconds({key: value}, key, place) for value in values)


def _setting(row: Mapping[str, Any], place: _Place) -> Setting:
    return Setting(
        rung=_word(row, "rung", place, Rung),
        ladder=_word(row, "ladder", place, LadderSet, LadderSet.NOMINAL),
        diode_in=_word(row, "diode", place, _Diode, _Diode.IN) is _Diode.IN,
        pe_closed=_word(row, "pe", place, _Return, _Return.CLOSED) is _Return.CLOSED,
        cable=_word(row, "cable", place, CableCode, CableCode.OPEN),
    )


class _Diode(StrEnum):
    IN = "in"
    BYPASSED = "bypassed"


class _Return(StrEnum):
    CLOSED = "closed"
    OPEN = "open"


def _check(row: Mapping[str, Any], place: _Place, do: Do) -> PlannedCheck:
    _known(row, _CHECK, place)
    kind = _text(row, "kind", place)
    if kind not in CHECK_KINDS:
        raise place.key("kind").error(
            f"there is no check {kind!r}; known: {', '.join(sorted(CHECK_KINDS))}"
        )
    known = CHECK_KINDS[kind]
    if do not in known.steps:
        raise place.key("kind").error(f"{kind} cannot be judged from a step that does {do!s}")
    against = _text(row, "against", place, "")
    if known.compares and not against:
        raise place.error(f"{kind} compares with an earlier step: name it with 'against'")
    if against and not known.compares:
        raise place.key("against").error(f"{kind} does not compare with another step")
    role = _word(row, "role", place, Role, known.role)
    return PlannedCheck(_text(row, "id", place, kind), kind, role, against)


def _consistent(plan: Plan, place: _Place) -> None:
    """Refuse what only the whole plan shows."""
    if not plan.checks:
        raise place.error("the plan has no check, and an empty plan proves nothing")
    if not any(check.role is Role.REQUIRED for check in plan.checks):
        raise place.error("no check of the plan is required, so that nothing would decide")
    names: set[str] = set()
    ids: set[str] = set()
    for index, step in enumerate(plan.steps):
        here = place.row("step", index)
        if step.name in names:
            raise here.key("name").error(f"a step called {step.name!r} came before")
        for number, check in enumerate(step.checks):
            line = here.row("check", number)
            if check.against and check.against not in names:
                raise line.key("against").error(
                    f"no step before this one is called {check.against!r}"
                )
            if check.id in ids:
                raise line.error(f"the id {check.id!r} is used twice; give each an id of its own")
            ids.add(check.id)
        names.add(step.name)


def _known(row: Mapping[str, Any], keys: Sequence[str], place: _Place) -> None:
    for key in row:
        if key not in keys:
            raise place.key(key).error(f"there is no such key; known: {', '.join(keys)}")


def _rows(
    row: Mapping[str, Any], key: str, place: _Place, needed: bool = True
) -> list[Mapping[str, Any]]:
    rows = row.get(key, [])
    if not isinstance(rows, list) or not all(isinstance(entry, dict) for entry in rows):
        raise place.key(key).error("must be tables, each under its own [[...]] line")
    if needed and not rows:
        raise place.key(key).error("the plan has none, and an empty plan proves nothing")
    return rows


def _text(row: Mapping[str, Any], key: str, place: _Place, default: str | None = None) -> str:
    value = row.get(key, default)
    if value is None:
        raise place.error(f"{key!r} is missing")
    if not isinstance(value, str):
        raise place.key(key).error("must be a text in quotes")
    return value


def _word(
    row: Mapping[str, Any],
    key: str,
    place: _Place,
    words: type[_Word],
    default: _Word | None = None,
) -> _Word:
    if key not in row and default is not None:
        return default
    value = _text(row, key, place)
    try:
        return words(value)
    except ValueError:
        known = ", ".join(words)
        raise place.key(key).error(f"{value!r} is none of {known}") from None


def _seconds(row: Mapping[str, Any], key: str, place: _Place) -> float:
    value = row[key]
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise place.key(key).error("must be a number of seconds")
    if not 0 <= value <= LONGEST_S:
        raise place.key(key).error(f"must lie between 0 and {LONGEST_S:g} s")
    return float(value)
