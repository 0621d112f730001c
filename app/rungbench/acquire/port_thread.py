"""The thread that owns the port: reads, keeps the board alive, says requests."""

import logging
import threading
import time
from collections.abc import Callable
from typing import Final

from rungbench.acquire.intake import Intake, Taken
from rungbench.acquire.loss import Loss, LossKind, Statistics
from rungbench.acquire.mailbox import Mailbox
from rungbench.acquire.requests import Pending, Request, Requests
from rungbench.errors import LinkLost, RungbenchError
from rungbench.link.line import Port
from rungbench.link.messages import OPEN, KeepAlive, Present, frame_bytes

KEEP_ALIVE_EVERY_S: Final = 0.25
LEASE_S: Final = 0.5
HUNG_S: Final = 0.95
"""Age of a lease at which the thread itself asks for `open`; the board would follow at 1.5 s."""
SILENCE_S: Final = 1.0
HOLD_S = 3.0
"""How long a lock-step board waits for a runner that computes, at each read.

Longer than a runner computes on a slow and busy computer: else what a simulated run measures
would depend on that. Not final, so that the test of it need not wait so long.
"""
EMPTY_READS: Final = 500
"""On a lock-step line: reads in a row without a byte that are a lost link."""

_log = logging.getLogger(__name__)


class PortThread(threading.Thread):
    """Runs from `start` to `stop`, a lost link, or the end of the program's main thread.

    It is no daemon: a daemon would be cut off before it could ask for `open`.
    """

    def __init__(
        self, port: Port, mailbox: Mailbox, clock: Callable[[], float] = time.monotonic
    ) -> None:
        super().__init__(name=f"port {port.url}")
        self.failure: RungbenchError | None = None
        self.open_confirmed = False
        self._port = port
        self._mailbox = mailbox
        self._clock = clock
        self._intake = Intake(port)
        self._requests = Requests()
        self._stopping = threading.Event()
        # Between a request that is handed over and the end that would leave it without a word.
        self._gate = threading.Lock()
        self._lease_s = clock()
        self._sequence = port.sequence
        self._kept_alive_s: float | None = None
        self._presents = False
        self._heard_s = clock()
        self._empty_reads = 0
        self._end_reported = False

    def renew_lease(self) -> None:
        """The runner says that it is well."""
        self._lease_s = self._clock()

    def stop(self) -> None:
        """Ask the thread to end; `join` waits for it."""
        self._stopping.set()
        self._mailbox.end()

    def statistics(self) -> Statistics:
        """The counts now."""
        return self._intake.tally.snapshot(self._mailbox.overflow)

    def submit(self, message: Request, timeout_s: float) -> Pending:
        """Hand over a request; raises at once when the link is gone."""
        request = Pending(message, timeout_s)
        with self._gate:
            if self.failure is not None:
                raise self.failure
            self._mailbox.request_begins()
            self._requests.submit(request)
        return request

    def run(self) -> None:
        """The thread's life."""
        failure: RungbenchError = LinkLost(
            f"The link on {self._port.url} was closed; open it again."
        )
        try:
            self._serve()
        except RungbenchError as problem:
            failure = problem
            self._report_end(problem)
        finally:
            self._finish(failure)

    def _serve(self) -> None:
        self._heard_s = self._clock()
        self._deliver(self._intake.early(self._port.early))
        while not self._stopping.is_set() and threading.main_thread().is_alive():
            if self._port.lock_step:
                self._mailbox.hold_until_wanted(HOLD_S)
            self._watch_runner()
            self._speak()
            data = self._port.read()
            self._watch_silence(data)
            self._deliver(self._intake.feed(data))
            self._settle(self._requests.expire(self._pace_s()))

    def _report_end(self, problem: RungbenchError) -> None:
        _log.info("link ended: %s", problem)
        if not self._end_reported:
            self._mailbox.put([Loss(LossKind.BROKEN, 1, str(problem))])

    def _finish(self, failure: RungbenchError) -> None:
        with self._gate:
            self.failure = failure
            self._settle(self._requests.fail_all(failure))
        self._mailbox.end()
        try:
            if not self.open_confirmed:
                self._say(Present(OPEN))
            if not threading.main_thread().is_alive():
                self._port.close()
        except RungbenchError as problem:
            _log.info("the last request for open could not be sent: %s", problem)

    def _pace_s(self) -> float:
        """Seconds that count for keep-alives and repeats: board time on a lock-step line."""
        return self._intake.board_s if self._port.lock_step else self._clock()

    def _speak(self) -> None:
        now_s = self._pace_s()
        if self._keep_alive_due(now_s):
            self._say(KeepAlive())
            self._kept_alive_s = now_s
            self._intake.tally.keep_alives += 1
        for request in self._requests.due(now_s):
            self._intake.tally.repeats += request.tries > 0
            self._requests.said(request, self._sequence, now_s)
            self._say(request.message)

    def _watch_runner(self) -> None:
        """Open for a runner that hangs.

        Not on a lock-step line, whose board has no time that passes while the runner computes.
        """
        age_s = self._clock() - self._lease_s
        if self._port.lock_step or not self._presents or age_s <= HUNG_S:
            return
        self._presents = False
        detail = (
            f"The program did nothing for {HUNG_S:g} s while something was presented, so `open` "
            "was asked for; close what keeps this computer busy and run again."
        )
        self._mailbox.put([Loss(LossKind.HUNG, 1, detail)])
        self._mailbox.request_begins()
        self._requests.submit(Pending(Present(OPEN), HUNG_S))

    def _keep_alive_due(self, now_s: float) -> bool:
        if self._clock() - self._lease_s > LEASE_S:
            return False
        return self._kept_alive_s is None or now_s - self._kept_alive_s >= KEEP_ALIVE_EVERY_S

    def _say(self, message: Request | KeepAlive) -> None:
        if isinstance(message, Present):
            self._presents = message.setting != OPEN
        data = frame_bytes(message, self._sequence)
        self._sequence = (self._sequence + 1) % 256
        self._port.write(data)

    def _watch_silence(self, data: bytes) -> None:
        if data:
            self._heard_s = self._clock()
            self._empty_reads = 0
            return
        self._empty_reads += 1
        if self._port.lock_step:
            silent = self._empty_reads >= EMPTY_READS
        else:
            silent = self._clock() - self._heard_s > SILENCE_S
        if silent:
            detail = (
                f"The board on {self._port.url} has fallen silent; check the USB cable and the "
                "board, then start again."
            )
            self._mailbox.put([Loss(LossKind.SILENT, 1, detail)])
            self._end_reported = True
            raise LinkLost(detail)

    def _deliver(self, taken: Taken) -> None:
        # Answers last: whoever waits for one finds all that came before it in the queue.
        self._mailbox.put(taken.items)
        for answer in taken.answers:
            self._settle(self._requests.answered(answer))
        if taken.final is not None:
            self._end_reported = True
            raise LinkLost(taken.final.detail)

    def _settle(self, finished: int) -> None:
        for _ in range(finished):
            self._mailbox.request_ends()
