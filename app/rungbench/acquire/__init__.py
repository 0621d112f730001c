"""One thread owns the port: what the board says comes out of a bounded queue, in order.

What is missing comes out in its place, as a `Loss`.
"""

from rungbench.acquire.acquisition import Acquisition, Farewell
from rungbench.acquire.loss import Loss, LossKind, Statistics

__all__ = ["Acquisition", "Farewell", "Loss", "LossKind", "Statistics"]
