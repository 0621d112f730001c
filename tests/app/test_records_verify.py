"""``records verify`` as a whole: chains, lots by their rules, and what this computer wrote last."""

import json
from pathlib import Path

import pytest
from archive_runs import write
from lot_examples import fill, order
from test_archive_chain import tamper

from rungbench.archive import links
from rungbench.archive.lot_events import adopt_lots
from rungbench.archive.store import open_archive
from rungbench.cli.main import run
from rungbench.lots.store import Lots


@pytest.fixture
def place(tmp_path: Path) -> Path:
    path = tmp_path / "a.sqlite"
    with open_archive(path, simulated=False) as archive:
        write(archive, "first-bbbbb")
        write(archive, "secnd-bbbbb")
        lot = Lots(archive).make(order())
        fill(archive, lot, "ppppppppppppp")
        Lots(archive).close(lot)
    return path


def verify(place: Path, *words: str) -> int:
    return int(run(["records", "verify", "--archive", str(place), *words]))


def test_a_sound_archive_with_a_lot(place: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert verify(place) == 0
    out = capsys.readouterr().out
    assert "lots: entries 1 to 15, 1 lot, head" in out
    assert "bench 17: entries 1 to 4, 2 records as recorded" in out
    assert out.endswith("sound: all that is here is as it was recorded\n")


def test_an_older_copy_is_noticed_until_it_is_accepted(
    place: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    old = tmp_path / "old.sqlite"
    assert run(["records", "backup", str(old), "--archive", str(place)]) == 0
    with open_archive(place, simulated=False) as archive:
        write(archive, "third-bbbbb")
    # Not by `restore`, which notes what it does.
    place.write_bytes(old.read_bytes())
    for beside in ("-wal", "-shm"):
        place.with_name(place.name + beside).unlink(missing_ok=True)
    capsys.readouterr()
    assert verify(place) == 4
    out = capsys.readouterr().out
    assert "BROKEN: Bench 17: entry 6" in out
    assert "an older copy was put back" in out
    assert verify(place, "--renew") == 4
    assert "no longer expected: bench 17, entry 6" in capsys.readouterr().err
    assert verify(place) == 0


def test_restore_notes_what_is_there_now(place: Path, tmp_path: Path) -> None:
    old = tmp_path / "old.sqlite"
    assert run(["records", "backup", str(old), "--archive", str(place)]) == 0
    with open_archive(place, simulated=False) as archive:
        write(archive, "third-bbbbb")
    assert run(["records", "restore", str(old), "--replace", "--archive", str(place)]) == 0
    assert verify(place) == 0


def test_a_decision_that_its_runs_do_not_give_is_named(
    place: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with open_archive(place, simulated=False) as archive:
        tamper(archive, "UPDATE lot_ends SET decision = 'reject'")
    assert verify(place, "--json") == 4
    told = json.loads(capsys.readouterr().out)
    assert told["sound"] is False
    why = [one["why"] for one in told["breaks"]]
    assert any("how it was closed was changed or removed" in one for one in why)
    assert any("it was closed as reject, and its counts give accept" in one for one in why)


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        # All of a chain worked out again over a changed record: no key is needed for that.
        (
            ("UPDATE runs SET serial = 'D-9999' WHERE number = 1", "DELETE FROM entries"),
            "made anew",
        ),
        # Passed off as a chain from elsewhere, whose beginning may lie there.
        (
            (
                "UPDATE chains SET own = 0 WHERE bench = '17'",
                "DELETE FROM entries WHERE position < 3 AND record = 'first-bbbbb'",
            ),
            "Bench 17: entry 4",
        ),
    ],
)
def test_what_no_chain_shows_the_notes_do(
    place: Path, changes: tuple[str, ...], why: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with open_archive(place, simulated=False) as archive:
        tamper(archive, *changes)
        with archive.writing() as connection:
            links.adopt(connection)
            adopt_lots(connection)
    assert verify(place) == 4
    assert why in capsys.readouterr().out


def test_a_demo_archive_is_not_passed_off_as_a_real_one(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    place = tmp_path / "demo.sqlite"
    with open_archive(place, simulated=True) as archive:
        write(archive, "first-bbbbb")
        tamper(archive, "UPDATE archive_info SET value = 'no' WHERE name = 'simulated'")
    assert verify(place) == 4
    told = "The archive says that its runs are real, and record first-bbbbb is simulated."
    assert told in capsys.readouterr().out
