"""What is said where the compilers or the simulator's library are missing."""

import shutil
import subprocess
from pathlib import Path

import pytest
from board_simulator import build

TABLE = """\
# comment
qt    libNothing.so.9             libnothing9
test  avr-gcc-nowhere             gcc-avr
test  /nowhere/avr/include/io.h   avr-libc
test  sh                          dash
"""


@pytest.fixture
def table(tmp_path: Path) -> Path:
    (tmp_path / "app").mkdir()
    path = tmp_path / "app" / "system_packages"
    path.write_text(TABLE, encoding="ascii")
    return path


def test_the_tests_name_the_missing_packages(table: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(build, "_TABLE", table)
    with pytest.raises(build.CannotBuild, match="install -y .* gcc-avr avr-libc$"):
        build.built.__wrapped__()


def test_tests_run_finds_a_package_by_a_header(table: Path, root: Path) -> None:
    shell = shutil.which("sh")
    assert shell is not None
    script = 'find_python; missing_packages test; printf "%s\\n" "$me"'
    done = subprocess.run(
        [shell, "-c", f". {root}/app/environment.sh; {script}"],
        env={"root": str(table.parents[1]), "me": "a test", "PATH": "/usr/bin:/bin"},
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stdout.splitlines() == ["gcc-avr avr-libc", "a test"]


def test_the_table_names_all_that_is_built_with(root: Path) -> None:
    rows = [line.split() for line in (root / "app/system_packages").read_text("utf-8").splitlines()]
    tests = {row[2] for row in rows if len(row) == 3 and row[0] == "test"}
    assert {"gcc", "make", "gcc-avr", "avr-libc", "simavr", "libsimavr-dev"} <= tests
    assert tests >= build._NEEDED


def test_a_compiler_that_refuses_is_quoted(tmp_path: Path) -> None:
    (tmp_path / "Makefile").write_text("all:\n\t@echo this is wrong; false\n", encoding="ascii")
    with pytest.raises(build.CannotBuild, match="this is wrong"):
        build._make(tmp_path, tmp_path / "build")
