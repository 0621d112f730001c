"""The thread that owns the stand-in: commands in by queue, frozen objects out by signals."""

import queue
import threading
import time
from contextlib import suppress
from typing import Final

from PySide6.QtCore import QObject, Signal

from pilotsignal.errors import PilotSignalError
from rungbench.acquire import Loss
from rungbench.desktop.commands import (
    ArmOnce,
    Command,
    Connect,
    GoOpen,
    Job,
    NoteAlarm,
    PresentSetting,
    Sample,
)
from rungbench.desktop.session import Session
from rungbench.desktop.snapshots import JobEnd, LinkState
from rungbench.errors import BenchError, Interrupted, LinkLost, RungbenchError
from rungbench.link.messages import FromBoard
from rungbench.link.words import OPEN, Mode
from rungbench.qualify.bench import open_bench
from rungbench.standin.board import StandIn, never
from rungbench.standin.errors import NotArmed, Refused

EVERY_S: Final = 0.018
"""Shortest time between two snapshots, of the host's clock."""

HANGS_S: Final = 3.0
"""A window that gives no sign of life for so long hangs, and nothing stays energised then."""

_FAULT: Final = "It ended with a fault of the program; start the program again."
_DESERTED: Final = "The window did not respond for 3 s, so the stand-in went to open."
_RETRY_S: Final = 0.7
_IDLE_S: Final = 0.1
_LAST_WATCH_S: Final = 9.0  # of the host's clock, should the board say nothing more


class RunnerSignals(QObject):
    """What the thread emits; to be connected queued."""

    snapshot = Signal(object)
    link = Signal(object)
    told = Signal(object)
    job_ended = Signal(object)
    refused = Signal(str)
    ended = Signal()


