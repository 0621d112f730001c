"""The simulated charger: a state machine with its delays.

All times are true seconds since the bench was opened.  Delays count from the
moment at which the pilot left its old state, as a test at the pilot sees them.
"""

import math
from collections.abc import Callable

from rungbench.simulated.generator import HIGH, LOW, OFF, Floats, Generator, Pace
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
PULSES_STOP_S = 0.1  # offer withdrawn: pulses end
EARLY_MAINS_S = 0.3  # with mains_in_b: pulses to mains
DIGITAL_DUTY = 0.05  # only digital communication tells the current
LEAST_A = 6.0
SMALLEST_STEP_A = 0.5  # below it a new current comes at once
REPHASE_S = 5.0  # another number of phases: mains off for so long
_BOOT_S = 0.5  # supply on: generator on
_NOBODY = Vehicle("A", True, True, math.inf)


class Charger:
    """Drives its generator and its contactor from what it sees at its contacts.

    `mains` lists the moves of the contactor so far, ``(time, closed)``.
    """

    def __init__(self, traits: Traits, normal: Callable[[int], Floats]) -> None:
        self.generator = Generator(_pace(traits, asked=False), normal)
        self.mains: list[tuple[float, bool]] = []
        self._traits = traits
        self._offered_a = traits.limit_a
        self._filter = Filter(_NOBODY)
        self._seen: Seen | None = None
        self._timers: dict[str, float] = {}
        self._closed = False
        self._powered = True
        self._fault = self._refused = self._was_c = self._stepping = False
        self._left_c = -math.inf
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
            self._filter.see(time, recognise(seen, self._traits))

    def rails(self, state: str) -> tuple[float, float]:
        """High and low rail in volts, as the load of a state at the pilot lets them be."""
        traits = self._traits
        high = {
            "B": traits.high_sag_b_v if self.generator.pulsing else traits.high_sag_b1_v,
            "C": traits.high_sag_c_v,
        }
        low = {"B": traits.low_sag_b_v, "C": traits.low_sag_c_v, "D": traits.low_sag_d_v}
        return (
            traits.voc_high_v - high.get(state, 0.0),
            traits.voc_low_v + low.get(state, 0.0),
        )

    @property
    def phases(self) -> frozenset[int]:
        """Phases that the contactor switches on next."""
        one = self._current() < self._traits.one_phase_below_a
        count = 1 if one else self._traits.phases
        return frozenset(range(1, count + 1)) - {self._traits.missing_phase}

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
        before, self._traits = self._traits, traits
        self._keep_pace(time)
        if (traits.offers, traits.authorised) != (before.offers, before.authorised):
            self._offer_or_withdraw(time, traits)

    def restart(self, time: float, off_s: float) -> None:
        """Lose the supply for `off_s` seconds."""
        self._timers = {"boot": time + off_s + _BOOT_S}
        if self._traits.welded and self._closed:
            self._timers["close"] = time + off_s
        self._powered = False
        self.generator.steady(time, OFF)
        self._switch(time, closed=False)

    def _offer_or_withdraw(self, time: float, traits: Traits) -> None:
        if not self._powered:
            return
        if not traits.offers and math.isfinite(traits.pwm_returns_s):
            self._timers["return"] = time + PULSES_STOP_S + traits.pwm_returns_s
        self._order_pulses(time, time)

    # What it wants --------------------------------------------------------------------------

    def _plug(self, vehicle: Vehicle) -> bool:
        """Whether a plug is there as far as the outlet can tell."""
        tethered = self._traits.outlet == "cable"
        return tethered or cable_current(vehicle.cable_ohm, self._traits) is not None

    def _wants_pulses(self) -> bool:
        vehicle = self._filter.accepted
        if vehicle.state == "A":
            return self._traits.pwm_in_a
        if vehicle.state == "E":
            return math.isinf(self._traits.short_ms) and self.generator.pulsing
        willing = self._traits.offers and self._traits.authorised and not self._fault
        return willing and self._plug(vehicle)

    def _wants_mains(self) -> bool:
        vehicle = self._filter.accepted
        if vehicle.state == "E" and math.isinf(self._traits.short_ms):
            return self._closed
        asked = vehicle.state == "C" or (
            vehicle.state == "D" and self._traits.ventilation == "allow"
        )
        early = vehicle.state == "B" and self._traits.mains_in_b
        sound = vehicle.diode or not self._traits.checks_diode
        spoken = not self._traits.digital or self._traits.digital_mains
        willing = sound and spoken and not self._fault and not self._refused
        offered = self.generator.pulsing or (self._traits.mains_without_offer and asked)
        return offered and willing and (asked or early)

    def _current(self) -> float:
        allowed = cable_current(self._filter.accepted.cable_ohm, self._traits)
        offered = max(self._offered_a, self._traits.lowest_a)
        if self._traits.outlet == "socket" and self._traits.obeys_cable and allowed is not None:
            return min(offered, allowed)
        return offered

    # What it does ---------------------------------------------------------------------------

    def _begin(self, time: float) -> None:
        self._powered, self._fault, self._refused = True, False, False
        self._was_c, self._left_c = False, -math.inf
        self.generator.steady(time, HIGH)
        self._filter = Filter(_NOBODY)
        self._offered_a = self._traits.limit_a
        if self._seen is not None:
            self._filter.see(time, recognise(self._seen, self._traits))
        if self._traits.pwm_in_a:
            self._pulse(time)

    def _notice(self, due: float) -> None:
        left = self._filter.settle()
        if left is None:
            return
        self._note_faults(left, due)
        self._keep_pace(due)
        self._order_pulses(left, due)
        self._order_mains(left, due)

    def _note_faults(self, left: float, now: float) -> None:
        """What the vehicle does wrong, and what the charger remembers of it."""
        vehicle, traits = self._filter.accepted, self._traits
        wrong = vehicle.state == "E" or (vehicle.state in "CD" and not vehicle.diode)
        tested = traits.checks_diode if vehicle.state != "E" else math.isfinite(traits.short_ms)
        if wrong and tested and self.generator.pulsing:
            self._fault = traits.latches
            if traits.f_ms > 0.0:
                self._timers["f"] = max(now, left + traits.short_ms / 1e3)
        if vehicle.state == "A":
            self._refused = False
        elif vehicle.state == "B" and self._was_c:
            self._left_c = left
        elif vehicle.state == "C" and not self._was_c:
            self._refused = self._refused or left - self._left_c < traits.toggle_s
        self._was_c = vehicle.state == "C"

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
            after_s = (
                self._traits.pwm_off_s if self._filter.accepted.state == "A" else PULSES_STOP_S
            )
            self._timers["stop"] = max(now, left + after_s)

    def _order_mains(self, left: float, now: float) -> None:
        wanted = self._wants_mains()
        if not wanted:
            self._timers.pop("close", None)
        if self._filter.accepted.state != "A":
            self._timers.pop("comes back", None)
        if wanted:
            self._timers.pop("open", None)
        if wanted and not self._closed and "close" not in self._timers:
            early = self._filter.accepted.state == "B"
            delay = EARLY_MAINS_S if early else self._traits.close_s
            self._set("close", max(now, left + delay))
        if not wanted and self._closed:
            due = max(now, left + self._opening_delay_s())
            # A vehicle that leaves C hurries what a withdrawn offer left time for.
            if due < self._timers.get("open", math.inf):
                self._set("open", due)

    def _set(self, name: str, time: float) -> None:
        if math.isfinite(time):
            self._timers[name] = time

    def _opening_delay_s(self) -> float:
        vehicle, traits = self._filter.accepted, self._traits
        if vehicle.state == "A":
            return (traits.unplug_ms if vehicle.return_closed else traits.pe_open_ms) / 1e3
        if vehicle.state == "C" and not self.generator.pulsing and vehicle.diode:
            return traits.withdraw_s
        if vehicle.state == "B" and not self.generator.pulsing:
            return traits.open_c1_ms / 1e3
        return (traits.short_ms if vehicle.state == "E" else traits.open_ms) / 1e3

    def _pulse(self, time: float) -> None:
        self.generator.pulse(time, DIGITAL_DUTY if self._traits.digital else self._duty())

    def _duty(self) -> float:
        """Part of the period, with the error that grows towards low set currents."""
        traits, current = self._traits, self._current()
        low = (traits.rated_a - current) / max(traits.rated_a - LEAST_A, 1.0)
        return duty_of(current) + traits.low_set_error_us * 1e-6 * low * traits.frequency_hz

    def _keep_pace(self, time: float) -> None:
        """Pulse as the state of the vehicle makes it pulse."""
        pace = _pace(self._traits, asked=self._filter.accepted.state in "CD")
        if pace != self.generator.pace:
            self.generator.retune(time, pace)

    def _begin_pulses(self, time: float) -> None:
        self._pulse(time)
        self._order_mains(time, time)

    def _stop_pulses(self, time: float) -> None:
        self.generator.stop(time)
        self._order_mains(time, time)

    def _return(self, time: float) -> None:
        """A withdrawn offer comes back, whatever was asked."""
        if self._plug(self._filter.accepted) and self._filter.accepted.state in "BCD":
            self._pulse(time)
            self._order_mains(time, time)

    def _show_f(self, time: float) -> None:
        self.generator.steady(time, LOW)
        self._timers["f-over"] = time + self._traits.f_ms / 1e3

    def _end_f(self, time: float) -> None:
        self.generator.steady(time, HIGH)
        self._order_pulses(time, time)

    def _take_new_offer(self, time: float) -> None:
        before, target = self.phases, self._traits.limit_a
        half = 0.5 * (self._offered_a + target)
        halfway = self._traits.duty_step_s > 0.0 and abs(half - target) > SMALLEST_STEP_A
        if halfway and not self._stepping:
            self._timers["offer"] = time + self._traits.duty_step_s
            target = half
        self._stepping = halfway and not self._stepping
        self._offered_a = target
        if self.generator.pulsing:
            self._pulse(time)
        if self._closed and self.phases != before:
            self._switch(time, closed=False)
            self._set("close", time + REPHASE_S)

    def _close(self, time: float) -> None:
        self._switch(time, closed=True)

    def _open(self, time: float) -> None:
        if self._traits.welded:
            return
        self._switch(time, closed=False)
        if self._filter.accepted.state == "A":
            self._set("comes back", time + self._traits.mains_returns_s)

    def _boot(self, time: float) -> None:
        self._begin(time)
        if self._traits.restart_mains:
            self._close(time)

    def _switch(self, time: float, *, closed: bool) -> None:
        if closed != self._closed:
            self._closed = closed
            self.mains.append((time, closed))


def _pace(traits: Traits, *, asked: bool) -> Pace:
    """How it pulses; `asked` says that the vehicle asks for mains."""
    return Pace(
        traits.frequency_hz + (traits.frequency_in_c_hz if asked else 0.0),
        traits.drift_ppm_per_s * 1e-6,
        traits.jitter_us * 1e-6,
        (traits.pulse_offset_us + (traits.pulse_offset_in_c_us if asked else 0.0)) * 1e-6,
    )


_ACTIONS: dict[str, Callable[[Charger, float], None]] = {
    "pulse": Charger._begin_pulses,
    "stop": Charger._stop_pulses,
    "close": Charger._close,
    "open": Charger._open,
    "offer": Charger._take_new_offer,
    "boot": Charger._boot,
    "comes back": Charger._close,
    "return": Charger._return,
    "f": Charger._show_f,
    "f-over": Charger._end_f,
}
