"""What people at the desk want of a run between two steps."""

from dataclasses import dataclass, field

from rungbench.link.words import Rung
from rungbench.qualify.desk import Desk, Want, Wish
from rungbench.qualify.progress import Listener, Paused
from rungbench.standin.board import StandIn


@dataclass(slots=True)
class Wishes:
    """Takes wishes from the desk; a pause waits until the stand-in is on `open`."""

    desk: Desk
    standin: StandIn
    tell: Listener
    skip: str = ""
    repeats: list[str] = field(default_factory=list)
    _pause: bool = False

    def look(self) -> None:
        """Take what lies on the desk, and pause if that is wanted and safe."""
        while (wish := self.desk.wish()) is not None:
            self._take(wish)
        if self._pause and self.standin.setting.rung is Rung.OPEN:
            self._wait()

    def skipped(self) -> str:
        """Why the next step is to be skipped, once; empty if it is not."""
        reason, self.skip = self.skip, ""
        return reason

    def repeat(self) -> str | None:
        """Name of the next step to be repeated, empty for the last one, or ``None``."""
        return self.repeats.pop(0) if self.repeats else None

    def _take(self, wish: Wish) -> None:
        match wish.want:
            case Want.PAUSE:
                self._pause = True
            case Want.GO_ON:
                self._pause = False
            case Want.SKIP:
                # Without a reason, which the record keeps, nothing is skipped.
                self.skip = wish.reason.strip() or self.skip
            case Want.REPEAT:
                self.repeats.append(wish.step)

    def _wait(self) -> None:
        self.tell(Paused())
        while self._pause:
            self.standin.wait_until(self._wanted_on, 1.0)
        self.tell(Paused(over=True))

    def _wanted_on(self) -> bool:
        wish = self.desk.wish()
        if wish is not None:
            self._take(wish)
        return not self._pause
