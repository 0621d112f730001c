"""A hand at the simulated bench: what a person would change during a run.

Acts on an open ``sim://`` port at a board time, without any message of the link:
scripted answers and demonstrations use it.
"""

import threading

from rungbench.errors import WrongUse
from rungbench.link.words import TICKS_PER_SECOND
from rungbench.simulated.bench import Bench
from rungbench.simulated.traits import value_of

_NOT_LATER = frozenset(
    {"seed", "speed", "frame_loss", "byte_error", "unplug_after_s", "outlet"}
    | {"board_id", "temperature_c", "clock_ppm", "missing_code", "bow_v"}
)


class Operator:
    """Somebody at the bench behind `port`: pyserial's object, or anything that leads to it.

    Times are ticks of the board; a tick that is past, or ``None``, means now.

    Raises
    ------
    WrongUse : the port is no open simulated bench.
    """

    def __init__(self, port: object) -> None:
        device = _device(port)
        bench, lock = getattr(device, "bench", None), getattr(device, "lock", None)
        if not isinstance(bench, Bench) or lock is None:
            raise WrongUse("Only an open simulated bench has an operator; open a sim:// address.")
        self._bench = bench
        self._lock: threading.Lock = lock

    def change(self, at: int | None = None, /, **texts: str | float) -> None:
        """Change traits by their keys, as they would stand in the address.

        Raises
        ------
        WrongUse : an unknown key, a value out of range, a trait that cannot change while open.
        """
        fixed = _NOT_LATER.intersection(texts)
        if fixed:
            raise WrongUse(f"{min(fixed)} cannot change while the simulated bench is open.")
        changes = {key: value_of(key, str(text)) for key, text in texts.items()}
        with self._lock:
            self._bench.plan(self._tick(at), lambda time: self._bench.change(time, changes))

    def set_current(self, ampere: float, at: int | None = None) -> None:
        """Turn the charger's current setting; its duty follows after ``duty_lag_s``."""
        self.change(at, set_a=ampere)

    def restart(self, at: int | None = None, off_s: float = 2.0) -> None:
        """Switch the charger's supply off, and on again after `off_s` seconds."""
        with self._lock:
            self._bench.plan(self._tick(at), lambda time: self._bench.restart_charger(time, off_s))

    def interlock(self, closed: bool, at: int | None = None) -> None:
        """Press (`closed` false) or release the emergency stop, which also cuts the supply."""
        with self._lock:
            self._bench.plan(self._tick(at), lambda time: self._bench.move_interlock(time, closed))

    def reset_board(self, at: int | None = None) -> None:
        """Pull the board's reset line; its ticks begin anew."""
        with self._lock:
            self._bench.plan(self._tick(at), self._bench.reset_board)

    def _tick(self, at: int | None) -> int:
        return self._bench.tick if at is None else at


def ticks(seconds: float) -> int:
    """Board ticks of a time in seconds."""
    return round(seconds * TICKS_PER_SECOND)


def _device(port: object) -> object:
    """Pyserial's object behind a port of the link."""
    for step in ("line", "device"):
        port = getattr(port, step, port)
    return port
