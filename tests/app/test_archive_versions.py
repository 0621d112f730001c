"""Every version of the archive stays readable; the tables are what the migrations make."""

import json
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from archive_runs import write
from postgres_server import PostgresServer

from pilotsignal.capture import Capture, EdgeRecord
from rungbench.archive import database, schema
from rungbench.archive.chain import Kind, record_hash
from rungbench.archive.document import run_document
from rungbench.archive.links import chains_of, links_of
from rungbench.archive.search import Search
from rungbench.archive.store import open_archive
from rungbench.archive.verify import verify
from rungbench.lots.audit import audit
from rungbench.lots.document import lot_document
from rungbench.lots.store import Lots

pytest_plugins = ("archive_places",)

MIGRATIONS = Path(database.__file__).parent / "migrations"
FROZEN = tuple(f"{number:04d}" for number in range(1, int(schema.HEAD) + 1))


def test_the_migrations_make_the_tables_of_the_program(tmp_path: Path) -> None:
    with (
        open_archive(tmp_path / "a.sqlite", simulated=False) as archive,
        archive._engine.connect() as connection,
    ):
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, schema.metadata) == []


def test_the_program_expects_the_newest_migration() -> None:
    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS))
    assert ScriptDirectory.from_config(config).get_heads() == [schema.HEAD]


def test_an_archive_that_is_up_to_date_opens_without_alembic(tmp_path: Path) -> None:
    path = tmp_path / "a.sqlite"
    open_archive(path, simulated=False).close()
    program = (
        "import sys\n"
        "from rungbench.archive.store import open_archive\n"
        f"open_archive({str(path)!r}, simulated=False).close()\n"
        "sys.exit('alembic' in sys.modules)\n"
    )
    environment = {"PYTHONPATH": ":".join(sys.path)}
    subprocess.run([sys.executable, "-c", program], check=True, env=environment)


def test_each_version_has_a_frozen_archive(root: Path) -> None:
    frozen = [path.stem[-4:] for path in (root / "fixtures" / "archives").glob("*.sqlite")]
    assert sorted(frozen) == list(FROZEN)


@pytest.mark.parametrize("version", FROZEN)
def test_a_frozen_archive_is_read(root: Path, tmp_path: Path, version: str) -> None:
    """Written once by fixtures/archives/make_archive.py; never written again."""
    frozen = root / "fixtures" / "archives"
    path = tmp_path / "old.sqlite"
    shutil.copy(frozen / f"archive-{version}.sqlite", path)
    expected = json.loads((frozen / f"archive-{version}.json").read_text(encoding="utf-8"))
    with open_archive(path, simulated=False) as archive:
        ids = [one.run_id for one in archive.find(Search())]
        assert ids == [one["record"] for one in expected["records"]]
        for one in expected["records"]:
            _same(run_document(archive.load(one["record"]), budget=True), one)
        for key, content in expected["contents"].items():
            recorded = archive.load_capture(key)
            values = recorded.times if isinstance(recorded, EdgeRecord) else recorded.samples
            assert [values.size, int(values[0]), int(values[-1]), int(values.sum())] == content
            if isinstance(recorded, Capture):
                assert recorded.calibration.id == "CAL-7"
        for lot in expected.get("lots", ()):
            _same(lot_document(Lots(archive).state(lot["lot"])), lot)
        for run, told in expected.get("hashes", {}).items():
            assert record_hash(archive.load(run)) == told


@pytest.mark.parametrize("version", FROZEN)
def test_a_frozen_archive_is_upgraded_and_goes_on(root: Path, tmp_path: Path, version: str) -> None:
    path = tmp_path / "old.sqlite"
    shutil.copy(root / "fixtures" / "archives" / f"archive-{version}.sqlite", path)
    with open_archive(path, simulated=False) as archive:
        before = [archive.load(one.run_id) for one in archive.find(Search())]
        write(archive, "later-bbbbb", "unnamed")
        found = verify(archive)
        assert found.sound
        lots = [("lots of this archive", True)] if version > "0001" else []
        assert [(chain.bench, chain.own) for chain in found.chains] == [("unnamed", True), *lots]
        assert audit(archive) == ()
        assert found.chains[0].records == len(before) + 1
        assert [archive.load(one.run_id) for one in before] == before
        first = Kind.ADOPTED if version < "0003" else Kind.BEGUN
        with archive.reading() as connection:
            links = [link for link, _ in links_of(connection, chains_of(connection)[0])]
        assert links[0].kind is first


def test_the_migrations_make_them_on_a_server_too(postgres: PostgresServer) -> None:
    with (
        open_archive(postgres.new_database(), simulated=False) as archive,
        archive.reading() as connection,
    ):
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        differences = compare_metadata(context, schema.metadata)
    # Only a server needs these: its own order of letters is another.
    extra = [one for one in differences if one[0] == "remove_index"]
    assert sorted(one[1].name for one in extra) == [
        "ix_captures_sha256_prefix",
        "ix_runs_run_id_prefix",
        "ix_runs_serial_key_prefix",
    ]
    assert extra == differences


def _same(found: Any, expected: Any) -> None:
    """Equal, floats but for the last digits, which Student's factor of another version may move."""
    if isinstance(expected, dict):
        # A later program may say more about an old record, never less.
        assert expected.keys() <= found.keys()
        for name, value in expected.items():
            _same(found[name], value)
    elif isinstance(expected, list):
        assert len(found) == len(expected)
        for one, value in zip(found, expected, strict=True):
            _same(one, value)
    elif isinstance(expected, float):
        assert found == pytest.approx(expected, rel=1e-9)
    else:
        assert found == expected
