"""One stand-in: present a setting, record, watch mains; always left on `open`.

All durations are the board's.  One thread uses it, the runner's; every message
that it takes from the queue renews the lease, so that a runner that hangs ends
on `open`.
"""

import time
from collections import Counter
from collections.abc import Callable
from types import TracebackType
from typing import Final, Self

import numpy as np
import numpy.typing as npt

from rungbench.acquire import Acquisition, Loss, LossKind
from rungbench.errors import LinkLost, NoAnswer
from rungbench.link.messages import (
    OPEN,
    TICK_S,
    Answer,
    Arm,
    EdgeBlock,
    Event,
    EventKind,
    FromBoard,
    Health,
    Identity,
    Mode,
    Present,
    SampleBlock,
    SetMode,
    Setting,
)
from rungbench.link.port import Port, open_port
from rungbench.standin.calibration import BenchCalibration, uncalibrated
from rungbench.standin.errors import FellOpen, NotApplied, NotArmed, Refused
from rungbench.standin.record import Applied, BoardRecord, Losses
from rungbench.standin.recorder import Recorder

ANSWER_S: Final = 2.0
# The last of the tries may be answered this late, while reports from before it still wait here.
APPLIED_S: Final = 8.0
_TRIES: Final = 3
_TAKE_S: Final = 0.2
_SILENT_S: Final = 5.0
_PULSING_S: Final = 0.02
_EDGES_OF_PWM: Final = 8
_EDGES_OF_A_PULSE: Final = 3

Calibrate = Callable[[Identity], BenchCalibration]


def never() -> None:
    """A wish to stop that nobody has."""


def unheard(_message: FromBoard | Loss) -> None:
    """A listener that does not."""


