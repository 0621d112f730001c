"""Random chargers that conform: what they show at the contact lies inside its limits less 2 U.

U is what the bench states on a conforming charger (95 %); the quantities at the contact come from
the simulated circuit, capacitance included, so that slow edges cannot carry a width over its limit.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from matrix_levels import OPEN, electrical, level, load, width_loss_us
from matrix_run import TETHERED, Job

from rungbench.archive.record import ChargerIdentity
from rungbench.simulated.bench import CABLE_PF

# Twice the expanded uncertainties that the bench states on the sound charger.
_2U_V: Final = 0.055
_2U_HZ: Final = 0.12
_2U_US: Final = 0.2
_2U_OHM: Final = 8.0
_2U_MS: Final = 2.6
_2U_NEW_DUTY_S: Final = 1.2
_CODES: Final = (13.0, 20.0, 32.0, 63.0)
_CABLE_PF: Final = 1500.0  # IEC 61851-1:2017, Table A.2
_B, _C = load("B"), load("C")


@dataclass(frozen=True, slots=True)
class Window:
    """Limits of a level in volts."""

    low: float
    high: float

    def holds(self, value: float) -> bool:
        return self.low + _2U_V <= value <= self.high - _2U_V


# IEC 61851-1:2017, Tables A.2 and A.10.
_A, _B_WINDOW, _C_WINDOW = Window(11.4, 12.6), Window(8.37, 9.59), Window(5.47, 6.53)


def conforming(number: int) -> Job:
    """The conforming charger of a number; its board has hidden errors of its own."""
    rng = np.random.default_rng((20261125, number))
    electrical = _electrical(rng)
    socket = bool(rng.random() < 0.4)
    rated = (
        float(rng.choice([16.0, 20.0, 32.0, 63.0])) if socket else float(rng.choice([16.0, 32.0]))
    )
    phases = int(rng.choice([1, 3]))
    allows = bool(rng.random() < 0.3)
    keys: dict[str, object] = {
        **electrical,
        **_times(rng),
        **_borders(rng),
        "rated_a": rated,
        "phases": phases,
        "outlet": "socket" if socket else "cable",
        "ventilation": "allow" if allows else "refuse",
        "seed": number + 1,
    }
    keys["pulse_offset_us"] = _offset(rng, electrical, "socket" if socket else "cable")
    charger = ChargerIdentity(
        TETHERED.maker,
        "Random",
        f"R-{number:04d}",
        rated,
        rated,
        phases,
        "socket" if socket else "cable",
        ventilation="allow" if allows else "refuse",
    )
    return Job("&".join(f"{key}={value}" for key, value in keys.items()), charger)


def _electrical(rng: np.random.Generator) -> Mapping[str, float]:
    """Source and rails whose levels at the contact are inside their windows."""
    while True:
        drawn = {
            "voc_high_v": float(rng.uniform(11.4, 12.6)),
            "voc_low_v": float(rng.uniform(-12.6 + _2U_V, -11.4 - _2U_V)),
            "source_ohm": float(rng.uniform(970.0 + _2U_OHM, 1030.0 - _2U_OHM)),
            "frequency_hz": float(rng.uniform(995.0 + _2U_HZ, 1005.0 - _2U_HZ)),
            "generator_rise_us": float(rng.uniform(0.2, 2.0)),
            "cs_pf": float(rng.uniform(300.0, 1600.0)) + float(rng.uniform(0.0, _CABLE_PF - 400.0)),
            "noise_v": float(rng.uniform(0.0, 0.02)),
            "jitter_us": float(rng.uniform(0.0, 0.1)),
        }
        rail, source = drawn["voc_high_v"], drawn["source_ohm"]
        if (
            _A.holds(rail)
            and _A.holds(level(rail, OPEN, source))
            and _B_WINDOW.holds(level(rail, _B, source))
            and _C_WINDOW.holds(level(rail, _C, source))
            and -12.6 + _2U_V <= level(drawn["voc_low_v"], OPEN, source) <= -11.4 - _2U_V
        ):
            return drawn


def _offset(rng: np.random.Generator, drawn: Mapping[str, float], outlet: str) -> float:
    """An offset of the generator with which the widths at the contact are right in B and C."""
    traits = electrical(drawn)
    farad = (drawn["cs_pf"] + CABLE_PF[outlet]) * 1e-12
    losses = [width_loss_us(traits, farad, at) for at in (_B, _C)]
    room = 5.0 - _2U_US
    return float(rng.uniform(max(losses) - room, min(losses) + room))


def _times(rng: np.random.Generator) -> Mapping[str, float]:
    """Times of Table A.6 and A.4.8, each inside its limit."""
    late_on_s = float(rng.choice([0.0, rng.uniform(0.0, 0.4)]))
    late_ms = float(rng.choice([0.0, rng.uniform(0.0, 20.0)]))
    off_ms = 100.0 - _2U_MS - late_ms
    lag_s = float(rng.uniform(0.1, 10.0 - _2U_NEW_DUTY_S))
    in_two = rng.random() < 0.2 and lag_s < 3.0
    return {
        "close_s": float(rng.uniform(0.1, 3.0 - _2U_MS / 1e3 - late_on_s)),
        "late_on_s": late_on_s,
        "open_ms": float(rng.uniform(5.0, off_ms)),
        "open_c1_ms": float(rng.uniform(5.0, off_ms)),
        "unplug_ms": float(rng.uniform(5.0, off_ms)),
        "pe_open_ms": float(rng.uniform(5.0, off_ms)),
        "late_off_ms": late_ms,
        "short_ms": float(rng.uniform(20.0, 3000.0 - 2.0 * _2U_MS - late_ms)),
        "withdraw_s": float(rng.uniform(6.05, 15.0)),
        "pwm_off_s": float(rng.uniform(0.02, 3.0)),
        "pwm_returns_s": float(rng.choice([3600.0, rng.uniform(3.05, 12.0)])),
        "duty_lag_s": lag_s,
        "duty_step_s": float(rng.uniform(5.05, 5.5)) if in_two else 0.0,
        "f_ms": float(rng.choice([0.0, rng.uniform(305.0, 2000.0)])),
    }


def _borders(rng: np.random.Generator) -> Mapping[str, float]:
    """Borders anywhere between the windows of Table A.4."""
    return {
        f"border_{name}_v": float(rng.uniform(low + _2U_V, low + 1.0 - _2U_V))
        for name, low in (("ab", 10.0), ("bc", 7.0), ("cd", 4.0), ("de", 1.0))
    }
