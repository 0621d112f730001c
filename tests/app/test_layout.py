"""Guards of the layout: what must not appear, and what must stay where it is."""

import ast
import re
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

SOURCES = ("signal", "app", "tests", "fixtures")
TOP_LEVEL = {
    "README.md",
    "DEVELOPERS.md",
    "pyproject.toml",
    "requirements.lock",
    "LICENSE",
    "signal",
    "app",
    "fixtures",
    "tests",
    "hardware_notes",
    # Not in git: what a build leaves behind.
    "build",
    "dist",
}
CATCH_ALL_NAMES = {"common", "util", "utils", "helper", "helpers", "manager", "base"}
WAIVER = re.compile(r"#\s*(noqa|type:\s*ignore|ruff:|mypy:|pylint:|pragma:)")


def python_files(root: Path, *folders: str) -> Iterator[Path]:
    for folder in folders or SOURCES:
        yield from sorted((root / folder).rglob("*.py"))


def quickstart(readme: str, name: str) -> list[str]:
    blocks = re.findall(rf"<!-- quickstart: {name} -->\n+```[a-z]*\n(.*?)```", readme, re.DOTALL)
    assert len(blocks) == 1, f"one block marked quickstart: {name}"
    return str(blocks[0]).strip().splitlines()


def test_source_roots_are_bare(root: Path) -> None:
    # A package named signal would replace the standard library's for all that starts in the root.
    assert [path.name for path in (root / "signal").iterdir() if path.is_file()] == []
    assert not (root / "app" / "__init__.py").exists()
    assert list(root.glob("signal/test*")) == []
    assert [path for path in (root / "tests").rglob("signal*") if path.is_dir()] == []


def test_signal_is_that_of_the_standard_library(root: Path) -> None:
    script = "import signal; print(signal.__file__); signal.SIGINT"
    said = subprocess.run(
        [sys.executable, "-c", script], cwd=root, capture_output=True, text=True, check=True
    )
    assert not Path(said.stdout.strip()).is_relative_to(root / "signal")


def test_top_level_holds_only_what_belongs_there(root: Path) -> None:
    present = {path.name for path in root.iterdir() if not path.name.startswith(".")}
    assert present <= TOP_LEVEL


def test_no_module_is_a_catch_all(root: Path) -> None:
    parts = {
        (path, part)
        for path in python_files(root)
        for part in path.relative_to(root).with_suffix("").parts
    }
    assert [str(path) for path, part in parts if part.strip("_") in CATCH_ALL_NAMES] == []


def test_no_file_is_longer_than_500_lines(root: Path) -> None:
    lengths = {path: len(path.read_text("utf-8").splitlines()) for path in python_files(root)}
    assert [str(path) for path, lines in lengths.items() if lines > 500] == []


def test_no_function_is_longer_than_80_lines(root: Path) -> None:
    long = [
        f"{path}:{node.lineno} {node.name}"
        for path in python_files(root)
        for node in ast.walk(ast.parse(path.read_text("utf-8")))
        if isinstance(node, ast.FunctionDef) and code_lines(node) > 80
    ]
    assert long == []


def code_lines(function: ast.FunctionDef) -> int:
    last = function.end_lineno or function.lineno
    docstring = function.body[0] if ast.get_docstring(function) is not None else None
    described = (docstring.end_lineno or 0) - docstring.lineno + 1 if docstring else 0
    return last - function.lineno + 1 - described


def test_no_rule_is_waived_inline(root: Path) -> None:
    this = Path(__file__).resolve()
    waived = [
        f"{path}:{number}"
        for path in python_files(root)
        if path != this
        for number, line in enumerate(path.read_text("utf-8").splitlines(), start=1)
        if WAIVER.search(line)
    ]
    assert waived == []


def test_packages_carry_their_types(root: Path) -> None:
    assert (root / "signal/pilotsignal/py.typed").is_file()
    assert (root / "app/rungbench/py.typed").is_file()


def test_lock_names_no_host(root: Path) -> None:
    lock = (root / "requirements.lock").read_text("utf-8")
    assert re.findall(r"\w+://\S*", lock) == []
    assert re.findall(r"^\s*(?:-i|-f|--(?:extra-)?index-url|--find-links).*", lock, re.M) == []


def test_lock_pins_with_hashes_all_that_the_project_asks_for(root: Path) -> None:
    lock = (root / "requirements.lock").read_text("utf-8")
    pinned = re.findall(r"^(\S+?)==\S+(?: ;.*)? \\\n    --hash=sha256:[0-9a-f]{64}", lock, re.M)
    assert len(pinned) == len(re.findall(r"^\w", lock, re.M))
    project = tomllib.loads((root / "pyproject.toml").read_text("utf-8"))
    groups = project["dependency-groups"]
    asked = [*project["project"]["dependencies"], *groups["build"], *groups["dev"]]
    names = {re.split(r"[<>=]", line)[0].lower() for line in asked if isinstance(line, str)}
    assert names <= set(pinned)


@pytest.mark.parametrize(("name", "command"), [("run", "app/run"), ("test", "tests/run")])
def test_quick_start_of_the_readme_is_one_command(root: Path, name: str, command: str) -> None:
    readme = (root / "README.md").read_text("utf-8")
    assert quickstart(readme, name) == [command]
    assert (root / command).stat().st_mode & 0o111
