"""A package that cannot be loaded is told in one sentence, wherever it is first needed."""

import subprocess
import sys

import pytest

# Packages that the start needs, and one that only a command does.
PACKAGES = ["click", "platformdirs", "numpy", "rich"]


@pytest.mark.parametrize("package", PACKAGES)
def test_a_package_that_is_not_there(package: str) -> None:
    code = (
        f"import sys; sys.modules[{package!r}] = None\n"
        "sys.argv[1:] = ['qualify', '--bench', 'sim://sound', '--plans']\n"
        "from rungbench.__main__ import main; main()"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], check=False, capture_output=True, text=True, timeout=60
    )
    assert done.returncode == 4, done.stderr
    assert done.stdout == ""
    assert done.stderr.count("\n") == 1
    assert package in done.stderr
    assert "install the program anew" in done.stderr
