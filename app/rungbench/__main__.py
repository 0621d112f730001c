"""Start the program, by its name or with ``python -m rungbench``."""

import sys
from typing import NoReturn

INTERNAL_ERROR = 4  # as `errors.ExitStatus.BENCH_FAULT`, which cannot be imported either


def main() -> NoReturn:
    """Run the command line; a package that cannot be loaded is told in one sentence."""
    try:
        from rungbench.cli.main import main as begin
    except ImportError as problem:
        told = " ".join(str(problem).split())
        sys.stderr.write(
            f"A package that the program needs cannot be loaded ({told}); "
            "install the program anew as its README says.\n"
        )
        sys.exit(INTERNAL_ERROR)
    begin()


if __name__ == "__main__":
    main()
