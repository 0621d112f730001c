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

from pilotsignal.capture import Capture, EdgeRecord
from rungbench.archive import database, schema
from rungbench.archive.document import run_document
from rungbench.archive.search import Search
from rungbench.archive.store import open_archive

MIGRATIONS = Path(database.__file__).parent / "migrations"


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


@pytest.mark.parametrize("version", ["0001"])
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
