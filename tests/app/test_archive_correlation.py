"""Inputs that quantities share are still shared once both were read back from the archive."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import pytest
from qualify_runs import Run, last

from pilotsignal.budget import combine, derive
from pilotsignal.calibration import KnownPart
from pilotsignal.quantity import Quantity
from rungbench.archive.record import CheckResult
from rungbench.archive.store import open_archive
from rungbench.qualify.ladder_limit import part_rows
from rungbench.qualify.progress import CheckDone


@dataclass(frozen=True)
class Twice:
    """The results of one run as they were in memory, and as the archive gives them back."""

    live: Mapping[str, CheckResult]
    archived: Mapping[str, CheckResult]
    calibration: Mapping[str, Any]

    def parts(self) -> list[Quantity]:
        stored = self.calibration["parts"]
        known = [KnownPart(**stored[name]) for name in ("permanent", "diode_drop_b", "input_ohm")]
        return [
            combine(part.id, part.unit, part.value, "calibration", part_rows(part, 1.0))
            for part in known
        ]


@pytest.fixture(scope="module")
def twice(tmp_path_factory: pytest.TempPathFactory) -> Twice:
    """A run of the simulated bench, its archive closed and opened again."""
    run = Run(tmp_path_factory.mktemp("archive"))
    run_id = run.record().run_id
    with open_archive(run.archive, simulated=True) as archive:
        record = archive.load(run_id)
    live = {one.result.check: one.result for one in run.told if isinstance(one, CheckDone)}
    return Twice(live, last(record), record.header.calibration)


def measured(results: Mapping[str, CheckResult], check: str, name: str) -> Quantity:
    return next(one for one in results[check].quantities if one.name == name)


def own(quantity: Quantity, owner: str) -> Quantity:
    """The same quantity, none of its inputs shared with another one."""
    rows = tuple(replace(row, id=f"{row.id}/{owner}") for row in quantity.rows)
    return replace(quantity, rows=rows)


def levels(results: Mapping[str, CheckResult]) -> list[Quantity]:
    return [measured(results, check, "high_plateau_v") for check in ("idle-level", "plateau-b")]


def source(inputs: list[Quantity]) -> Quantity:
    """From the circuit of IEC 61851-1:2017, figure A.1, with the input of the bench."""
    return derive(
        "source_resistance_ohm",
        "ohm",
        "two levels",
        lambda a, b, r, d, i: (a - b) / ((b - d) / r - (a - b) / i),
        inputs,
    )


def test_the_source_from_archived_levels_is_that_of_the_run(twice: Twice) -> None:
    live = source([*levels(twice.live), *twice.parts()])
    again = source([*levels(twice.archived), *twice.parts()])
    assert again.value == pytest.approx(live.value, rel=1e-12)
    assert again.u == pytest.approx(live.u, rel=1e-12)
    assert again.dof == pytest.approx(live.dof, rel=1e-9)
    assert {row.id: row.contribution for row in again.rows} == pytest.approx(
        {row.id: row.contribution for row in live.rows}, rel=1e-9, abs=1e-12
    )


def test_without_the_ids_the_uncertainty_would_be_wrong(twice: Twice) -> None:
    """Gain and offset are most of a level's uncertainty, and mostly cancel in the source."""
    idle, loaded = levels(twice.archived)
    together = source([idle, loaded, *twice.parts()])
    apart = source([own(idle, "A"), own(loaded, "B"), *twice.parts()])
    assert apart.value == together.value
    assert apart.u > 2.0 * together.u


def test_the_source_that_the_run_found_shares_its_calibration_with_the_levels(
    twice: Twice,
) -> None:
    found = measured(twice.archived, "source-resistance", "source_resistance_ohm")
    owner = twice.calibration["id"]
    shared = {f"gain@{owner}", f"offset@{owner}"}
    for quantity in (found, *levels(twice.archived)):
        assert shared <= {row.id for row in quantity.rows}
    words = {row.component.partition(",")[0] for row in found.rows}
    assert words >= {"gain", "offset", "linearity"}


def test_a_budget_adds_up_and_is_the_same_after_storage(twice: Twice) -> None:
    for check, result in twice.archived.items():
        assert result.quantities == twice.live[check].quantities
        for quantity in result.quantities:
            total = sum(row.contribution**2 for row in quantity.rows) ** 0.5
            if quantity.rows:
                assert total == pytest.approx(quantity.u, rel=1e-9), quantity.name
