"""Start the program with ``python -m rungbench``."""

from rungbench.cli.main import main

if __name__ == "__main__":
    main()
