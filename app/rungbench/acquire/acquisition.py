"""A board in use: requests go in, messages and losses come out, `open` at the end."""

import time
from collections.abc import Callable
from dataclasses import dataclass
from types import TracebackType
from typing import Final, Self

from rungbench.acquire.loss import Loss, Statistics
from rungbench.acquire.mailbox import Mailbox
from rungbench.acquire.port_thread import PortThread
from rungbench.acquire.requests import Request
from rungbench.errors import BenchError, LinkLost, NoAnswer
from rungbench.link.line import Port
from rungbench.link.messages import (
    OPEN,
    Answer,
    FromBoard,
    Identity,
    Mode,
    Present,
    SetMode,
    frame_bytes,
)

QUEUE: Final = 8192
"""Messages that may wait: about 14 s of the fastest mode."""

_POLL_S: Final = 0.1
_JOIN_S: Final = 5.0


@dataclass(frozen=True, slots=True)
class Farewell:
    """How a link ended: whether the board confirmed that it presents `open`, and if not, why."""

    open_confirmed: bool
    detail: str


class Acquisition:
    """The only way to a board while it is in use.

    Parameters
    ----------
    port : as `open_port` returns it; closed by `close`.
    capacity : messages that may wait in the queue before more are dropped and counted.
    clock : seconds that never fall back.

    As a context manager it starts on entry and closes on exit.
    """

    def __init__(
        self, port: Port, *, capacity: int = QUEUE, clock: Callable[[], float] = time.monotonic
    ) -> None:
        self._port = port
        self._mailbox = Mailbox(capacity)
        self._thread = PortThread(port, self._mailbox, clock)
        self._started = False
        self._farewell: Farewell | None = None

    def __enter__(self) -> Self:
        self.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    @property
    def port(self) -> Port:
        """The port behind it, for a hand at a simulated bench; the port thread reads and writes."""
        return self._port

    @property
    def identity(self) -> Identity:
        """What the board said that it is."""
        return self._port.identity

    @property
    def url(self) -> str:
        """The URL of the port."""
        return self._port.url

    @property
    def lock_step(self) -> bool:
        """Whether the board's time advances only while somebody waits in `next` or `send`."""
        return self._port.lock_step

    @property
    def statistics(self) -> Statistics:
        """Counts since the start."""
        return self._thread.statistics()

    def start(self) -> None:
        """Start the port thread, with a fresh lease."""
        self._thread.renew_lease()
        self._thread.start()
        self._started = True

    def renew_lease(self) -> None:
        """To be called by the runner at least every 250 ms; else the board falls open."""
        self._thread.renew_lease()

    def send(self, message: Request, timeout: float = 2.0) -> Answer:
        """The board's answer, a refusal included; the lease is renewed while waiting.

        `Present` of a setting that does not energise, `SetMode` and `Arm` are repeated every
        300 ms; `Present` of an energising one never, since its nonce is used up.

        Parameters
        ----------
        timeout : seconds, of the board's time on a lock-step line.

        Raises
        ------
        NoAnswer : none in time; after an energising `Present` nobody knows what is presented.
        LinkLost : the link is gone, or was closed.
        """
        if not self._started:
            raise LinkLost(f"The link on {self.url} was not started yet.")
        request = self._thread.submit(message, timeout)
        self.renew_lease()
        while not request.done.wait(_POLL_S):
            self.renew_lease()
        return request.result()

    def next(self, timeout: float = 0.2) -> FromBoard | Loss | None:
        """The next message or loss; ``None`` when `timeout` seconds brought none.

        Ticks and running numbers are unwrapped.  Answers and identities never come this way.

        Raises
        ------
        LinkLost, ReplayError : the link is gone, and all that came before was taken.
        """
        item = self._mailbox.take(timeout)
        if item is None and self._thread.failure is not None:
            # The last of it may have come between the two lines above.
            item = self._mailbox.take(0.0)
            if item is None:
                raise self._thread.failure
        if item is None and self._farewell is not None:
            raise LinkLost(f"The link on {self.url} was closed; open it again.")
        return item

    def close(self) -> Farewell:
        """Ask for `open`, stop sampling, end the thread, close the port; may be called twice.

        Raises
        ------
        BenchError : the port thread does not end.
        ReplayError : a recording was not used to its end.
        """
        if self._farewell is None:
            self._farewell = Farewell(False, "interrupted while closing")
            try:
                self._farewell = self._ask_open()
            finally:
                self._end()
        return self._farewell

    def _ask_open(self) -> Farewell:
        try:
            if not self._started:
                self._port.write(frame_bytes(Present(OPEN), self._port.sequence))
                return Farewell(False, "open was asked for, nobody waited for the answer")
            answer = self.send(Present(OPEN), 1.5)
            self._thread.open_confirmed = answer.accepted
            self.send(SetMode(Mode.OFF), 1.0)
        except (LinkLost, NoAnswer) as lost:
            return Farewell(self._thread.open_confirmed, str(lost))
        return Farewell(answer.accepted, str(answer.code))

    def _end(self) -> None:
        if self._started:
            self._thread.stop()
            self._thread.join(_JOIN_S)
            if self._thread.is_alive():
                raise BenchError(
                    f"The port {self.url} does not come back; unplug the board and end the program."
                )
        self._port.close()
