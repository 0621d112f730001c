"""The operating characteristic of a plan: how probable acceptance is at a given quality.

A sample drawn without putting back follows the hypergeometric distribution; the binomial one is
its limit for large lots, and what the published curves show (ISO 2859-1:1999, 12.1 and Table 10).
These are probabilities of the plan; the bench's own uncertainty is not in them.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from rungbench.lots.sampling import SamplingPlan

CONSUMER: Final = 0.10
"""Probability of acceptance at which a quality is called limiting."""

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Point:
    """Probability of accepting a lot of which `nonconforming` units do not conform.

    `binomial` is that of an endless series of such lots.
    """

    nonconforming: int
    percent: float
    probability: float
    binomial: float


@dataclass(frozen=True, slots=True)
class Risks:
    """What a plan risks.

    Parameters
    ----------
    producer : probability of rejecting a lot that is as good as the AQL.
    producer_binomial : the same, for a series of lots of that quality.
    consumer_units : the smallest number of nonconforming units with which the lot is accepted
        with a probability of at most `CONSUMER`; ``None`` if there is none.
    consumer_percent : percent nonconforming at which a series of lots is accepted with `CONSUMER`.
    """

    producer: float
    producer_binomial: float
    consumer_units: int | None
    consumer_percent: float


def hypergeometric(plan: SamplingPlan, nonconforming: int | Sequence[int]) -> Floats:
    """Probability of acceptance for numbers of nonconforming units in the lot.

    Raises
    ------
    ValueError : more units than the lot has, or fewer than none.
    """
    counts = np.atleast_1d(np.asarray(nonconforming, dtype=np.int64))
    if np.any(counts < 0) or np.any(counts > plan.lot_size):
        raise ValueError(f"a lot of {plan.lot_size} has 0 to {plan.lot_size} units that fail")
    from scipy.stats import hypergeom  # late: a second of imports

    found = hypergeom.cdf(plan.accept, plan.lot_size, counts, plan.sample_size)
    return np.asarray(found, dtype=np.float64)


def binomial(plan: SamplingPlan, fraction: float | Sequence[float]) -> Floats:
    """Probability of acceptance for fractions nonconforming, 0 to 1, of an endless series.

    Raises
    ------
    ValueError : a fraction outside 0 to 1, or NaN.
    """
    fractions = np.atleast_1d(np.asarray(fraction, dtype=np.float64))
    if not np.all((fractions >= 0.0) & (fractions <= 1.0)):
        raise ValueError("a fraction nonconforming lies between 0 and 1")
    from scipy.stats import binom

    return np.asarray(binom.cdf(plan.accept, plan.table_size, fractions), dtype=np.float64)


def quality_at(plan: SamplingPlan, probability: float) -> float:
    """Fraction nonconforming that a series of lots must have to be accepted with `probability`.

    The binomial sum as an incomplete beta function, solved for its argument
    (Abramowitz and Stegun, 26.5.24).

    Raises
    ------
    ValueError : `probability` is not between 0 and 1.
    """
    if not 0.0 < probability < 1.0:
        raise ValueError("a probability of acceptance lies between 0 and 1")
    from scipy.stats import beta

    return float(beta.isf(probability, plan.accept + 1, plan.table_size - plan.accept))


def curve(plan: SamplingPlan, points: int = 21) -> tuple[Point, ...]:
    """About `points` of the characteristic, from no nonconforming unit to almost no acceptance."""
    last = min(plan.lot_size, math.ceil(quality_at(plan, 0.01) * plan.lot_size))
    counts = np.unique(np.round(np.linspace(0, max(last, 1), points)).astype(np.int64))
    exact = hypergeometric(plan, counts.tolist())
    series = binomial(plan, (counts / plan.lot_size).tolist())
    return tuple(
        Point(int(count), 100.0 * int(count) / plan.lot_size, float(one), float(other))
        for count, one, other in zip(counts, exact, series, strict=True)
    )


def risks(plan: SamplingPlan) -> Risks:
    """Producer's and consumer's risk.

    A lot is as good as the AQL with at most that share of its units nonconforming, whole units.
    """
    units = math.floor(plan.aql * plan.lot_size / 100.0 + 1e-9)
    return Risks(
        producer=1.0 - float(hypergeometric(plan, units)[0]),
        producer_binomial=1.0 - float(binomial(plan, plan.aql / 100.0)[0]),
        consumer_units=_consumer_units(plan),
        consumer_percent=100.0 * quality_at(plan, CONSUMER),
    )


def _consumer_units(plan: SamplingPlan) -> int | None:
    low, high = 0, plan.lot_size
    if hypergeometric(plan, high)[0] > CONSUMER:
        return None
    while high - low > 1:
        middle = (low + high) // 2
        if hypergeometric(plan, middle)[0] <= CONSUMER:
            high = middle
        else:
            low = middle
    return high
