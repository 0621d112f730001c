"""Samples of many periods laid over one another."""

import numpy as np

from pilotsignal.capture import Gap
from pilotsignal.folded_edges import Window, fold_edge, gather, missing_before, window_of
from pilotsignal.timing import fit_comb


def test_windows_around_edges() -> None:
    samples = np.arange(1000, dtype=np.int16)
    at, cycle = np.array([2, 100, 500, 997]), np.array([0, 1, 2, 3])
    found = gather(samples, (), at, cycle, Window(5, 5))
    assert found.cycle.tolist() == [1, 2]  # the outer windows leave the record
    assert found.place[0].tolist() == list(range(95, 105))
    assert found.value.tolist() == found.place.tolist()


def test_windows_that_meet_a_gap_are_left_out_and_time_goes_on_behind() -> None:
    samples = np.arange(1000, dtype=np.int16)
    at = np.array([100, 298, 303, 500])
    found = gather(samples, (Gap(300, 40),), at, np.arange(4), Window(5, 5))
    assert found.cycle.tolist() == [0, 3]
    assert found.place[1].tolist() == list(range(535, 545))
    assert found.value[1].tolist() == list(range(495, 505))


def test_missing_samples_before_an_index() -> None:
    gaps = (Gap(10, 3), Gap(20, 4))
    assert missing_before(gaps, np.array([0, 9, 10, 19, 20, 99])).tolist() == [0, 0, 3, 3, 7, 7]
    assert missing_before((), np.array([5])).tolist() == [0]


def test_folding_lays_samples_in_order() -> None:
    """Samples of a straight line folded at the right period lie on that line."""
    period, number = 100.37, np.arange(300)
    at = np.ceil(7.0 + period * number).astype(np.int64)
    time = np.arange(at[-1] + 20)
    line = np.zeros(time.size)
    for true in 7.0 + period * number:
        near = np.abs(time - true) < 20
        line[near] = time[near] - true
    found = fold_edge(gather(line, (), at, number, Window(5, 5)), 7.0, period)
    assert (np.diff(found.phase) > 0).all()
    assert found.count.sum() == 10 * 300
    # Bins average phase and value alike, so that a straight line stays one.
    assert np.abs(found.phase - found.value).max() < 1e-6


def test_nothing_to_fold() -> None:
    found = fold_edge(gather(np.zeros(20), (), np.array([1]), np.array([0]), Window(5, 5)), 0, 9.0)
    assert found.phase.size == found.value.size == found.count.size == 0


def test_windows_hold_no_other_edge() -> None:
    for width in (4.0, 30.0, 90.0, 97.0):
        number = np.arange(10)
        rise = np.asarray(100.0 * number, np.float64)
        comb = fit_comb(rise, rise + width)
        assert comb is not None
        window = window_of(comb)
        assert window.before <= max(2, 0.5 * min(width, 100.0 - width))
