"""Generalised least squares on quantities whose budgets share inputs.

The covariance of the observations is built from their budget rows: rows with one id are one
input, so that a gain that all levels went through is known to move them together.  Each result's
budget is traced back to the very same inputs, by the derivatives of the estimate, and so keeps
its correlation with everything else that rests on them.

References
----------
.. [1] JCGM 102:2011 (GUM Supplement 2), 6.2 (propagation to several outputs).
.. [2] A. C. Aitken, On least squares and linear combinations of observations, Proc. R. Soc.
   Edinburgh 55 (1935) 42 (generalised least squares).
.. [3] M. G. Cox, The evaluation of key comparison data, Metrologia 39 (2002) 589, 5 (consistency
   by chi-square).
.. [4] W. Baarda, A testing procedure for use in geodetic networks, Netherlands Geodetic
   Commission, Publications on Geodesy 2/5, 1968 (w-test of single observations).
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pilotsignal.budget import combine, scaled
from pilotsignal.errors import CircuitError, QuantityError
from pilotsignal.quantity import Quantity

Floats = npt.NDArray[np.float64]
Model = Callable[[Floats], Floats]

_NO_CIRCUIT = "The levels fit no circuit of this kind at all; look at the connections."
_ROUNDS = 40
_CLOSE = 1e-4  # of a standard uncertainty
_SINGULAR = 1e-9
_HALVINGS = 12


@dataclass(frozen=True, slots=True, eq=False)
class Solution:
    """What a fit came to.

    Parameters
    ----------
    observations : as given, m of them.
    values : estimates, shape (n,).
    fitted : what the model says for the observations, shape (m,).
    gain : derivatives of the estimates by the observations, shape (n, m).
    covariance : of the estimates, shape (n, n).
    pulls : for each observation, how much alone it speaks against the others, in standard
        deviations and positive where it is too high, shape (m,) [4]_: chi-square would fall by its
        square without that observation.  0 where the model can follow it exactly.
    chi_square : squared residuals weighted by the inverse covariance of the observations.
    freedom : m - n.
    """

    observations: tuple[Quantity, ...]
    values: Floats
    fitted: Floats
    gain: Floats
    covariance: Floats
    pulls: Floats
    chi_square: float
    freedom: int

    @property
    def probability(self) -> float | None:
        """Probability of a chi-square at least as large if the model holds.

        ``None`` without degrees of freedom: then everything fits and nothing is proven.  Exact
        for normal inputs of known variance, else an approximation.
        """
        if self.freedom < 1:
            return None
        # Late: SciPy takes long to import.
        from scipy.special import chdtrc

        return float(chdtrc(self.freedom, self.chi_square))

    def quantity(self, index: int, name: str, unit: str, method: str) -> Quantity:
        """One estimate with its budget over the inputs of the observations."""
        rows = [
            scaled(row, weight * row.sensitivity)
            for weight, observation in zip(
                self.gain[index].tolist(), self.observations, strict=True
            )
            for row in observation.rows
        ]
        return combine(name, unit, float(self.values[index]), method, rows)


def solve(observations: Sequence[Quantity], model: Model, start: Floats, steps: Floats) -> Solution:
    """Estimate parameters from observations [2]_.

    Parameters
    ----------
    observations : what was measured, and whatever is known beforehand, each with a budget.
    model : from parameters, shape (n,), to what the observations should be, shape (m,).
    start : where to begin, shape (n,).
    steps : by how much to vary each parameter for derivatives, shape (n,), positive.

    Raises
    ------
    CircuitError : fewer observations than parameters, a parameter that they do not determine, or
        no end of the search.
    QuantityError : observations without budget, or with uncertainties that leave no covariance.
    """
    if len(observations) < start.size:
        raise CircuitError(
            f"{len(observations)} observations do not determine {start.size} unknowns; measure at"
            " more settings."
        )
    seen = np.array([observation.value for observation in observations])
    whiten = np.asarray(np.linalg.inv(_root(covariance_of(observations))), dtype=np.float64)
    found, slopes, arrived = _search(lambda p: whiten @ (seen - model(p)), start, steps)
    design = -slopes  # of the whitened model
    inverse = np.linalg.pinv(design)
    covariance = inverse @ inverse.T
    fitted = model(found)
    left = whiten @ (seen - fitted)
    if not arrived and len(observations) == start.size:
        raise CircuitError(_NO_CIRCUIT)
    return Solution(
        tuple(observations),
        found,
        fitted,
        inverse @ whiten,
        covariance,
        _pulls(whiten, left, design),
        float(left @ left),
        len(observations) - start.size,
    )


def covariance_of(quantities: Sequence[Quantity]) -> Floats:
    """Covariance of quantities, shape (m, m), from the inputs that their rows share.

    Raises
    ------
    QuantityError : a quantity without budget, or one input with two uncertainties.
    """
    inputs: dict[str, float] = {}
    for quantity in quantities:
        if not quantity.rows:
            raise QuantityError(f"{quantity.name} has no budget; it cannot take part in a fit.")
        for row in quantity.rows:
            if not math.isclose(inputs.setdefault(row.id, row.u), row.u, rel_tol=1e-9):
                raise QuantityError(f"input {row.id} comes with two uncertainties")
    place = {name: index for index, name in enumerate(inputs)}
    levers = np.zeros((len(quantities), len(inputs)))
    for line, quantity in enumerate(quantities):
        for row in quantity.rows:
            levers[line, place[row.id]] += row.sensitivity * row.u
    return np.asarray(levers @ levers.T)


def _root(spread: Floats) -> Floats:
    """Lower triangular root of a covariance."""
    scale = np.sqrt(np.diag(spread))
    if not np.all(scale > 0.0):
        raise QuantityError("An observation without any uncertainty cannot take part in a fit.")
    try:
        root = np.linalg.cholesky(spread / np.outer(scale, scale))
    except np.linalg.LinAlgError:
        raise QuantityError(
            "Two observations rest on the very same inputs and differ in nothing else; leave one"
            " out."
        ) from None
    return np.asarray(scale[:, None] * root)


def _search(residuals: Model, start: Floats, steps: Floats) -> tuple[Floats, Floats, bool]:
    """Gauss-Newton with halved steps.

    Returns estimates, derivatives of the whitened residuals, and whether that is the minimum: a
    search that ends at the border of what a circuit can be leaves it to chi-square to say so.
    """
    found = start.astype(np.float64)
    left = residuals(found)
    for _ in range(_ROUNDS):
        slopes = _derivatives(residuals, found, steps)
        _require_rank(slopes * steps)
        inverse = np.linalg.pinv(slopes)
        move = -inverse @ left
        doubts = np.sqrt(np.sum(inverse**2, axis=1))
        small = bool(np.all(np.abs(move) <= _CLOSE * doubts))
        ahead = _descend(residuals, found, left, move)
        if ahead is None or small:
            return found if ahead is None else ahead[0], slopes, small
        found, left = ahead
    raise CircuitError(_NO_CIRCUIT)


def _descend(
    residuals: Model, found: Floats, left: Floats, move: Floats
) -> tuple[Floats, Floats] | None:
    """One step, halved until it leads downhill; ``None`` where none does."""
    for _ in range(_HALVINGS):
        try:
            ahead = residuals(found + move)
        except CircuitError:
            move = 0.5 * move  # beyond what a circuit can be
            continue
        if ahead @ ahead <= (left @ left) * (1.0 + 1e-9) + 1e-12:
            return found + move, ahead
        move = 0.5 * move
    return None


def _derivatives(residuals: Model, at: Floats, steps: Floats) -> Floats:
    columns = []
    for index, step in enumerate(steps.tolist()):
        aside = np.zeros(at.size)
        aside[index] = step
        try:
            columns.append((residuals(at + aside) - residuals(at - aside)) / (2.0 * step))
        except CircuitError as problem:
            raise CircuitError(_NO_CIRCUIT) from problem
    return np.column_stack(columns)


def _require_rank(slopes: Floats) -> None:
    sizes = np.linalg.norm(slopes, axis=0)
    if np.any(sizes == 0.0) or np.linalg.svd(slopes / sizes, compute_uv=False)[-1] < _SINGULAR:
        raise CircuitError(
            "These settings leave an unknown of the circuit open; measure at one more setting."
        )


def _pulls(whiten: Floats, left: Floats, design: Floats) -> Floats:
    """Baarda's w from the whitening matrix, whitened residuals and the whitened design."""
    base, _ = np.linalg.qr(design)
    # What of each observation's own error the fit leaves in the residuals.
    seen = whiten - base @ (base.T @ whiten)
    size = np.linalg.norm(seen, axis=0)
    real = size > _SINGULAR * np.linalg.norm(whiten, axis=0)
    return np.where(real, (whiten.T @ left) / np.where(real, size, 1.0), 0.0)
