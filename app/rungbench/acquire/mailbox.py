"""The bounded queue between the port thread and the runner."""

import threading
from collections import deque
from collections.abc import Iterable

from rungbench.acquire.loss import Loss, LossKind
from rungbench.link.messages import EdgeBlock, FromBoard, Health, SampleBlock

_BULKY = (SampleBlock, EdgeBlock, Health)


class Mailbox:
    """Messages in order.

    When `capacity` of them wait, further samples, edges and healths are dropped and counted, and a
    `Loss` stands where they would have been; events have the same room again.
    """

    def __init__(self, capacity: int) -> None:
        self._capacity = capacity
        self._items: deque[FromBoard | Loss] = deque()
        self._changed = threading.Condition()
        self._takers = 0
        self._requests = 0
        self._dropped = 0
        self._overflow = 0
        self._ended = False

    @property
    def overflow(self) -> int:
        """Messages dropped so far."""
        return self._overflow

    def put(self, items: Iterable[FromBoard | Loss]) -> None:
        """Add what one read has brought."""
        with self._changed:
            for item in items:
                self._put(item)
            self._changed.notify_all()

    def end(self) -> None:
        """Nothing more will come; whoever waits is woken."""
        with self._changed:
            self._report_dropped()
            self._ended = True
            self._changed.notify_all()

    def take(self, timeout_s: float) -> FromBoard | Loss | None:
        """The oldest item; ``None`` after `timeout_s` of monotonic time, or at the end."""
        with self._changed:
            if not self._items and not self._ended:
                self._wait(timeout_s)
            return self._items.popleft() if self._items else None

    def request_begins(self) -> None:
        """Somebody waits for an answer, so time must go on."""
        with self._changed:
            self._requests += 1
            self._changed.notify_all()

    def request_ends(self) -> None:
        """An answer has come, or none will."""
        with self._changed:
            self._requests -= 1

    def hold_until_wanted(self, timeout_s: float) -> bool:
        """Wait until the runner waits for something, at most `timeout_s`; whether it does."""
        with self._changed:
            return self._changed.wait_for(self._wanted, timeout_s)

    def _wanted(self) -> bool:
        # A taker whose item is already here is about to wake up: it is no longer waiting.
        return self._ended or self._requests > 0 or (self._takers > 0 and not self._items)

    def _wait(self, timeout_s: float) -> None:
        self._takers += 1
        self._changed.notify_all()
        try:
            self._changed.wait_for(lambda: self._items or self._ended, timeout_s)
        finally:
            self._takers -= 1

    def _put(self, item: FromBoard | Loss) -> None:
        room = self._capacity if isinstance(item, _BULKY) else 2 * self._capacity
        if len(self._items) >= room:
            self._dropped += 1
            self._overflow += 1
            return
        self._report_dropped()
        self._items.append(item)

    def _report_dropped(self) -> None:
        if self._dropped:
            detail = f"{self._dropped} messages found the queue full"
            self._items.append(Loss(LossKind.OVERFLOW, self._dropped, detail))
            self._dropped = 0
