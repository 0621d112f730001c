"""What a simulated bench is made of: the keys of a ``sim://NAME?key=value`` address.

Every key changes one trait, in physical units.  The defaults are an invented
charger that conforms: 16 A, three phases, tethered cable.
"""

import math
import re
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
    authorised: bool = True
    offers: bool = True
    digital: bool = False
    digital_mains: bool = False
    withdraw_s: float = 8.0
    pwm_returns_s: float = NEVER
    pwm_off_s: float = 0.1
    latches: bool = False
    f_ms: float = 0.0
    toggle_s: float = 0.0
    drift_ppm_per_s: float = 0.0
    frequency_in_c_hz: float = 0.0
    pulse_offset_in_c_us: float = 0.0
    high_sag_b1_v: float = 0.0
    high_sag_b_v: float = 0.0
    high_sag_c_v: float = 0.0
    low_sag_b_v: float = 0.0
    low_sag_c_v: float = 0.0
    low_sag_d_v: float = 0.0
    open_c1_ms: float = 40.0
    late_on_s: float = 0.0
    late_off_ms: float = 0.0
    missing_phase: int = 0
    one_phase_below_a: float = 0.0
    lowest_a: float = 0.0
    low_set_error_us: float = 0.0
    duty_step_s: float = 0.0
    high_threshold_shift_v: float = 0.0
    border_ab_v: float = 10.5
    border_bc_v: float = 7.5
    border_cd_v: float = 4.5
    border_de_v: float = 1.5
    cable_13_a: float = 13.0
    cable_20_a: float = 20.0
    cable_32_a: float = 32.0
    cable_63_a: float = 63.0
    offers_without_code: bool = False
    offers_shorted: bool = False
    mains_without_offer: bool = False
    mains_returns_s: float = NEVER
    restart_mains: bool = False
    mains_in_b: bool = False
    welded: bool = False
    frame_loss: float = 0.0
    byte_error: float = 0.0
    unplug_after_s: float = NEVER
    applied_v: float | None = None
    applied_hz: float | None = None
    applied_width_us: float = 250.0
    board_id: str = ""
    dither_v: float = 0.022
    temperature_c: float = 24.5
    clock_ppm: float | None = None
    missing_code: float = NEVER
    bow_v: float = 0.0
    seed: int = 1
    speed: float = math.inf

    @property
    def board_name(self) -> str:
        """The id of the board: one for each seed, since its hidden errors follow the seed."""
        if self.board_id:
            return self.board_id
        return "SIMULATED" if self.seed == 1 else f"SIM-{self.seed:X}"

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


def _name(text: str) -> str:
    if not re.fullmatch(r"[A-Za-z0-9._-]{1,12}", text):
        raise ValueError
    return text


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


def _sag(name: str, rail: str, state: str) -> Key:
    return _numeric(name, _Range(-3.0, 3.0, "V"), f"{rail} is nearer to 0 V by this in {state}")


def _border(name: str, states: str) -> Key:
    return _numeric(name, _Range(-1.0, 14.0, "V"), f"level between {states} to the charger")


