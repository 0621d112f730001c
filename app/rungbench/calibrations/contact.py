"""The pilot contact while something known is applied to it instead of a charger.

The port is opened for each measurement and given back after it: between two of them a person
turns knobs, for as long as it takes, and may break off.  A simulated bench applies what it is
asked for by itself.
"""

import re
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from typing import Final
from urllib.parse import parse_qsl, urlencode, urlsplit

from pilotsignal.calibration import TimeBase, WidthBias
from pilotsignal.edge_clock import EdgeTiming, read_edges
from pilotsignal.measure import measure
from rungbench.errors import BenchError, WrongUse
from rungbench.link.messages import Identity, Mode, Rung, Setting
from rungbench.standin.board import StandIn, never
from rungbench.standin.calibration import uncalibrated

UNSET_ID: Final = "RB-UNSET"
_NAME: Final = re.compile(r"[A-Za-z0-9_-][A-Za-z0-9._-]*")  # ids are part of the names of files
_SIMULATED: Final = "sim"
_LOOK_S: Final = 0.2
_RECORD_S: Final = 1.0
# By design the front end is right to a few per cent; what is further off is another level.
NEAR_V: Final = 1.0
_NOISIEST: Final = 4.0  # counts; a supply with more of it is no reference


@dataclass(frozen=True, slots=True)
class LevelSeen:
    """A steady level in counts: mean, its standard uncertainty, deviation of single samples."""

    count: float
    u_count: float
    noise: float
    temperature_c: float | None


@dataclass(frozen=True, slots=True)
class Pulses:
    """What is applied: frequency in hertz, width in microseconds, and the rung presented."""

    hz: float
    width_us: float
    rung: Rung = Rung.OPEN


