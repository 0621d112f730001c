"""Requests to the board: repeated while that is safe, matched with their answers."""

import threading
from collections import deque
from dataclasses import dataclass, field
from typing import Final

from rungbench.errors import NoAnswer, RungbenchError
from rungbench.link.messages import Answer, Arm, Present, SetMode

REPEAT_AFTER_S: Final = 0.3
IN_FLIGHT: Final = 4
"""Requests without an answer at one time: they fit the board's buffer of received bytes."""

Request = Present | SetMode | Arm


@dataclass(slots=True, eq=False)
class Pending:
    """A request on its way; times are the port thread's pace, set when it first sees it."""

    message: Request
    timeout_s: float
    done: threading.Event = field(default_factory=threading.Event)
    answer: Answer | None = None
    failure: RungbenchError | None = None
    deadline_s: float | None = None
    next_try_s: float = 0.0
    tries: int = 0
    superseded: bool = False

    @property
    def repeatable(self) -> bool:
        """Whether saying it twice does the same.

        An energising setting uses its nonce up; a setting that was followed by another one would
        undo that one.
        """
        if self.superseded:
            return False
        return not (isinstance(self.message, Present) and self.message.setting.energising)

    def result(self) -> Answer:
        """The answer; raises what went wrong instead of one."""
        if self.answer is None:
            raise self.failure or NoAnswer("The board did not answer.")
        return self.answer


class Requests:
    """All requests that wait for an answer; only `submit` is called by other threads."""

    def __init__(self) -> None:
        self._new: deque[Pending] = deque()
        self._waiting: list[Pending] = []
        self._by_sequence: dict[int, Pending] = {}

    def submit(self, request: Pending) -> None:
        """Hand a request to the port thread."""
        self._new.append(request)

    def due(self, now_s: float) -> list[Pending]:
        """Requests to be said now, for the first time or again."""
        while self._new:
            request = self._new.popleft()
            request.deadline_s = now_s + request.timeout_s
            request.next_try_s = now_s
            if isinstance(request.message, Present):
                self._supersede()
            self._waiting.append(request)
        return [
            request
            for request in self._waiting[:IN_FLIGHT]
            if now_s >= request.next_try_s and (request.repeatable or not request.tries)
        ]

    def said(self, request: Pending, sequence: int, now_s: float) -> None:
        """Note under which number a request went out."""
        request.tries += 1
        request.next_try_s = now_s + REPEAT_AFTER_S
        self._by_sequence[sequence] = request

    def answered(self, answer: Answer) -> bool:
        """Finish the request that an answer is for; whether there was one."""
        request = self._by_sequence.get(answer.to_sequence)
        if request is None:
            return False
        request.answer = answer
        self._finish(request)
        return True

    def expire(self, now_s: float) -> int:
        """Finish requests whose time is over; how many."""
        late = [
            request
            for request in self._waiting
            if request.deadline_s is not None and now_s >= request.deadline_s
        ]
        for request in late:
            name = type(request.message).__name__
            request.failure = NoAnswer(
                f"The board did not answer {name} within {request.timeout_s:g} s "
                f"({request.tries} tries); reset the board and start again."
            )
            self._finish(request)
        return len(late)

    def fail_all(self, failure: RungbenchError) -> int:
        """Finish everything with a failure; how many."""
        left = [*self._new, *self._waiting]
        self._new.clear()
        for request in left:
            request.failure = failure
            self._finish(request)
        return len(left)

    def _supersede(self) -> None:
        for earlier in self._waiting:
            earlier.superseded = earlier.superseded or isinstance(earlier.message, Present)

    def _finish(self, request: Pending) -> None:
        if request in self._waiting:
            self._waiting.remove(request)
        self._by_sequence = {
            number: other for number, other in self._by_sequence.items() if other is not request
        }
        request.done.set()
