"""One session with a board, to be recorded and to be played back.

Record it anew, when the protocol changes, with

    PYTHONPATH=signal:app python tests/app/link_session.py sim://sound fixtures/links/b_c_b.jsonl
"""

import sys
from collections.abc import Callable

from rungbench.acquire import Acquisition, Loss
from rungbench.link.messages import (
    TICKS_PER_SECOND,
    Arm,
    Event,
    EventKind,
    FromBoard,
    Mode,
    Present,
    Rung,
    SetMode,
    Setting,
)
from rungbench.link.port import open_port

PHASES = (1, 2, 3)


def until(acquisition: Acquisition, done: Callable[[FromBoard], bool]) -> list[FromBoard]:
    """All messages up to the one that ends the wait."""
    heard: list[FromBoard] = []
    while not heard or not done(heard[-1]):
        acquisition.renew_lease()
        item = acquisition.next(5.0)
        if item is None or isinstance(item, Loss):
            raise RuntimeError(f"the session was disturbed: {item}")
        heard.append(item)
    return heard


def on_all_phases(kind: EventKind) -> Callable[[FromBoard], bool]:
    """Ends a wait when mains has changed on the last phase."""
    left = set(PHASES)

    def done(message: FromBoard) -> bool:
        if isinstance(message, Event) and message.kind is kind:
            left.discard(message.phase)
        return not left

    return done


def session(acquisition: Acquisition) -> list[FromBoard]:
    """B with samples for 0.2 s, C until mains is on, B until it is off, then the end."""
    heard: list[FromBoard] = []
    with acquisition:
        acquisition.send(Present(Setting(Rung.B)))
        acquisition.send(SetMode(Mode.STREAM10))
        start = until(acquisition, lambda _: True)
        end_tick = getattr(start[0], "tick", 0) + TICKS_PER_SECOND // 5
        heard += start + until(acquisition, lambda m: getattr(m, "tick", 0) >= end_tick)
        acquisition.send(SetMode(Mode.OFF))
        nonce = acquisition.send(Arm()).nonce
        acquisition.send(Present(Setting(Rung.C), nonce))
        heard += until(acquisition, on_all_phases(EventKind.MAINS_ON))
        acquisition.send(Present(Setting(Rung.B)))
        heard += until(acquisition, on_all_phases(EventKind.MAINS_OFF))
    return heard


def main(url: str, path: str) -> None:
    with open(path, "w", encoding="ascii") as stream:
        heard = session(Acquisition(open_port(url, record=stream)))
    print(f"{len(heard)} messages")


if __name__ == "__main__":
    main(*sys.argv[1:])
