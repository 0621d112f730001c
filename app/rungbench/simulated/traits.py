"""What a simulated bench is made of: the keys of a ``sim://NAME?key=value`` address.

Every key changes one trait, in physical units.  The defaults are an invented
charger that conforms: 16 A, three phases, tethered cable.
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any
from urllib.parse import parse_qsl, urlsplit

from rungbench.errors import WrongUse

NAMES = ("sound",)
NEVER = math.inf


@dataclass(frozen=True, slots=True)
class Traits:
    """One simulated bench; see `KEYS` for units and ranges. `NEVER` is infinite."""

    frequency_hz: float = 1000.3
    pulse_offset_us: float = 0.0
    voc_high_v: float = 12.05
    voc_low_v: float = -11.95
    source_ohm: float = 1004.0
    cs_pf: float = 700.0
    generator_rise_us: float = 1.2
    noise_v: float = 0.004
    jitter_us: float = 0.02
    hum_v: float = 0.0
    rated_a: float = 16.0
    set_a: float | None = None
    close_s: float = 0.8
    open_ms: float = 40.0
    unplug_ms: float = 35.0
    short_ms: float = 60.0
    pe_open_ms: float = 45.0
    checks_diode: bool = True
    ventilation: str = "refuse"
    obeys_cable: bool = True
    outlet: str = "cable"
    pwm_in_a: bool = False
    duty_lag_s: float = 1.0
    phases: int = 3
    drift_ppm_per_s: float = 0.0
    high_threshold_shift_v: float = 0.0
    mains_in_b: bool = False
    welded: bool = False
    frame_loss: float = 0.0
    byte_error: float = 0.0
    unplug_after_s: float = NEVER
    seed: int = 1
    speed: float = math.inf

    @property
    def limit_a(self) -> float:
        """The current that the charger is set to offer."""
        return self.rated_a if self.set_a is None else self.set_a


@dataclass(frozen=True, slots=True)
class Key:
    """One key of the address: how its text becomes a value, and what it means."""

    name: str
    parse: Callable[[str], object]
    values: str
    meaning: str


@dataclass(frozen=True, slots=True)
class _Range:
    """Numbers from `low` to `high`, or a word that stands for infinity."""

    low: float
    high: float
    unit: str = ""
    word: str = ""

    def parse(self, text: str) -> float:
        if self.word and text == self.word:
            return math.inf
        value = float(text)
        if not self.low <= value <= self.high:
            raise ValueError
        return value

    def text(self) -> str:
        numbers = f"a number from {self.low:g} to {self.high:g} {self.unit}".rstrip()
        return numbers + (f" or {self.word!r}" if self.word else "")


def _whole(*allowed: int) -> Callable[[str], int]:
    def parse(text: str) -> int:
        value = int(text)
        if value not in allowed:
            raise ValueError
        return value

    return parse


def _seed(text: str) -> int:
    value = int(text)
    if not 0 <= value < 2**32:
        raise ValueError
    return value


def _yes_no(text: str) -> bool:
    return {"yes": True, "no": False}[text]


def _one_of(*words: str) -> Callable[[str], str]:
    def parse(text: str) -> str:
        if text not in words:
            raise ValueError
        return text

    return parse


def _numeric(name: str, values: _Range, meaning: str) -> Key:
    return Key(name, values.parse, values.text(), meaning)


def _switch(name: str, meaning: str) -> Key:
    return Key(name, _yes_no, "'yes' or 'no'", meaning)


def _delay(name: str, meaning: str) -> Key:
    return _numeric(name, _Range(0.0, 60_000.0, "ms", "never"), meaning)


KEYS: Mapping[str, Key] = {
    key.name: key
    for key in (
        _numeric("frequency_hz", _Range(500, 2000, "Hz"), "frequency of the pilot"),
        _numeric("pulse_offset_us", _Range(-50, 50, "us"), "added to every high pulse"),
        _numeric("voc_high_v", _Range(0, 14.5, "V"), "high rail of the generator"),
        _numeric("voc_low_v", _Range(-14.5, 0, "V"), "low rail of the generator"),
        _numeric("source_ohm", _Range(100, 10_000, "ohm"), "resistance up to the pilot"),
        _numeric("cs_pf", _Range(0, 10_000, "pF"), "capacitance of the charger at the pilot"),
        _numeric("generator_rise_us", _Range(0, 20, "us"), "10-90 % of the generator"),
        _numeric("noise_v", _Range(0, 2, "V"), "deviation of noise on the pilot"),
        _numeric("jitter_us", _Range(0, 5, "us"), "deviation of each edge"),
        _numeric("hum_v", _Range(0, 2, "V"), "amplitude of 50 Hz hum on the pilot"),
        _numeric("rated_a", _Range(6, 80, "A"), "rated current"),
        _numeric("set_a", _Range(6, 80, "A"), "current offered; rated_a unless given"),
        _numeric("close_s", _Range(0.01, 60, "s", "never"), "B2 to C2: mains on"),
        _delay("open_ms", "C to B: mains off"),
        _delay("unplug_ms", "C to open: mains off"),
        _delay("short_ms", "short of the pilot: mains off"),
        _delay("pe_open_ms", "return of the pilot lost: mains off"),
        _switch("checks_diode", "refuses a vehicle without a diode"),
        Key("ventilation", _one_of("refuse", "allow"), "'refuse' or 'allow'", "answer to D"),
        _switch("obeys_cable", "offers no more than the cable code"),
        Key("outlet", _one_of("cable", "socket"), "'cable' or 'socket'", "tethered or socket"),
        _switch("pwm_in_a", "pulses with no vehicle, from power-up"),
        _numeric("duty_lag_s", _Range(0, 60, "s", "never"), "change of the set current: new duty"),
        Key("phases", _whole(1, 3), "1 or 3", "phases that the contactor switches"),
        _numeric("drift_ppm_per_s", _Range(-1000, 1000, "ppm/s"), "drift of the pilot's frequency"),
        _numeric("high_threshold_shift_v", _Range(-3, 3, "V"), "shift of the charger's thresholds"),
        _switch("mains_in_b", "mains on before the vehicle asks"),
        _switch("welded", "mains stays on once it was on"),
        _numeric("frame_loss", _Range(0, 1), "probability that a frame of the board is lost"),
        _numeric("byte_error", _Range(0, 1), "probability that a byte of the board is damaged"),
        _numeric("unplug_after_s", _Range(0, 1e6, "s", "never"), "when USB is pulled"),
        Key("seed", _seed, "a whole number from 0", "noise, and the board's hidden errors"),
        _numeric("speed", _Range(0.001, 1e6, "s/s", "max"), "ceiling of simulated over real"),
    )
}


def traits_of(url: str) -> Traits:
    """The bench that an address describes.

    Raises
    ------
    WrongUse : unknown name or key, a key given twice, a value that is out of range; one sentence.
    """
    parts = urlsplit(url)
    name = parts.netloc or parts.path.strip("/")
    if parts.scheme != "sim" or name not in NAMES or (parts.netloc and parts.path.strip("/")):
        known = ", ".join(f"sim://{known}" for known in NAMES)
        raise WrongUse(f"There is no simulated bench {url!r}; known: {known}.")
    given: dict[str, Any] = {}
    for key, text in parse_qsl(parts.query, keep_blank_values=True):
        if key in given:
            raise WrongUse(f"The simulated bench was given {key} twice; give it once.")
        given[key] = value_of(key, text)
    return Traits(**given)


def value_of(key: str, text: str) -> object:
    """The value of one key from its text.

    Raises
    ------
    WrongUse : as `traits_of`.
    """
    if key not in KEYS:
        raise WrongUse(
            f"The simulated bench has no key {key!r}; it knows {', '.join(sorted(KEYS))}."
        )
    try:
        return KEYS[key].parse(text)
    except (ValueError, KeyError):
        raise WrongUse(
            f"The simulated bench cannot take {key}={text!r}; {key} is {KEYS[key].values}."
        ) from None
