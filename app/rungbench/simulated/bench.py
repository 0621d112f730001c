"""Everything together: charger, circuit, ladder, mains, board, and one simulated time.

From one event to the next nothing switches, so that samples and edges between
them are worked out as arrays.
"""

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np

from rungbench.link.messages import OPEN, ResetCause, Setting
from rungbench.simulated.board import Board, Made, Wires
from rungbench.simulated.calibrator import Calibrator
from rungbench.simulated.charger import Charger
from rungbench.simulated.circuit import PilotCircuit, Source
from rungbench.simulated.diode import Diode
from rungbench.simulated.generator import Floats
from rungbench.simulated.ladder import Ladder
from rungbench.simulated.mains import Sense, senses
from rungbench.simulated.parts import FILTER_S, parts_of
from rungbench.simulated.pilot import Pilot
from rungbench.simulated.recognition import Seen
from rungbench.simulated.traits import Traits
from rungbench.simulated.wire import Wire

STEP_S = 0.02
CABLE_PF = {"cable": 400.0, "socket": 150.0}  # invented: tethered cable, test lead
_HUM_HZ = 50.0


class Bench:
    """A simulated bench; `time` is in true seconds since it was opened."""

    def __init__(self, traits: Traits) -> None:
        self.time = 0.0
        self.traits = traits
        self._seeds = {
            name: np.random.default_rng((traits.seed, number))
            for number, name in enumerate(("noise", "edges", "jitter", "bounce", "nonce", "phase"))
        }
        self.wire = Wire(traits, np.random.default_rng((traits.seed, 99)))
        self._parts = parts_of(traits.seed)
        self._calibrator = Calibrator.of(traits)
        self._charger = Charger(traits, self._seeds["jitter"].standard_normal)
        self._ladder = Ladder(self._parts, self._seeds["bounce"].random)
        self._pilots: dict[tuple[float, float], Pilot] = {}
        self._pilot = self._pilot_now()
        self._load = self._ladder.load()
        self._senses = senses(float(self._seeds["phase"].random()))
        self._moves_told = 0
        self._late: tuple[float, bool] | None = None
        self._plans: list[tuple[float, Callable[[float], None]]] = []
        self._look()
        self._board = self._boot(ResetCause.POWER_ON)

    def advance(self, seconds: float) -> None:
        """Let time pass."""
        end = self.time + seconds
        while self.time < end:
            until = min(end, max(self.time, self._next_time()))
            self._observe(until)
            self.time = until
            self._happen()
        self._board.flush_edges(self.time)
        self._charger.generator.forget(self.time - 0.001)

    def receive(self, data: bytes) -> None:
        """Bytes from the host arrive now."""
        self._board.receive(data, self.time)

    @property
    def unplugged(self) -> bool:
        """Whether the USB cable has been pulled."""
        return self.time >= self.traits.unplug_after_s

    # For the operator -----------------------------------------------------------------------

    def plan(self, tick: int, action: Callable[[float], None]) -> None:
        """Do something at a board time, or now if that is past."""
        self._plans.append((max(self.time, self._board.time_of(tick)), action))
        self._plans.sort(key=lambda plan: plan[0])

    def change(self, time: float, changes: dict[str, Any]) -> None:
        """Change traits of the charger."""
        self.traits = replace(self.traits, **changes)
        self._calibrator = Calibrator.of(self.traits)
        self._pilots.clear()
        self._charger.change(time, self.traits)
        self._pilot = self._pilot_now()
        self._look()

    def restart_charger(self, time: float, off_s: float) -> None:
        """The charger loses its supply for a while."""
        self._charger.restart(time, off_s)

    def reset_board(self, time: float) -> None:
        """The reset line: relays drop, ticks begin anew."""
        self._ladder.command(time, OPEN)
        self._board = self._boot(ResetCause.RESET_LINE)

    def move_interlock(self, time: float, closed: bool) -> None:
        """The emergency stop's auxiliary contact."""
        self._board.rules.interlock(self._board.tick_at(time), closed)

    @property
    def tick(self) -> int:
        """Board time now."""
        return self._board.tick_at(self.time)

    # Inside ---------------------------------------------------------------------------------

    def _boot(self, cause: ResetCause) -> Board:
        nonces = self._seeds["nonce"]
        wires = Wires(self.wire.send, self._drive, lambda: int(nonces.integers(1, 2**32)))
        return Board(self.time, cause, Made(self._parts, self.traits), wires)

    def _drive(self, time: float, setting: Setting) -> None:
        self._ladder.command(time, setting)
        self._look()

    def _look(self) -> None:
        high, low = self._pilot.plateaus(self._load)
        seen = Seen(high, low, self._ladder.return_closed, self._ladder.cable_ohm)
        self._charger.see(self.time, seen)

    def _load_changed(self) -> None:
        self._load = self._ladder.load()
        self._pilot = self._pilot_now()
        self._look()

    def _next_time(self) -> float:
        times = [self._ladder.next_time, self._charger.next_time, self._board.next_time]
        times += [sense.next_time for sense in self._senses]
        times += [self._late[0]] if self._late else []
        times += [time for time, _ in self._plans[:1]]
        return min(times)

    def _happen(self) -> None:
        """Everything that is due now."""
        now = self.time
        while self._plans and self._plans[0][0] <= now:
            self._plans.pop(0)[1](now)
        while self._ladder.next_time <= now:
            self._ladder.advance()
            self._load_changed()
        self._charger.advance(now)
        self._mind_rails()
        self._tell_mains(now)
        if self._board.next_time <= now:
            self._board.advance(now)

    def _tell_mains(self, now: float) -> None:
        for time, closed in self._charger.mains[self._moves_told :]:
            for number, sense in enumerate(self._senses, start=1):
                if not closed or number in self._charger.phases:
                    self._move_phase(sense, time, closed, last=number == len(self._senses))
        self._moves_told = len(self._charger.mains)
        if self._late is not None and self._late[0] <= now:
            self._senses[-1].move(*self._late)
            self._late = None
        for sense in self._senses:
            if sense.next_time <= now:
                self._board.sense(sense.take())

    def _move_phase(self, sense: Sense, time: float, closed: bool, *, last: bool) -> None:
        """The contact of one phase; that of the last may come after the others."""
        traits = self.traits
        late_s = (traits.late_on_s if closed else traits.late_off_ms / 1e3) if last else 0.0
        if last:
            self._late = None  # a coil that is switched back takes its slow contact along
        if late_s == 0.0:
            sense.move(time, closed)
            return
        self._late = (time + late_s, closed)

    def _pilot_now(self) -> Pilot:
        """The pilot with the rails that the charger has now; what was worked out is kept."""
        rails = self._charger.rails(self._ladder.rung)
        if rails not in self._pilots:
            self._pilots[rails] = _pilot(self.traits, rails, self._parts.diode)
        return self._pilots[rails]

    def _mind_rails(self) -> None:
        pilot = self._pilot_now()
        if pilot is not self._pilot:
            self._pilot = pilot
            self._look()

    def _observe(self, until: float) -> None:
        """Samples and edges from now to `until`, under one load."""
        if until <= self.time:
            return
        if self._calibrator is not None:
            self._observe_calibrator(self._calibrator, until)
            return
        moves = self._charger.generator.until(until)
        times = self._board.sample_times(until)
        if times.size:
            volts = self._pilot.volts(times, moves, self._load) + self._hum(times)
            noise = math.hypot(self.traits.noise_v, self.traits.dither_v)
            volts += noise * self._seeds["noise"].standard_normal(times.size)
            self._board.take_samples(volts)
        first = int(np.searchsorted(moves.times, self.time, side="right"))
        if first < moves.times.size:
            crossings = self._pilot.crossings(moves.from_index(first), self._load)
            shake = self.traits.noise_v * self._seeds["edges"].standard_normal(crossings.times.size)
            shift = -(shake + self._hum(crossings.times)) / crossings.slopes
            self._board.take_edges(crossings.times + shift, crossings.rising)

    def _observe_calibrator(self, calibrator: Calibrator, until: float) -> None:
        """Samples and edges of a calibrator, which has no noise of its own."""
        times = self._board.sample_times(until)
        if times.size:
            noise = self.traits.dither_v * self._seeds["noise"].standard_normal(times.size)
            self._board.take_samples(calibrator.volts(times) + noise)
        crossings = calibrator.crossings(self.time, until)
        self._board.take_edges(crossings.times, crossings.rising)

    def _hum(self, times: Floats) -> Floats:
        return self.traits.hum_v * np.sin(2 * np.pi * _HUM_HZ * times)


def _pilot(traits: Traits, rails: tuple[float, float], diode: Diode) -> Pilot:
    farad = (traits.cs_pf + CABLE_PF[traits.outlet]) * 1e-12
    source = Source(traits.source_ohm, traits.generator_rise_us * 1e-6, farad)
    return Pilot(PilotCircuit(source, diode), (*rails, 0.0), FILTER_S)
