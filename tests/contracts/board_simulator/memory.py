"""What the EEPROM of a board holds: who it is (`hardware_notes/firmware`, identity.h)."""

import struct
from dataclasses import dataclass

from rungbench.link.framing import crc16

_BLOCK = struct.Struct("<HB12sBBHH")
_MAGIC, _VERSION = 0x5242, 1
_OSCILLATORS = {"unknown": 0, "crystal": 1, "resonator": 2}


@dataclass(frozen=True, slots=True)
class BoardMemory:
    """Name, oscillator, senses and hold limits of one board."""

    board_id: str = "RB-SIMAVR-1"
    oscillator: str = "crystal"
    phases: int = 3
    hold_c_s: int = 60
    hold_d_s: int = 60

    def image(self) -> bytes:
        """The bytes from address 0 on."""
        block = _BLOCK.pack(
            _MAGIC,
            _VERSION,
            self.board_id.encode("ascii"),
            _OSCILLATORS[self.oscillator],
            self.phases,
            self.hold_c_s,
            self.hold_d_s,
        )
        return block + struct.pack("<H", crc16(block))
