"""Multiplexer trees and the ADS1115 converter of the full build."""

from .compat import const
from .errors import ScpiError
from .guard import Guard

TYPE_CHECKING = False
if TYPE_CHECKING:
    from .hal import Hal


AIN_PAIR = 0
AIN_MINUS = 5
AIN_REFERENCE = 6
AIN_SINGLE = 7
"""Converter inputs: S+ against S-; S- against ground; top of Rref; S+ against ground."""

PGA_4096 = 1
PGA_0256 = 5
LSB_PV = (187500000, 125000000, 62500000, 31250000, 15625000, 7812500)
"""Picovolt of one count for each range code (6.144, 4.096, 2.048, 1.024, 0.512, 0.256 V)."""

GAIN_PPM = (0, 3100, 6000, 12100, 29200, 29200)
"""What the converter's input takes from a voltage behind 10.35 kohm a line, parts per million, for each range code.

10.35 kohm x (1 / common + 2 / differential input resistance): 6 M and 15 M, 6 M and 4.9 M, 3 M and 2.4 M,
100 M and 710 k (ADS1115 data sheet, from memory).
"""

CLIPPED = 32700

_ADDRESS = const(0x48)
_OFF = const(0xF0)
_MUX_SETTLE_US = const(50)
_RATE_860 = const(7)
_CONVERSION_US = const(1200)


class Trees:
    """Three multiplexer trees, at most one channel on in each. Twelve bytes, the last card first."""

    def __init__(self, hal: "Hal", guard: Guard) -> None:
        self.hal = hal
        self.guard = guard
        self._chain = bytearray(12)
        self.off()

    def off(self) -> None:
        """All trees off."""
        for i in range(12):
            self._chain[i] = _OFF
        self.hal.mux(self._chain)

    def select(self, plus: int, minus: int, force: int) -> None:
        """Channel (1..256) on each tree, 0 for none."""
        for i in range(12):
            self._chain[i] = _OFF
        self._put(plus, 2)
        self._put(minus, 1)
        self._put(force, 0)
        self.hal.mux(self._chain)
        self.guard.wait(_MUX_SETTLE_US)

    def _put(self, channel: int, place: int) -> None:
        if channel:
            k = channel - 1
            chip = k // 16 % 4
            self._chain[3 * (3 - k // 64) + place] = k % 16 | (0xF0 ^ 0x10 << chip)


class Converter:
    """ADS1115, single shot at 860 samples a second."""

    def __init__(self, hal: "Hal", guard: Guard) -> None:
        self.hal = hal
        self.guard = guard
        self._config = bytearray(3)
        self._pointer = bytearray(1)
        self._two = bytearray(2)

    def sample(self, ain: int, pga: int) -> int:
        """One reading in counts, -32768..32767. Raises -240 when the converter does not answer or never ends."""
        config = self._config  # writing it also leaves the chip's pointer there, so reading comes back to it
        config[0] = 1
        config[1] = 0x81 | ain << 4 | pga << 1
        config[2] = _RATE_860 << 5 | 3
        try:
            self.hal.i2c_write(_ADDRESS, config)
            self.guard.wait(_CONVERSION_US)
            for _ in range(20):
                self.hal.i2c_read(_ADDRESS, self._two)
                if self._two[0] & 0x80:
                    break
                self.guard.wait(50)
            else:
                raise ScpiError(-240, "converter never ready")
            self._pointer[0] = 0
            self.hal.i2c_write(_ADDRESS, self._pointer)
            self.hal.i2c_read(_ADDRESS, self._two)
        except OSError:
            raise ScpiError(-240, "converter does not answer") from None
        value = self._two[0] << 8 | self._two[1]
        return value - 65536 if value & 0x8000 else value
