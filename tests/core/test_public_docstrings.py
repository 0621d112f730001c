"""Every public name of the core says what it does; arrays have shapes, errors have names.

The names are found in the source, so that a new one cannot come without its text.
"""

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

import pilotsignal

ROOT = Path(pilotsignal.__file__).parent
ARRAYS = ("Floats", "Indices", "NDArray", "ArrayLike", "Counts")


def public() -> Iterator[tuple[str, ast.AST]]:
    """Modules, classes, functions and methods without an underscore, by dotted name."""
    for path in sorted(ROOT.rglob("*.py")):
        module = ".".join(path.relative_to(ROOT).with_suffix("").parts)
        tree = ast.parse(path.read_text(encoding="utf-8"))
        yield module, tree
        for node in tree.body:
            if not isinstance(node, ast.FunctionDef | ast.ClassDef) or node.name[0] == "_":
                continue
            yield f"{module}.{node.name}", node
            if isinstance(node, ast.ClassDef):
                for inner in node.body:
                    if isinstance(inner, ast.FunctionDef) and inner.name[0] != "_":
                        yield f"{module}.{node.name}.{inner.name}", inner


NAMES = dict(public())
FUNCTIONS = {name: node for name, node in NAMES.items() if isinstance(node, ast.FunctionDef)}


def text_of(node: ast.AST) -> str:
    assert isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef)
    return ast.get_docstring(node) or ""


def own_arrays(node: ast.FunctionDef) -> bool:
    """Whether a parameter is an array."""
    given = (*node.args.args, *node.args.kwonlyargs)
    return any(
        word in ast.unparse(one.annotation) for one in given if one.annotation for word in ARRAYS
    )


def raised(node: ast.FunctionDef) -> set[str]:
    """Names of the errors that the function itself raises."""
    found = set()
    for inner in ast.walk(node):
        if isinstance(inner, ast.Raise) and isinstance(inner.exc, ast.Call):
            found.add(ast.unparse(inner.exc.func).split(".")[-1])
    return {name for name in found if name[0] != "_"}  # a function that makes one names it


def test_there_are_as_many_as_there_should_be() -> None:
    """The walk sees the core: a wrong root would make every other test here pass."""
    assert len(FUNCTIONS) > 250
    assert {"measure.measure", "judge.judge", "fold.fold", "standard.decode.state_of"} <= set(NAMES)


def test_every_public_name_has_a_docstring() -> None:
    assert [name for name, node in NAMES.items() if len(text_of(node)) < 10] == []


def test_functions_of_arrays_give_shapes() -> None:
    missing = [
        name
        for name, node in FUNCTIONS.items()
        if own_arrays(node) and not told(name, node, ("shape",))
    ]
    assert missing == []


def told(name: str, node: ast.FunctionDef, words: tuple[str, ...]) -> bool:
    """Whether a function says it, or its class or module says it for all, or what it refers to."""
    owner, _, method = name.rpartition(".")
    texts = [text_of(node), text_of(NAMES[owner])]
    if texts[0].startswith("See `"):
        other = texts[0].split("`")[1].removeprefix("pilotsignal.")
        place = other if "." in other else f"{owner.split('.')[0]}.{other}"
        texts.append(text_of(NAMES[f"{place}.{method}"]))
    return any(word in text for text in texts for word in words)


@pytest.mark.parametrize("name", FUNCTIONS)
def test_errors_that_a_function_raises_are_named(name: str) -> None:
    node = FUNCTIONS[name]
    for error in raised(node):
        assert told(name, node, (error,)), f"{name} raises {error} and does not say so"
