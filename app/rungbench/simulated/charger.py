"""The simulated charger: a state machine with its delays.

All times are true seconds since the bench was opened.  Delays count from the
moment at which the pilot left its old state, as a test at the pilot sees them.
"""

import math
from collections.abc import Callable

from rungbench.simulated.generator import HIGH, OFF, Floats, Generator, Pace
from rungbench.simulated.recognition import (
    Filter,
    Seen,
    Vehicle,
    cable_current,
    duty_of,
    recognise,
)
from rungbench.simulated.traits import Traits

PULSES_AFTER_S = 0.4  # connected: pulses begin
PULSES_STOP_S = 0.1  # disconnected: pulses end
EARLY_MAINS_S = 0.3  # with mains_in_b: pulses to mains
_BOOT_S = 0.5  # supply on: generator on
_NOBODY = Vehicle("A", True, True, math.inf)


class Charger:
    """Drives its generator and its contactor from what it sees at its contacts.

    `mains` lists the moves of the contactor so far, ``(time, closed)``.
    """

    def __init__(self, traits: Traits, normal: Callable[[int], Floats]) -> None:
        self.generator = Generator(_pace(traits), normal)
        self.mains: list[tuple[float, bool]] = []
        self._traits = traits
        self._offered_a = traits.limit_a
        self._filter = Filter(_NOBODY)
        self._seen: Seen | None = None
        self._timers: dict[str, float] = {}
        self._closed = False
        self._powered = True
        self._begin(0.0)

    @property
    def closed(self) -> bool:
        return self._closed

    @property
    def next_time(self) -> float:
        """When it will do something by itself next, or infinity."""
        due = self._filter.due if self._powered else math.inf
        return min(due, min(self._timers.values(), default=math.inf))

    def see(self, time: float, seen: Seen) -> None:
        """Take note of a change at the contacts."""
        self._seen = seen
        if self._powered:
            self._filter.see(time, recognise(seen, self._traits.high_threshold_shift_v))

    def advance(self, time: float) -> None:
        """Do all that is due up to `time`."""
        while (due := self.next_time) <= time:
            if self._powered and self._filter.due == due:
                self._notice(due)
                continue
            name = min(self._timers, key=lambda key: self._timers[key])
            del self._timers[name]
            _ACTIONS[name](self, due)

    def change(self, time: float, traits: Traits) -> None:
        """Become another charger while running, as by its menu; a new current takes its lag."""
        if traits.limit_a != self._traits.limit_a and math.isfinite(traits.duty_lag_s):
            self._timers["offer"] = time + traits.duty_lag_s
        if _pace(traits) != _pace(self._traits):
            self.generator.retune(time, _pace(traits))
        self._traits = traits

    def restart(self, time: float, off_s: float) -> None:
        """Lose the supply for `off_s` seconds."""
        self._timers = {"boot": time + off_s + _BOOT_S}
        if self._traits.welded and self._closed:
            self._timers["close"] = time + off_s
        self._powered = False
        self.generator.steady(time, OFF)
        self._switch(time, closed=False)

    # What it wants --------------------------------------------------------------------------

    def _plug(self, vehicle: Vehicle) -> bool:
        """Whether a plug is there as far as the outlet can tell."""
        tethered = self._traits.outlet == "cable"
        return tethered or cable_current(vehicle.cable_ohm) is not None

    def _wants_pulses(self) -> bool:
        vehicle = self._filter.accepted
        if vehicle.state == "A":
            return self._traits.pwm_in_a
        if vehicle.state == "E":
            return math.isinf(self._traits.short_ms) and self.generator.pulsing
        return self._plug(vehicle)

    def _wants_mains(self) -> bool:
        vehicle = self._filter.accepted
        if vehicle.state == "E" and math.isinf(self._traits.short_ms):
            return self._closed
        asked = vehicle.state == "C" or (
            vehicle.state == "D" and self._traits.ventilation == "allow"
        )
        early = vehicle.state == "B" and self._traits.mains_in_b
        sound = vehicle.diode or not self._traits.checks_diode
        return self.generator.pulsing and sound and (asked or early)

    def _current(self) -> float:
        allowed = cable_current(self._filter.accepted.cable_ohm)
        if self._traits.outlet == "socket" and self._traits.obeys_cable and allowed is not None:
            return min(self._offered_a, allowed)
        return self._offered_a

    # What it does ---------------------------------------------------------------------------

    def _begin(self, time: float) -> None:
        self._powered = True
        self.generator.steady(time, HIGH)
        self._filter = Filter(_NOBODY)
        self._offered_a = self._traits.limit_a
        if self._seen is not None:
            self._filter.see(time, recognise(self._seen, self._traits.high_threshold_shift_v))
        if self._traits.pwm_in_a:
            self._pulse(time)

    def _notice(self, due: float) -> None:
        left = self._filter.settle()
        if left is None:
            return
        self._order_pulses(left, due)
        self._order_mains(left, due)

    def _order_pulses(self, left: float, now: float) -> None:
        self._timers.pop("pulse", None)
        self._timers.pop("stop", None)
        pulsing = self.generator.pulsing
        if self._wants_pulses() and pulsing:
            self._pulse(now)
        elif self._wants_pulses():
            self._timers["pulse"] = max(now, left + PULSES_AFTER_S)
        elif pulsing and self._filter.accepted.state == "E":
            self._timers["stop"] = max(now, left + self._traits.short_ms / 1e3)
        elif pulsing:
            self._timers["stop"] = max(now, left + PULSES_STOP_S)

    def _order_mains(self, left: float, now: float) -> None:
        wanted = self._wants_mains()
        if not wanted:
            self._timers.pop("close", None)
        if wanted:
            self._timers.pop("open", None)
        if wanted and not self._closed and "close" not in self._timers:
            early = self._filter.accepted.state == "B"
            delay = EARLY_MAINS_S if early else self._traits.close_s
            self._set("close", max(now, left + delay))
        if not wanted and self._closed and "open" not in self._timers:
            self._set("open", max(now, left + self._opening_delay_s()))

    def _set(self, name: str, time: float) -> None:
        if math.isfinite(time):
            self._timers[name] = time

    def _opening_delay_s(self) -> float:
        vehicle, traits = self._filter.accepted, self._traits
        if vehicle.state == "A":
            return (traits.unplug_ms if vehicle.return_closed else traits.pe_open_ms) / 1e3
        return (traits.short_ms if vehicle.state == "E" else traits.open_ms) / 1e3

    def _pulse(self, time: float) -> None:
        self.generator.pulse(time, duty_of(self._current()))

    def _begin_pulses(self, time: float) -> None:
        self._pulse(time)
        self._order_mains(time, time)

    def _stop_pulses(self, time: float) -> None:
        self.generator.stop(time)
        self._order_mains(time, time)

    def _take_new_offer(self, time: float) -> None:
        self._offered_a = self._traits.limit_a
        if self.generator.pulsing:
            self._pulse(time)

    def _close(self, time: float) -> None:
        self._switch(time, closed=True)

    def _open(self, time: float) -> None:
        if not self._traits.welded:
            self._switch(time, closed=False)

    def _switch(self, time: float, *, closed: bool) -> None:
        if closed != self._closed:
            self._closed = closed
            self.mains.append((time, closed))


def _pace(traits: Traits) -> Pace:
    return Pace(
        traits.frequency_hz,
        traits.drift_ppm_per_s * 1e-6,
        traits.jitter_us * 1e-6,
        traits.pulse_offset_us * 1e-6,
    )


_ACTIONS: dict[str, Callable[[Charger, float], None]] = {
    "pulse": Charger._begin_pulses,
    "stop": Charger._stop_pulses,
    "close": Charger._close,
    "open": Charger._open,
    "offer": Charger._take_new_offer,
    "boot": Charger._begin,
}