class Contact:
    """The contact of the board behind `url`.

    `wait_s` is how long a level may take to appear, of monotonic time.  `armed` allows rungs C and
    D, which the board refuses otherwise; with a calibrator at the contact no charger sees them.
    `check_stop` is called while the board is waited for; what it raises ends the measurement.
    """

    def __init__(
        self,
        url: str,
        *,
        wait_s: float = 0.0,
        armed: bool = False,
        check_stop: Callable[[], None] = never,
    ) -> None:
        self._url, self._wait_s, self._armed = url, wait_s, armed
        self._check_stop = check_stop
        with StandIn.open(url) as standin:
            self.identity: Identity = standin.identity
            self.temperature_c = standin.health.temperature_c if standin.health else None
        check_board_id(self.identity.board_id)

    @property
    def simulated(self) -> bool:
        return self.identity.simulated

    @property
    def waiting(self) -> str:
        """How long something may take to come, for people; empty where nobody has to wait."""
        return "" if self.simulated or not self._wait_s else f"waiting {self._wait_s:g} s at most"

    def level(self, volts: float) -> LevelSeen:
        """The level of about `volts` that is applied.

        Raises
        ------
        BenchError : another level, one that is not steady, or pulses.
        """
        with self._open(applied_v=volts) as standin:
            self._await(standin, volts)
            record = standin.record(_RECORD_S, _ten_bits(standin.identity))
            temperature_c = standin.health.temperature_c if standin.health else None
        design = uncalibrated(standin.identity)
        if record.capture is None:
            raise BenchError("The board sent no samples; reset it and try again.")
        found = measure(record.capture)
        level = found.high_plateau_v or found.low_plateau_v
        noise = float(record.capture.samples.std())
        if level is None or found.pwm_on or noise > _NOISIEST:
            raise BenchError(
                f"The level at the contact is not steady ({noise:.1f} counts of noise); apply a "
                "steady one, with no charger connected."
            )
        gain = design.volts.gain_v
        return LevelSeen(
            (level.value - design.volts.offset_v) / gain, level.u / gain, noise, temperature_c
        )

    def pulses(self, pulses: Pulses, seconds: float, clock: TimeBase) -> EdgeTiming:
        """What the comparator tells of known pulses, timed by `clock`, without any bias.

        Raises
        ------
        BenchError : there are none, or edges got lost.
        """
        applied = {"applied_hz": pulses.hz, "applied_width_us": pulses.width_us}
        with self._open(**applied) as standin:
            self._present(standin, Setting(pulses.rung))
            self._await_pulses(standin)
            record = standin.record(seconds, Mode.OFF)
        if record.losses:
            raise BenchError(
                f"The record is not whole ({record.losses.text()}); check the USB cable and try "
                "again."
            )
        edges = replace(record.edges, time_base=clock, width_bias=WidthBias("as-measured"))
        timing = read_edges(edges)
        if timing.frequency_hz is None:
            said = " ".join(notice.text for notice in timing.notices)
            raise BenchError(f"No regular pulses are at the contact. {said}")
        return timing

    def _await_pulses(self, standin: StandIn) -> None:
        """Until something pulses, and then a moment for a hand to leave the plug."""
        end = time.monotonic() + self._wait_s
        standin.wait(_LOOK_S)
        while not standin.pulsing() and time.monotonic() < end:
            standin.wait(_LOOK_S)
            if standin.pulsing():
                standin.wait(_RECORD_S)

    def _present(self, standin: StandIn, setting: Setting) -> None:
        if setting.energising and not (self._armed or standin.identity.simulated):
            raise WrongUse(
                f"Rung {setting.rung} puts mains on the outlet of a charger; take the charger off, "
                "and allow it with --arm."
            )
        if setting.energising:
            standin.arm_energising()
        standin.hold(setting)

    @contextmanager
    def _open(self, **applied: float) -> Iterator[StandIn]:
        with StandIn.open(_with_keys(self._url, applied)) as standin:
            if standin.identity.board_id != self.identity.board_id:
                raise BenchError(
                    f"Board {standin.identity.board_id} is at {self._url} now, and the calibration "
                    f"began with {self.identity.board_id}; put that one back."
                )
            standin.check_stop = self._check_stop
            yield standin

    def _await(self, standin: StandIn, volts: float) -> None:
        """Until about the level that was typed is there."""
        line = uncalibrated(standin.identity).volts
        end = time.monotonic() + self._wait_s
        while True:
            capture = standin.record(_LOOK_S, _ten_bits(standin.identity)).capture
            if capture is not None:
                seen = float(capture.samples.mean()) * line.gain_v + line.offset_v
                if abs(seen - volts) <= NEAR_V:
                    return
                if time.monotonic() >= end:
                    raise BenchError(
                        f"The board sees about {seen:.1f} V and not {volts:g} V; apply the level "
                        "to the pilot contact, or type the reading again."
                    )


def check_board_id(board_id: str) -> None:
    """Refuse a board that cannot be told from another, or whose id can be no part of a file's name.

    Raises
    ------
    BenchError
    """
    if board_id in ("", UNSET_ID):
        why = "The board has no id yet, so that no calibration could be told to be its own"
    elif not _NAME.fullmatch(board_id):
        why = f"The board's id {board_id!r} is no name of letters, digits, dots and dashes"
    else:
        return
    raise BenchError(
        f"{why}; give it one with `make eeprom PORT=... BOARD_ID=RB-0001 OSCILLATOR=crystal "
        "PHASES=3` in hardware_notes/firmware, or by name_board.py there without a compiler, and "
        "start again."
    )


def _ten_bits(identity: Identity) -> Mode:
    return Mode.STREAM10 if Mode.STREAM10 in identity.modes else Mode.BURST10


def _with_keys(url: str, applied: dict[str, float]) -> str:
    """The address of a simulated bench that applies something; any other stays as it is."""
    parts = urlsplit(url)
    if parts.scheme != _SIMULATED:
        return url
    kept = [
        (key, text)
        for key, text in parse_qsl(parts.query, keep_blank_values=True)
        if not key.startswith("applied_")
    ]
    query = urlencode([*kept, *((key, repr(value)) for key, value in applied.items())])
    return f"{url.partition('?')[0]}?{query}"
