"""Rows of edges: nothing is lost by adding up, and gaps and both ends are kept out."""

from dataclasses import replace

import numpy as np
import pytest
from pilot_waves import fine, pilot

from pilotsignal import edge_rows as module
from pilotsignal.capture import Gap
from pilotsignal.edge_rows import EdgeRows, Teeth, edge_rows
from pilotsignal.measure import measure
from pilotsignal.synth import synthesise


def taken(samples: np.ndarray, teeth: Teeth, gaps: tuple[Gap, ...] = ()) -> EdgeRows:
    rows = edge_rows(samples, gaps, teeth)
    assert rows is not None
    return rows


def test_expected_places_and_phases() -> None:
    samples = np.arange(1000, dtype=np.int16)
    rows = taken(samples, Teeth(10.25, 100.5, 2, 3, 1.0))
    assert rows.index[:3].tolist() == [11, 111, 212]
    assert rows.at[:3] == pytest.approx([0.75, 0.25, 0.75])
    assert rows.mean[0].tolist() == [9, 10, 11, 12, 13]
    assert rows.phase[0] == pytest.approx([-1.25, -0.25, 0.75, 1.75, 2.75])
    assert rows.gap == pytest.approx(0.5)


def test_windows_stay_inside_the_record_and_off_gaps() -> None:
    """Samples 250 to 299 are missing: the edge at 310.5 now has index 261, the one at 250 none."""
    samples = np.arange(500, dtype=np.int16)
    rows = taken(samples, Teeth(1.0, 62.3, 3, 4, 1.0), (Gap(250, 50),))
    assert rows.number[0] == 1
    assert 4 not in rows.number
    fifth = int(np.flatnonzero(rows.number == 5)[0])
    assert rows.index[fifth] == 313 - 50
    assert rows.mean[fifth, 3] == 263
    assert rows.index[-1] + 4 <= 500


def test_grouped_rows_hold_the_same_sums() -> None:
    rng = np.random.default_rng(5)
    samples = rng.integers(-2000, 2000, 400_000).astype(np.int16)
    teeth = Teeth(7.3, 51.7703, 3, 5, 2.0)
    grouped = taken(samples, teeth)
    assert grouped.at.size == 128
    columns = np.arange(-3, 5)
    single = samples[grouped.index[:, None] + columns].astype(np.float64)
    for row in (0, 17, 127):
        mine = grouped.row == row
        number = grouped.number[mine].astype(np.float64)
        assert grouped.count[row] == mine.sum()
        assert grouped.mean[row] == pytest.approx(single[mine].mean(axis=0))
        slope = np.polyfit(number - number.mean(), single[mine], 1)[0]
        assert grouped.tilt[row] == pytest.approx(slope)
        assert grouped.spread[row] == pytest.approx(np.sum((number - number.mean()) ** 2))


def test_nothing_whole_gives_nothing() -> None:
    assert edge_rows(np.zeros(5, np.int16), (), Teeth(2.0, 10.0, 3, 4, 1.0)) is None


@pytest.mark.parametrize(("interval_s", "count"), [(1e-5, 1_200_000), (2e-6, 1_600_000)])
def test_grouping_changes_results_by_less_than_a_tenth_of_u(
    interval_s: float, count: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The full fold keeps every edge a row of its own."""
    wave = replace(pilot("B"), width_us=410.0)
    capture, _ = synthesise(wave, fine(count=count, interval_s=interval_s))
    calls = []
    sums = module._sums

    def counted(
        samples: np.ndarray, teeth: Teeth, edges: tuple[np.ndarray, ...], rows: int
    ) -> tuple[np.ndarray, np.ndarray]:
        calls.append(rows)
        index, off, row = edges
        return sums(samples, teeth, (index, off, row), rows)

    monkeypatch.setattr(module, "_sums", counted)
    grouped = measure(capture)
    assert calls
    calls.clear()
    monkeypatch.setattr(module, "_FEW", 1 << 40)
    full = measure(capture)
    assert not calls
    assert grouped.notices == full.notices
    for name, quantity in full.quantities().items():
        if "jitter" in name:
            continue  # which edges have samples enough to tell it is decided row by row
        other = grouped.quantities()[name]
        assert (quantity is None) == (other is None), name
        if quantity is not None and other is not None:
            assert abs(quantity.value - other.value) <= 0.1 * quantity.u, name
            assert other.u == pytest.approx(quantity.u, rel=0.06), name