class StandIn:
    """The board behind an acquisition that has started.

    Use `StandIn.open` as a context manager: whatever happens inside, the stand-in is left on
    `open`.  `check_stop` is called while waiting; what it raises ends the wait.  `listen` gets
    every message and loss as it is taken, for live views.
    """

    def __init__(self, acquisition: Acquisition, calibration: BenchCalibration) -> None:
        self._acquisition = acquisition
        self.identity: Identity = acquisition.identity
        self.calibration = calibration
        self.check_stop: Callable[[], None] = never
        self.listen: Callable[[FromBoard | Loss], None] = unheard
        self.now_tick = 0
        self.health: Health | None = None
        self._run_armed = False
        self._asked = OPEN
        self._applied = Applied(OPEN, OPEN, 0)
        self._mains: set[int] = set()
        self._lit: list[tuple[int, int]] = []
        self._recorder: Recorder | None = None
        self._recorded_mode = Mode.OFF
        self._health_before: Health | None = None
        self._losses: Counter[LossKind] = Counter()
        self._edge_ticks: tuple[int, int] = (0, 0)
        self._duty: float | None = None
        self._empty_takes = 0

    @classmethod
    def open(cls, url: str, calibrate: Calibrate = uncalibrated) -> Self:
        """Open a port, say hello and wait for the board's first report.

        Raises
        ------
        PortError, OtherProtocol : see `link.port.open_port`.
        """
        return cls.behind(open_port(url), calibrate)

    @classmethod
    def behind(cls, port: Port, calibrate: Calibrate = uncalibrated) -> Self:
        """The stand-in behind a port that was opened already; it is closed with the stand-in."""
        acquisition = Acquisition(port)
        acquisition.start()
        try:
            standin = cls(acquisition, calibrate(port.identity))
            standin._await_health()
        except BaseException:
            acquisition.close()
            raise
        return standin

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        problem: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Ask for `open` and give the port back."""
        self._run_armed = False
        self._acquisition.close()

    @property
    def port(self) -> Port:
        """The port behind it, for a hand at a simulated bench."""
        return self._acquisition.port

    # What is presented ------------------------------------------------------------------------

    @property
    def setting(self) -> Setting:
        """The setting that the board reports."""
        return self._applied.reported

    @property
    def run_armed(self) -> bool:
        """Whether energising settings may be presented."""
        return self._run_armed

    def arm_energising(self) -> None:
        """Allow energising settings from now on; each still gets a nonce of its own."""
        self._run_armed = True

    def disarm(self) -> None:
        """Allow no energising setting any more."""
        self._run_armed = False

    def present(self, setting: Setting) -> Applied:
        """Present a setting and read back what the board reports.

        Raises
        ------
        NotArmed : the setting is energising and the run is not armed.
        Refused : the board does not take it, with its reason.
        NotApplied : it took it and went on reporting another one.
        """
        since = self.now_tick
        self._ask_for(setting)
        reached = self.wait_until(lambda: self._reports(setting, since), APPLIED_S)
        if not reached:
            reported = self._applied.reported.text()
            raise NotApplied(
                f"The board was asked for {setting.text()} and reports {reported}; reset it and "
                "run again."
            )
        self._applied = Applied(setting, self._applied.reported, self._applied.tick)
        return self._applied

    def hold(self, setting: Setting) -> Applied:
        """Present a setting unless it is presented already."""
        if setting == self._asked == self._applied.reported:
            return self._applied
        return self.present(setting)

    # What is sensed ---------------------------------------------------------------------------

    @property
    def mains(self) -> frozenset[int]:
        """Phases that are live now, by the board's senses."""
        return frozenset(self._mains)

    def live_since(self, tick: int) -> frozenset[int]:
        """Phases that were live at any time since `tick`."""
        return self.mains | {phase for lit, phase in self._lit if lit >= tick}

    def pulsing(self) -> bool:
        """Whether the pilot pulses now."""
        first, last = self._edge_ticks
        return last > first and (self.now_tick - last) * TICK_S < _PULSING_S

    @property
    def duty(self) -> float | None:
        """Duty of the latest pulses in percent, to see that it moved; it is no measurement."""
        return self._duty if self.pulsing() else None

    # Records ----------------------------------------------------------------------------------

    def begin(self, mode: Mode, origin: str = "") -> None:
        """Record from now on, sampling in `mode`."""
        if self._recorder is not None:
            self.end()
        self._recorder = Recorder(
            origin or f"board {self.identity.board_id}",
            self.now_tick,
            str(self._asked.rung),
            self.identity.edge_quantum_ticks,
        )
        self._losses.clear()
        self._health_before = self.health
        self._recorded_mode = mode
        if mode is not Mode.OFF:
            self._request(SetMode(mode), f"sampling in {mode}")

    def end(self) -> BoardRecord:
        """What was recorded since `begin`, whole up to the board's latest report."""
        end_tick = self.now_tick
        if self._recorded_mode is not Mode.OFF:
            self._request(SetMode(Mode.OFF), "an end of sampling")
        self._await_health(Mode.OFF)
        recorder, self._recorder = self._recorder, None
        if recorder is None:
            raise NotApplied("Nothing was being recorded; this is a fault of the program.")
        # An edge record belongs to the rung that it was taken on, which may have changed since.
        recorder.rung = str(self._asked.rung)
        capture, samples_missing = recorder.capture(self.calibration)
        edges, edges_missing = recorder.edge_record(self.calibration, end_tick)
        return BoardRecord(
            capture=capture,
            edges=edges,
            events=tuple(recorder.events),
            start_tick=recorder.start_tick,
            end_tick=end_tick,
            losses=self._lost(samples_missing, edges_missing),
            mains=self.mains,
            pilot=tuple(recorder.samples),
            own=tuple(recorder.own),
        )

    def stream(self, mode: Mode) -> None:
        """Sample in `mode` from now on and record nothing: `listen` gets the blocks."""
        self._request(SetMode(mode), f"sampling in {mode}")

    def record(self, duration_s: float, mode: Mode) -> BoardRecord:
        """Record for a while."""
        self.begin(mode)
        self.wait(duration_s)
        return self.end()

    # Time -------------------------------------------------------------------------------------

    def wait(self, duration_s: float) -> None:
        """Let board time pass."""
        end = self.now_tick + round(duration_s / TICK_S)
        while self.now_tick < end:
            self._pump()

    def wait_until(self, reached: Callable[[], bool], limit_s: float) -> bool:
        """Let board time pass until `reached`, at most `limit_s`; whether it was."""
        end = self.now_tick + round(limit_s / TICK_S)
        while not reached():
            if self.now_tick >= end:
                return False
            self._pump()
        return True

    def renew(self) -> None:
        """Say that the runner is well while it computes; nothing is read."""
        self._acquisition.renew_lease()

    # Messages ---------------------------------------------------------------------------------

    def _pump(self) -> None:
        """Take one message and note what it says."""
        self.check_stop()
        self._acquisition.renew_lease()
        message = self._acquisition.next(_TAKE_S)
        if message is None:
            # Counted while waiting only: what the runner computed meanwhile is no silence.
            self._empty_takes += 1
            if self._empty_takes * _TAKE_S > _SILENT_S:
                raise LinkLost("The board has fallen silent; check the USB cable and the board.")
            return
        self._empty_takes = 0
        self.listen(message)
        if isinstance(message, Loss):
            self._lose(message)
        else:
            self._note(message)

    def _note(self, message: FromBoard) -> None:
        match message:
            case SampleBlock():
                ends = message.tick + message.counts.size * message.interval_ticks
                self._reach(ends)
            case EdgeBlock():
                self._note_edges(message)
            case Event():
                self._note_event(message)
            case Health():
                self._note_health(message)
            case _:
                return
        if self._recorder is not None:
            self._recorder.take(message)

    def _note_edges(self, block: EdgeBlock) -> None:
        times = block.times
        if times.size:
            first = int(times[0]) if times.size >= _EDGES_OF_PWM else self._edge_ticks[1]
            self._edge_ticks = (first, int(times[-1]))
            self._duty = _duty(times, block.rising)
            self._reach(int(times[-1]))

    def _note_health(self, health: Health) -> None:
        self.health = health
        self._mains = set(health.mains)
        self._lit += [(health.tick, phase) for phase in health.mains]
        self._lit = self._lit[-256:]
        self._reach(health.tick)
        if health.setting != self._applied.reported and health.setting == self._asked:
            self._applied = Applied(self._asked, health.setting, health.tick)

    def _note_event(self, event: Event) -> None:
        self._reach(event.tick)
        match event.kind:
            case EventKind.SETTING_APPLIED:
                self._applied = Applied(self._asked, event.setting, event.tick)
            case EventKind.MAINS_ON:
                self._mains.add(event.phase)
                self._lit.append((event.tick, event.phase))
            case EventKind.MAINS_OFF:
                self._mains.discard(event.phase)
            case EventKind.FELL_OPEN:
                self._fell_open(event)
            case _:
                return

    def _fell_open(self, event: Event) -> None:
        before = self._asked.text()
        self._opened(f"The board left {before} for open by itself ({event.reason}); run again.")

    def _opened(self, why: str) -> None:
        """Something else than the runner went to `open`."""
        self._run_armed = False
        if self._asked != OPEN:
            self._asked = OPEN
            raise FellOpen(why)

    def _lose(self, loss: Loss) -> None:
        if loss.final:
            raise LinkLost(loss.detail)
        if loss.kind is LossKind.HUNG:
            self._opened(loss.detail)
            return
        self._losses[loss.kind] += loss.count

    def _reach(self, tick: int) -> None:
        self.now_tick = max(self.now_tick, tick)

    def _reports(self, setting: Setting, since: int) -> bool:
        return self._applied.reported == setting and self._applied.tick > since

    def _await_health(self, mode: Mode | None = None) -> None:
        """Until the next report: everything that was sent before it has then arrived.

        With `mode`, a report of that mode: an older one may still be on its way, samples behind it.
        """
        seen = self.health
        deadline = time.monotonic() + _SILENT_S
        while self.health is None or self.health is seen or mode not in (None, self.health.mode):
            if time.monotonic() > deadline:
                raise LinkLost("The board sends no reports; reset it and start again.")
            self._pump()

    def _ask_for(self, setting: Setting) -> None:
        """Ask until it is answered; each try of an energising setting gets a fresh nonce."""
        for last in (False,) * (_TRIES - 1) + (True,):
            nonce = self._nonce_for(setting)
            self._asked = setting
            try:
                self._request(Present(setting, nonce), f"the setting {setting.text()}")
            except NoAnswer:
                self._await_health()
                if self.health is not None and self.health.setting == setting:
                    return
                if last:
                    raise
            else:
                return

    def _request(self, message: Present | SetMode | Arm, what: str) -> Answer:
        self._acquisition.renew_lease()
        answer = self._acquisition.send(message, ANSWER_S)
        if not answer.accepted:
            raise Refused(f"The board refused {what}: {answer.code}.")
        return answer

    def _nonce_for(self, setting: Setting) -> int:
        if not setting.energising:
            return 0
        if not self._run_armed:
            raise NotArmed(f"Rung {setting.rung} may put mains on the outlet; arm the run first.")
        return self._request(Arm(), "arming").nonce

    def _lost(self, samples: int, edges: int) -> Losses:
        kinds = self._losses
        return Losses(
            frames_lost=kinds[LossKind.LOST],
            frames_damaged=kinds[LossKind.DAMAGED] + kinds[LossKind.NONSENSE],
            frames_reordered=kinds[LossKind.REORDERED],
            queue_overflow=kinds[LossKind.OVERFLOW],
            board_dropped=_dropped(self.health) - _dropped(self._health_before),
            samples_missing=samples,
            edges_missing=edges,
        )


def _duty(times: npt.NDArray[np.int64], rising: npt.NDArray[np.bool_]) -> float | None:
    """High time over period of the last whole pulse, in percent."""
    end = times.size if times.size and rising[-1] else times.size - 1
    if end < _EDGES_OF_A_PULSE:
        return None
    first, fall, last = (int(time) for time in times[end - _EDGES_OF_A_PULSE : end])
    return 100.0 * (fall - first) / (last - first) if last > first else None


def _dropped(health: Health | None) -> int:
    if health is None:
        return 0
    return health.overruns + health.dropped_edges + health.dropped_samples
