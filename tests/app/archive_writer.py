"""Program that writes runs until it is killed: ``python archive_writer.py FILE FIRST SEED``.

It prints a line after each finished check, once the archive has returned from storing it.
"""

import sys
from dataclasses import replace
from pathlib import Path

from archive_examples import check, counts, edges, header

from rungbench.archive.store import open_archive


def main() -> None:
    path, first, seed = Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3])
    with open_archive(path, simulated=True) as archive:
        number = first
        while True:
            run = f"{number:05d}-aaaaa"
            archive.begin(header(run, simulated=True))
            for at in range(12):
                keys = (
                    archive.add_capture(run, counts(20_000, seed + at), f"samples {at}"),
                    archive.add_capture(run, edges(500 + at), f"edges {at}"),
                )
                archive.add_check(run, replace(check(f"check-{at}"), captures=keys))
                print(run, at, flush=True)
            number += 1


if __name__ == "__main__":
    main()
