"""Edges on raw samples, with noise that chatters and spikes that are no pulses."""

import numpy as np
import pytest

from pilotsignal.edges import Edges, find_edges
from pilotsignal.levels import find_levels


def pulses(count: int = 30, high: int = 30, low: int = 70) -> np.ndarray:
    """Counts 100 and 900; begins low."""
    return np.tile(np.repeat(np.array([100, 900], np.int16), [low, high]), count)


def edges_of(samples: np.ndarray) -> Edges:
    return find_edges(samples, find_levels(samples))


def test_every_edge_with_its_direction() -> None:
    found = edges_of(pulses())
    rises, falls = [70 + 100 * k for k in range(30)], [100 * k for k in range(1, 30)]
    assert found.index.tolist() == sorted(rises + falls)
    assert found.rising.tolist() == [k % 2 == 0 for k in range(59)]
    assert found.of(True).tolist() == [70 + 100 * k for k in range(30)]
    assert found.spikes == 0


def test_a_record_that_begins_high() -> None:
    found = edges_of(pulses()[80:])
    assert not found.rising[0]
    assert found.index[:2].tolist() == [20, 90]


@pytest.mark.parametrize("kind", [np.int16, np.uint8, np.int32, np.float64])
def test_any_type_of_sample_gives_the_same(kind: type) -> None:
    samples: np.ndarray = np.asarray(pulses() // 10, kind)
    assert edges_of(samples).index.tolist() == edges_of(pulses()).index.tolist()


def test_edges_at_the_seams_of_the_search() -> None:
    """The search goes through the record in pieces of 131,072 samples: no edge lost or doubled."""
    for shift in range(-2, 3):
        samples = np.full(400_000, 100, np.int16)
        samples[131_072 + shift : 262_144 + shift] = 900
        found = edges_of(samples)
        assert found.index.tolist() == [131_072 + shift, 262_144 + shift]


def test_noisy_slow_edges_count_once() -> None:
    rng = np.random.default_rng(8)
    ramp = np.linspace(0.0, 1.0, 40)
    one = np.concatenate((np.zeros(300), ramp, np.ones(300), ramp[::-1]))
    for noise in (0.02, 0.05, 0.08):
        samples = np.tile(one, 40) + noise * rng.standard_normal(40 * one.size)
        found = edges_of(samples)
        assert found.index.size == 80
        true = np.sort(np.concatenate([np.arange(40) * one.size + at for at in (320, 660)]))
        # Slope 1/40 a sample: within what the noise moves it and the hysteresis (0.2 each way).
        assert np.abs(found.index - true).max() <= 8 + 40 * 4 * noise


@pytest.mark.parametrize("place", [10, 85, 1010, 1085, 1097, 2985])
def test_a_spike_is_counted_and_left_out(place: int) -> None:
    samples = pulses()
    samples[place] = 1000 - samples[place]
    found = edges_of(samples)
    expected = edges_of(pulses())
    assert found.index.tolist() == expected.index.tolist()
    assert found.spikes == 1


def test_no_edges() -> None:
    """Levels are told apart by statistics; a record may still hold no passage."""
    levels = find_levels(pulses())
    assert find_edges(np.full(50, 100, np.int16), levels).index.size == 0
    assert find_edges(np.array([900], np.int16), levels).index.size == 0


def test_pulses_of_two_samples_keep_their_places() -> None:
    """19 samples a period and 90 %: low pulses of one or two samples, edges faster than one."""
    period, low = 19.2307, 1.9
    true = 5.3 + period * np.arange(100)
    place = np.arange(1920)[:, None]
    inside = ((place >= true) & (place < true + low)).any(axis=1)
    found = edges_of(np.where(inside, 102, 612).astype(np.int16))
    assert found.of(False).tolist() == np.ceil(true).astype(int)[: found.of(False).size].tolist()
    assert found.of(True).tolist() == np.ceil(true + low).astype(int).tolist()[:100]
