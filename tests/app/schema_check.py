"""Checks a document against a JSON Schema: the words of draft 2020-12 that our schemas use.

A word that is not known here is an error, so that no schema promises what nobody checks.
"""

import re
from collections.abc import Callable, Iterator, Mapping
from typing import Any, Final

_KINDS: Final[Mapping[str, Callable[[Any], bool]]] = {
    "object": lambda value: isinstance(value, dict),
    "array": lambda value: isinstance(value, list),
    "string": lambda value: isinstance(value, str),
    "boolean": lambda value: isinstance(value, bool),
    "null": lambda value: value is None,
    "integer": lambda value: isinstance(value, int) and not isinstance(value, bool),
    "number": lambda value: isinstance(value, int | float) and not isinstance(value, bool),
}
_SILENT: Final = ("description", "title", "$schema", "$defs")


def problems(document: Any, schema: Mapping[str, Any]) -> list[str]:
    """What does not fit, each with its place; empty if all does."""
    return list(_problems(document, schema, schema, "$"))


def _problems(
    value: Any, part: Mapping[str, Any], whole: Mapping[str, Any], at: str
) -> Iterator[str]:
    for word, wanted in part.items():
        if word not in _SILENT:
            yield from _CHECKS[word](value, wanted, whole, at)


def _ref(value: Any, wanted: str, whole: Mapping[str, Any], at: str) -> Iterator[str]:
    part: Any = whole
    for name in wanted.removeprefix("#/").split("/"):
        part = part[name]
    yield from _problems(value, part, whole, at)


def _type(value: Any, wanted: Any, _whole: object, at: str) -> Iterator[str]:
    kinds = [wanted] if isinstance(wanted, str) else wanted
    if not any(_KINDS[kind](value) for kind in kinds):
        yield f"{at}: {value!r:.40} is no {' or '.join(kinds)}"


def _enum(value: Any, wanted: list[Any], _whole: object, at: str) -> Iterator[str]:
    if value not in wanted:
        yield f"{at}: {value!r:.40} is none of {wanted}"


def _const(value: Any, wanted: Any, _whole: object, at: str) -> Iterator[str]:
    if value != wanted:
        yield f"{at}: {value!r:.40} is not {wanted!r}"


def _pattern(value: Any, wanted: str, _whole: object, at: str) -> Iterator[str]:
    if isinstance(value, str) and re.search(wanted, value) is None:
        yield f"{at}: {value!r:.40} does not fit {wanted}"


def _minimum(value: Any, wanted: float, _whole: object, at: str) -> Iterator[str]:
    if _KINDS["number"](value) and not value >= wanted:
        yield f"{at}: {value} is less than {wanted}"


def _maximum(value: Any, wanted: float, _whole: object, at: str) -> Iterator[str]:
    if _KINDS["number"](value) and not value <= wanted:
        yield f"{at}: {value} is more than {wanted}"


def _min_items(value: Any, wanted: int, _whole: object, at: str) -> Iterator[str]:
    if isinstance(value, list) and len(value) < wanted:
        yield f"{at}: fewer than {wanted}"


def _required(value: Any, wanted: list[str], _whole: object, at: str) -> Iterator[str]:
    if isinstance(value, dict):
        yield from (f"{at}: {name} is missing" for name in wanted if name not in value)


def _properties(value: Any, wanted: Any, whole: Mapping[str, Any], at: str) -> Iterator[str]:
    if isinstance(value, dict):
        for name, part in wanted.items():
            if name in value:
                yield from _problems(value[name], part, whole, f"{at}.{name}")


def _additional(value: Any, wanted: Any, whole: Mapping[str, Any], at: str) -> Iterator[str]:
    """Used only where no properties are named, so that all of them are additional."""
    if isinstance(value, dict):
        for name, one in value.items():
            yield from _problems(one, wanted, whole, f"{at}.{name}")


def _items(value: Any, wanted: Any, whole: Mapping[str, Any], at: str) -> Iterator[str]:
    if isinstance(value, list):
        for number, one in enumerate(value):
            yield from _problems(one, wanted, whole, f"{at}[{number}]")


def _any_of(value: Any, wanted: Any, whole: Mapping[str, Any], at: str) -> Iterator[str]:
    told = [list(_problems(value, part, whole, at)) for part in wanted]
    if all(told):
        yield min(told, key=len)[0]


_CHECKS: Final[Mapping[str, Callable[..., Iterator[str]]]] = {
    "$ref": _ref,
    "type": _type,
    "enum": _enum,
    "const": _const,
    "pattern": _pattern,
    "minimum": _minimum,
    "maximum": _maximum,
    "minItems": _min_items,
    "required": _required,
    "properties": _properties,
    "additionalProperties": _additional,
    "items": _items,
    "anyOf": _any_of,
}
