"""The line from the board to the host, with its faults."""

import numpy as np

from rungbench.simulated.traits import Traits


class Wire:
    """Bytes on their way; whole frames get lost and bytes damaged by the bench's traits."""

    def __init__(self, traits: Traits, generator: np.random.Generator) -> None:
        self._loss, self._error = traits.frame_loss, traits.byte_error
        self._generator = generator
        self.waiting = bytearray()

    def send(self, frame: bytes) -> None:
        """Put one frame on the line."""
        if self._loss and self._generator.random() < self._loss:
            return
        self.waiting += self._damaged(frame) if self._error else frame

    def take(self, size: int) -> bytes:
        """At most `size` of the bytes that wait."""
        data = bytes(self.waiting[:size])
        del self.waiting[:size]
        return data

    def _damaged(self, frame: bytes) -> bytes:
        data = np.frombuffer(frame, np.uint8).copy()
        hit = self._generator.random(data.size) < self._error
        data[hit] ^= self._generator.integers(1, 256, data.size, dtype=np.uint8)[hit]
        return data.tobytes()
