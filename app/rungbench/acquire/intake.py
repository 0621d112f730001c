"""From bytes to what the runner gets: messages placed in time, losses in their place."""

from dataclasses import dataclass, field

from rungbench.acquire.loss import Loss, LossKind, Statistics
from rungbench.acquire.unwrap import Timeline
from rungbench.errors import MessageError
from rungbench.link.framing import Frame, FrameError
from rungbench.link.line import Port
from rungbench.link.messages import (
    HEALTH_TICKS,
    TICK_S,
    Answer,
    EdgeBlock,
    Event,
    FromBoard,
    Health,
    Identity,
    Message,
    SampleBlock,
    unpack,
)


@dataclass(slots=True)
class Tally:
    """Counts while they grow; only the port thread writes them."""

    received_bytes: int = 0
    frames: int = 0
    damaged: int = 0
    lost: int = 0
    reordered: int = 0
    nonsense: int = 0
    keep_alives: int = 0
    repeats: int = 0

    def snapshot(self, overflow: int) -> Statistics:
        """The counts now."""
        return Statistics(
            received_bytes=self.received_bytes,
            frames=self.frames,
            damaged=self.damaged,
            lost=self.lost,
            reordered=self.reordered,
            nonsense=self.nonsense,
            overflow=overflow,
            keep_alives=self.keep_alives,
            repeats=self.repeats,
        )


@dataclass(slots=True)
class Taken:
    """What some bytes brought; `final` says that the board was reset."""

    items: list[FromBoard | Loss] = field(default_factory=list)
    answers: list[Answer] = field(default_factory=list)
    final: Loss | None = None


class Intake:
    """Everything that arrives on one port, in order."""

    def __init__(self, port: Port) -> None:
        self.tally = Tally()
        self._url = port.url
        self._deframer = port.deframer
        self._timeline = Timeline()
        self._first_tick: int | None = None
        self._spare_identities = port.spare_identities

    @property
    def board_s(self) -> float:
        """Board time since the start in seconds, never too little; 0 before the first tick."""
        latest = self._timeline.latest_tick
        if latest is None or self._first_tick is None:
            return 0.0
        # The first tick comes with a health, at most one period of it after the start.
        return (HEALTH_TICKS + latest - self._first_tick) * TICK_S

    def early(self, messages: tuple[FromBoard, ...]) -> Taken:
        """Messages that came together with the identity."""
        taken = Taken()
        for message in messages:
            self._sort(message, taken)
        return taken

    def feed(self, data: bytes) -> Taken:
        """All that `data` completes."""
        self.tally.received_bytes += len(data)
        taken = Taken()
        for piece in self._deframer.feed(data):
            if isinstance(piece, FrameError):
                taken.items.append(self._trouble(piece))
            else:
                self._open(piece, taken)
            if taken.final is not None:
                break
        return taken

    def _trouble(self, error: FrameError) -> Loss:
        kind = LossKind(error.trouble.value)
        match kind:
            case LossKind.DAMAGED:
                self.tally.damaged += error.count
            case LossKind.LOST:
                self.tally.lost += error.count
            case _:
                self.tally.reordered += error.count
        return Loss(kind, error.count, error.detail)

    def _open(self, frame: Frame, taken: Taken) -> None:
        self.tally.frames += 1
        try:
            message = unpack(frame)
        except MessageError as strange:
            self._nonsense(str(strange), taken)
        else:
            self._sort(message, taken)

    def _sort(self, message: Message, taken: Taken) -> None:
        match message:
            case Answer():
                taken.answers.append(message)
            case Identity():
                self._identity(message, taken)
            case SampleBlock() | EdgeBlock() | Event() | Health():
                placed = self._timeline.place(message)
                if self._first_tick is None:
                    self._first_tick = placed.tick
                taken.items.append(placed)
            case _:
                self._nonsense("A message of the host came back.", taken)

    def _identity(self, identity: Identity, taken: Taken) -> None:
        if identity.asked and self._spare_identities:
            # The answer to a hello that was repeated before the first answer came.
            self._spare_identities -= 1
            self._timeline.restart_numbers()
            return
        taken.final = Loss(
            LossKind.RESET,
            1,
            f"The board on {self._url} was reset in the middle ({identity.reset_cause}); check its "
            "supply and the USB cable, then start again.",
        )
        taken.items.append(taken.final)

    def _nonsense(self, detail: str, taken: Taken) -> None:
        self.tally.nonsense += 1
        taken.items.append(Loss(LossKind.NONSENSE, 1, detail))
