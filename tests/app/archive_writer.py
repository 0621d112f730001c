"""Program that writes runs: ``python archive_writer.py PLACE FIRST SEED [BOARD RUNS]``.

Without RUNS it goes on until it is killed.  It prints a line after each finished check, once the
archive has returned from storing it.
"""

import itertools
import sys
from dataclasses import replace

from archive_examples import check, counts, edges, header

from rungbench.archive.record import RunVerdict, utc_now
from rungbench.archive.store import Archive, open_archive

CHECKS = 12


def main() -> None:
    place, first, seed = sys.argv[1], int(sys.argv[2]), int(sys.argv[3])
    board = sys.argv[4] if len(sys.argv) > 4 else "17"
    last = first + int(sys.argv[5]) if len(sys.argv) > 5 else None
    with open_archive(place, simulated=True) as archive:
        for number in itertools.count(first) if last is None else range(first, last):
            write_run(archive, f"{number:05d}-{board}aaa", board, seed)
            if last is not None:
                archive.finish(f"{number:05d}-{board}aaa", RunVerdict.PASS, utc_now())


def write_run(archive: Archive, run: str, board: str, seed: int) -> None:
    archive.begin(replace(header(run, simulated=True), board={"board_id": board}))
    for at in range(CHECKS):
        keys = (
            archive.add_capture(run, counts(20_000, seed + at), f"samples {at}"),
            archive.add_capture(run, edges(500 + at), f"edges {at}"),
        )
        archive.add_check(run, replace(check(f"check-{at}"), captures=keys))
        print(run, at, flush=True)


if __name__ == "__main__":
    main()
