"""What the simulated charger shows at the contact, by the simulated circuit, and its inverse."""

from collections.abc import Mapping
from dataclasses import replace

from scipy.optimize import brentq

from rungbench.link.words import LadderSet
from rungbench.simulated.circuit import Load, PilotCircuit, Source
from rungbench.simulated.diode import FAST_DIODE
from rungbench.simulated.parts import C_OHM, D_OHM, PERMANENT_OHM, SHORT_OHM
from rungbench.simulated.traits import Traits

SOUND = Traits()
OPEN = Load()
SHORT = Load(short_ohm=SHORT_OHM)


def load(rung: str, ladder: LadderSet = LadderSet.NOMINAL) -> Load:
    """The nominal parts of a rung of the stand-in."""
    switched = {"B": {}, "C": C_OHM, "D": D_OHM}[rung]
    resistors = [PERMANENT_OHM[ladder], *([switched[ladder]] if switched else [])]
    return Load(ladder_ohm=1.0 / sum(1.0 / ohm for ohm in resistors))


def level(rail_v: float, at: Load, source_ohm: float = SOUND.source_ohm) -> float:
    """Plateau in volts at the contact."""
    return PilotCircuit(Source(source_ohm, 1e-6, 1e-9), FAST_DIODE).plateau(rail_v, at)


def rail_for(level_v: float, at: Load) -> float:
    """Rail in volts that gives a plateau at a load, with the sound source."""
    return float(brentq(lambda rail: level(rail, at) - level_v, 1.0, 14.5))


def source_equivalent_rail(source_ohm: float, at: Load) -> float:
    """Rail under load that a bench takes for the sound rail behind another source."""
    return rail_for(level(SOUND.voc_high_v, at, source_ohm), at)


def width_loss_us(traits: Traits, farad: float, at: Load) -> float:
    """What edges take from a high pulse between the crossings of 0 V, in microseconds."""
    source = Source(traits.source_ohm, traits.generator_rise_us * 1e-6, farad)
    circuit = PilotCircuit(source, FAST_DIODE)
    high, low = traits.voc_high_v, traits.voc_low_v
    rise = circuit.edge(low, high, at).crossing(0.0)
    fall = circuit.edge(high, low, at).crossing(0.0)
    assert rise is not None
    assert fall is not None
    return (rise - fall) * 1e6


def electrical(keys: Mapping[str, float]) -> Traits:
    """The sound charger with the electrical traits of some keys."""
    return replace(
        SOUND,
        voc_high_v=keys["voc_high_v"],
        voc_low_v=keys["voc_low_v"],
        source_ohm=keys["source_ohm"],
        generator_rise_us=keys["generator_rise_us"],
    )
