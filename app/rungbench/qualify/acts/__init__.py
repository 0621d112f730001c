"""What the stand-in does for each kind of step: one module a kind, each gives `Evidence`."""

from collections.abc import Callable, Mapping
from typing import Final

from rungbench.qualify.acts.ask import ask
from rungbench.qualify.acts.change import change
from rungbench.qualify.acts.endure import endure
from rungbench.qualify.acts.ground import Ground, Pass
from rungbench.qualify.acts.observe import observe
from rungbench.qualify.acts.recover import recover
from rungbench.qualify.acts.sweep import sweep
from rungbench.qualify.acts.toggle import toggle
from rungbench.qualify.evidence import Evidence
from rungbench.qualify.plan import Do

Act = Callable[[Ground, Pass], Evidence]

ACTS: Final[Mapping[Do, Act]] = {
    Do.OBSERVE: observe,
    Do.CHANGE: change,
    Do.ASK: ask,
    Do.TOGGLE: toggle,
    Do.SWEEP: sweep,
    Do.RECOVER: recover,
    Do.ENDURE: endure,
}

__all__ = ["ACTS", "Act", "Ground", "Pass"]