def _code(name: str, ampere: int) -> Key:
    return _numeric(name, _Range(0.0, 80.0, "A"), f"current it takes a cable of {ampere} A for")


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
        _numeric("set_a", _Range(3, 80, "A"), "current offered; rated_a unless given"),
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
        _numeric("frequency_in_c_hz", _Range(-50, 50, "Hz"), "added to the frequency in C and D"),
        _numeric("pulse_offset_in_c_us", _Range(-50, 50, "us"), "added to each pulse in C and D"),
        _sag("high_sag_b1_v", "the high rail", "B without pulses"),
        _sag("high_sag_b_v", "the high rail", "B with pulses"),
        _sag("high_sag_c_v", "the high rail", "C"),
        _sag("low_sag_b_v", "the low rail", "B"),
        _sag("low_sag_c_v", "the low rail", "C"),
        _sag("low_sag_d_v", "the low rail", "D"),
        _delay("open_c1_ms", "C to B without an offer: mains off"),
        _numeric("late_on_s", _Range(0, 60, "s"), "the third phase comes on so much later"),
        _numeric("late_off_ms", _Range(0, 60_000, "ms"), "the third phase goes off so much later"),
        Key("missing_phase", _whole(0, 1, 2, 3), "0 to 3", "a phase that never comes; 0: none"),
        _numeric("one_phase_below_a", _Range(0, 80, "A"), "below it only the first phase is on"),
        _numeric("lowest_a", _Range(0, 80, "A"), "it offers no less than this"),
        _numeric(
            "low_set_error_us",
            _Range(-50, 50, "us"),
            "error of the width when set to 6 A; none when set to the rated current",
        ),
        _numeric(
            "duty_step_s", _Range(0, 60, "s"), "a new current comes in two steps so far apart"
        ),
        _numeric("high_threshold_shift_v", _Range(-3, 3, "V"), "shift of the charger's thresholds"),
        _border("border_ab_v", "A and B"),
        _border("border_bc_v", "B and C"),
        _border("border_cd_v", "C and D"),
        _border("border_de_v", "D and E"),
        _code("cable_13_a", 13),
        _code("cable_20_a", 20),
        _code("cable_32_a", 32),
        _code("cable_63_a", 63),
        _switch("offers_without_code", "a socket offers its current to a plug without a code"),
        _switch("offers_shorted", "a socket offers its current to a plug with a shorted code"),
        _switch("mains_without_offer", "mains on in C although it offers nothing"),
        _numeric("mains_returns_s", _Range(0.1, 3600, "s", "never"), "unplugged: mains comes back"),
        _switch("restart_mains", "mains on after the charger's restart"),
        _switch("authorised", "offers a current at once; 'no': only once somebody authorises"),
        _switch("offers", "offers a current; 'no': it is withdrawn"),
        _switch("digital", "asks for digital communication by a duty of 5 %"),
        _switch("digital_mains", "mains on at 5 % although nobody communicates"),
        _numeric(
            "withdraw_s", _Range(0.01, 3600, "s", "never"), "offer withdrawn under load: mains off"
        ),
        _numeric(
            "pwm_returns_s", _Range(0.1, 3600, "s", "never"), "offer withdrawn: it comes back"
        ),
        _numeric("pwm_off_s", _Range(0.02, 3600, "s"), "unplugged: pulses end"),
        _switch("latches", "a fault stays until the charger is restarted"),
        _delay("f_ms", "state F after a fault; 0: not shown"),
        _numeric("toggle_s", _Range(0, 10, "s"), "a return to C sooner than this is refused"),
        _switch("mains_in_b", "mains on before the vehicle asks"),
        _switch("welded", "mains stays on once it was on"),
        _numeric("frame_loss", _Range(0, 1), "probability that a frame of the board is lost"),
        _numeric("byte_error", _Range(0, 1), "probability that a byte of the board is damaged"),
        _numeric("unplug_after_s", _Range(0, 1e6, "s", "never"), "when USB is pulled"),
        _numeric(
            "applied_v", _Range(-14.5, 14.5, "V"), "a calibrator at the contact: steady level"
        ),
        _numeric("applied_hz", _Range(100, 5000, "Hz"), "a calibrator at the contact: pulses"),
        _numeric("applied_width_us", _Range(10, 9000, "us"), "width of the pulses of a calibrator"),
        Key("board_id", _name, "1 to 12 letters, digits, '.', '_' or '-'", "id of the board"),
        _numeric("dither_v", _Range(0, 0.5, "V"), "deviation of the board's own noise"),
        _numeric("temperature_c", _Range(-40, 85, "degrees C"), "temperature that the board tells"),
        _numeric("clock_ppm", _Range(-10_000, 10_000, "ppm"), "error of the board's clock"),
        _numeric("missing_code", _Range(1, 1022, "", "never"), "a count that the converter skips"),
        _numeric("bow_v", _Range(-1, 1, "V"), "bend of the converter's line, most at 0 V"),
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
