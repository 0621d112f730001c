"""pyserial's handler for ``sim://NAME?key=value``: a simulated bench instead of a port.

Lock-step: simulated time advances only while the host reads, by at most 20 ms a
call, so that a run does not depend on how fast the computer is.
"""

import math
import threading
import time
from typing import Any

from serial.serialutil import PortNotOpenError, SerialBase, SerialException

from rungbench.simulated.bench import STEP_S, Bench
from rungbench.simulated.traits import traits_of

_DEBT_S = 0.1  # a host that was slow may catch up by so much


class Serial(SerialBase):
    """A port with a simulated bench behind it.

    `read` returns what waits; if nothing does, it lets 20 ms pass first, and may still return
    nothing, as after a timeout.
    """

    lock_step = True

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        self.bench: Bench | None = None
        self._lock = threading.Lock()
        self._cancel = threading.Event()
        self._pace_from = (0.0, 0.0)  # monotonic and simulated time from which speed counts
        super().__init__(*args, **kwargs)

    def open(self) -> None:
        """Build the bench that the address describes.

        Raises
        ------
        rungbench.errors.WrongUse : the address names no bench, or no such key or value.
        """
        if self.is_open:
            raise SerialException("The simulated bench is already open.")
        if self.portstr is None:
            raise SerialException("Name the simulated bench before opening it.")
        self.bench = Bench(traits_of(self.portstr))
        self._pace_from = (time.monotonic(), 0.0)
        self._cancel.clear()
        self.is_open = True

    def close(self) -> None:
        self._cancel.set()
        self.is_open = False

    def read(self, size: int = 1, /) -> bytes:
        bench = self._open_bench()
        self._keep_pace(bench)
        with self._lock:
            if not bench.wire.waiting:
                if bench.unplugged:
                    raise SerialException("The USB cable of the simulated board was pulled.")
                bench.advance(min(STEP_S, bench.traits.unplug_after_s - bench.time))
            return bench.wire.take(size)

    def write(self, b: Any, /) -> int:
        bench = self._open_bench()
        data = bytes(b)
        with self._lock:
            if bench.unplugged:
                raise SerialException("The USB cable of the simulated board was pulled.")
            bench.receive(data)
        return len(data)

    @property
    def in_waiting(self) -> int:
        return len(self._open_bench().wire.waiting)

    @property
    def out_waiting(self) -> int:
        return 0

    @property
    def lock(self) -> threading.Lock:
        """Held while the bench's time moves; the operator takes it, too."""
        return self._lock

    def flush(self) -> None:
        """Nothing waits on the way to the board."""

    def reset_input_buffer(self) -> None:
        with self._lock:
            self._open_bench().wire.waiting.clear()

    def reset_output_buffer(self) -> None:
        """Nothing waits on the way to the board."""

    def cancel_read(self) -> None:
        self._cancel.set()

    def cancel_write(self) -> None:
        """Writing never blocks."""

    def _open_bench(self) -> Bench:
        if not self.is_open or self.bench is None:
            raise PortNotOpenError()
        return self.bench

    def _keep_pace(self, bench: Bench) -> None:
        """Wait until `speed` allows the next step."""
        if math.isinf(bench.traits.speed) or bench.wire.waiting:
            return
        since, simulated = self._pace_from
        due = since + (bench.time - simulated) / bench.traits.speed
        ahead = due - time.monotonic()
        if ahead > 0:
            self._cancel.wait(ahead)
            self._cancel.clear()
        elif ahead < -_DEBT_S:
            self._pace_from = (time.monotonic() - _DEBT_S, bench.time)

    def _reconfigure_port(self) -> None:
        """Baud rate and the like mean nothing here."""

    def _update_rts_state(self) -> None:
        """Not wired."""

    def _update_dtr_state(self) -> None:
        """Not wired: opening does not reset the simulated board."""

    def _update_break_state(self) -> None:
        """Not wired."""