class RunnerThread(threading.Thread):
    """See `worker.BenchWorker`, which is the only one to talk to it.

    A thread of Python's and no QThread: what it does not catch reaches the crash file, and the
    interpreter waits for its end.
    """

    def __init__(self) -> None:
        super().__init__(name="runner")
        self.signals = RunnerSignals()
        self._commands: queue.SimpleQueue[Command] = queue.SimpleQueue()
        self._wish_open = threading.Event()
        self._wish_end = threading.Event()
        self._hurry = threading.Event()
        self._url = ""
        self._mode = Mode.STREAM10
        self._session: Session | None = None
        self._published_s = 0.0
        self._beat_s = time.monotonic()

    # From the window's thread -------------------------------------------------------------------

    def ask(self, command: Command) -> None:
        """Queue a command; going open overtakes whatever is being done."""
        if isinstance(command, GoOpen):
            self._wish_open.set()
        else:
            self._commands.put(command)

    def beat(self) -> None:
        """The window is alive."""
        self._beat_s = time.monotonic()

    def end(self) -> None:
        """Go open, watch the outlet if it was anything else, and end; twice: do not watch."""
        if self._wish_end.is_set():
            self._hurry.set()
        self._wish_end.set()
        self._wish_open.set()

    # The thread ---------------------------------------------------------------------------------

    def run(self) -> None:
        """The thread's life."""
        try:
            while not self._wish_end.is_set():
                if self._url:
                    self._with_bench(self._url)
                else:
                    self._without_bench(_IDLE_S)
        finally:
            self.signals.ended.emit()

    def _without_bench(self, wait_s: float) -> None:
        """Take commands while there is no bench."""
        self._wish_open.clear()
        try:
            command = self._commands.get(timeout=wait_s)
        except queue.Empty:
            return
        match command:
            case Connect():
                self._url = command.url
                if not command.url:
                    self.signals.link.emit(LinkState())
            case Sample():
                self._mode = command.mode
            case NoteAlarm():
                return
            case Job():
                sentence = "There is no bench to do it with; connect one, then start again."
                self.signals.job_ended.emit(JobEnd(command.title, sentence=sentence))
            case _:
                self.signals.refused.emit("There is no bench; connect one first.")

    def _with_bench(self, url: str) -> None:
        try:
            with open_bench(url) as standin:
                self._serve(url, standin)
        except (RungbenchError, PilotSignalError) as problem:
            self._session = None
            self.signals.link.emit(LinkState(url, sentence=str(problem)))
            # A bench that comes back is used again without a word; till then commands are taken.
            end = time.monotonic() + _RETRY_S
            while time.monotonic() < end and not self._wish_end.is_set() and self._url == url:
                self._without_bench(_IDLE_S)
        finally:
            self._session = None

    def _serve(self, url: str, standin: StandIn) -> None:
        session = self._session = Session(standin, self._mode)
        gather = standin.listen

        def heard(message: FromBoard | Loss) -> None:
            gather(message)
            self._publish()

        standin.listen = heard
        standin.check_stop = self._check
        session.begin()
        self.signals.link.emit(LinkState(url, standin.identity, standin.calibration))
        try:
            while self._url == url and not self._wish_end.is_set():
                self._turn(session)
            self._leave(session)
        except LinkLost as lost:
            # Told before the port is closed, which may take a while.
            self.signals.link.emit(LinkState(url, sentence=str(lost)))
            raise

    def _check(self) -> None:
        if self._wish_open.is_set():
            raise Interrupted("Stopped: back to open.")
        if self._deserted():
            raise Interrupted(_DESERTED)

    def _deserted(self) -> bool:
        """Whether something is energised and the window hangs: nobody could go back to open."""
        session = self._session
        energised = session is not None and session.standin.setting.energising
        return energised and time.monotonic() - self._beat_s > HANGS_S

    def _turn(self, session: Session) -> None:
        """One command, or a little board time."""
        if self._wish_open.is_set() or self._deserted():
            self._say("" if self._wish_open.is_set() else _DESERTED)
            self._back(session)
            return
        try:
            command = self._commands.get_nowait()
        except queue.Empty:
            with suppress(Interrupted):
                self._say(session.step())
            return
        self._obey(session, command)

    def _obey(self, session: Session, command: Command) -> None:
        try:
            self._do(session, command)
        except Interrupted:
            self._back(session)
        except LinkLost:
            raise
        except (Refused, NotArmed) as problem:
            self._say(str(problem))
        except BenchError as problem:
            self._say(str(problem))
            self._back(session)  # nobody knows for certain what is presented

    def _do(self, session: Session, command: Command) -> None:
        match command:
            case PresentSetting():
                session.present(command.setting)
            case ArmOnce():
                session.arm()
            case Sample():
                self._mode = command.mode
                session.sample(command.mode)
            case NoteAlarm():
                session.note_alarm()
            case Connect():
                self._url = command.url
            case Job():
                self._job(session, command)
            case GoOpen():
                self._back(session)

    def _back(self, session: Session) -> None:
        """To open; no wish may interrupt that."""
        session.standin.check_stop = never
        try:
            session.go_open()
        finally:
            self._wish_open.clear()
            session.standin.check_stop = self._check

    def _job(self, session: Session, job: Job) -> None:
        session.job = job.title
        result, sentence, known = None, "", False
        try:
            result = job.work(session.standin, self.signals.told.emit)
            known = True
        except (RungbenchError, PilotSignalError, OSError) as problem:
            sentence, known = str(problem), True
            if isinstance(problem, LinkLost):
                self.signals.job_ended.emit(JobEnd(job.title, None, sentence))
                raise
        finally:
            session.job = ""
            if not known:
                # A fault of the program goes on to the crash file; whoever waits is told.
                self.signals.job_ended.emit(JobEnd(job.title, None, _FAULT))
        try:
            self._take_back(session)
        finally:
            # Also where the link is gone: what the job came to is not lost with it.
            self.signals.job_ended.emit(JobEnd(job.title, result, sentence))

    def _take_back(self, session: Session) -> None:
        """The stand-in after a job: not armed, sampling as before, on open."""
        session.standin.disarm()
        self._wish_open.clear()
        session.standin.check_stop = self._check
        session.begin()
        if session.standin.setting != OPEN:
            self._back(session)

    def _leave(self, session: Session) -> None:
        """Open and watched, whatever the reason for leaving is."""
        self._back(session)
        session.standin.check_stop = never
        until = time.monotonic() + _LAST_WATCH_S
        while session.watching() and not self._hurry.is_set() and time.monotonic() < until:
            session.step()
        self._publish(at_once=True)
        if not self._wish_end.is_set() and not self._url:
            self.signals.link.emit(LinkState())

    # Out ----------------------------------------------------------------------------------------

    def _say(self, sentence: str) -> None:
        if sentence:
            self.signals.refused.emit(sentence)

    def _publish(self, *, at_once: bool = False) -> None:
        now = time.monotonic()
        if self._session is None or (now - self._published_s < EVERY_S and not at_once):
            return
        self._published_s = now
        self.signals.snapshot.emit(self._session.snapshot())
