"""ADS1115, register level: configuration, conversion, thresholds; single-shot and continuous; gain and clipping.

Input loads, gains and data rates from the data sheet SBAS444 (from memory); noise as the decks take it
(decks/montecarlo.py): 8 uV rms at 128 samples a second and 12.5 uV at 860 on the finest range, about one LSB on the
others.
"""

from __future__ import annotations

import random
from typing import Protocol

from hwspec.virtual.clock import Clock

ADDRESS = 0x48
RANGES_V = (6.144, 4.096, 2.048, 1.024, 0.512, 0.256, 0.256, 0.256)
RATES = (8, 16, 32, 64, 128, 250, 475, 860)
INPUTS = ((0, 1), (0, 3), (1, 3), (2, 3), (0, -1), (1, -1), (2, -1), (3, -1))
# ohm between the two inputs, and from each input to ground, by gain setting
DIFFERENTIAL_OHMS = (22e6, 15e6, 4.9e6, 2.4e6, 710e3, 710e3, 710e3, 710e3)
COMMON_OHMS = (10e6, 6e6, 6e6, 3e6, 100e6, 100e6, 100e6, 100e6)
_OS = 0x8000
_SINGLE = 0x0100
_RESET_CONFIG = 0x8583
_WAKE_NS = 25_000


class Source(Protocol):
    """What the converter's pins are joined to."""

    def volts(self, inputs: tuple[int, int], differential_ohms: float, common_ohms: float, at: int) -> float:
        """Voltage between two inputs (-1 is ground) at virtual time `at`, with the converter's load on them."""


class Converter:
    """One chip. `gain`, `match` (by input pair) and `offset_v` are its errors.

    `noise` scales its noise (0 for none), `pace` stretches its oscillator's period, `load` scales its input ohms.
    """

    def __init__(self, clock: Clock, source: Source, rng: random.Random | None = None) -> None:
        self._clock = clock
        self._source = source
        self._rng = rng or random.Random(0)
        self.gain, self.offset_v, self.noise, self.pace, self.load = 1.0, 0.0, 1.0, 1.0, 1.0
        self.match = [0.0] * 8
        self.power_on()

    def power_on(self) -> None:
        """Registers as after power-up."""
        self._pointer = 0
        self._config = _RESET_CONFIG
        self._thresholds = [0x8000, 0x7FFF]
        self._result = 0
        self._done_at: int | None = None

    @property
    def period_ns(self) -> int:
        """Time of one conversion."""
        return int(1e9 / RATES[self._config >> 5 & 7] * self.pace)

    def write(self, data: bytes) -> None:
        """An I2C write: the pointer, then nothing or two bytes."""
        if not data:
            return
        self._pointer = data[0] & 3
        if len(data) < 3:
            return
        value = data[1] << 8 | data[2]
        if self._pointer >= 2:
            self._thresholds[self._pointer - 2] = value
        elif self._pointer == 1:
            self._finish()
            self._config = value & ~_OS
            if not value & _SINGLE or value & _OS:
                self._done_at = self._clock.now + _WAKE_NS + self.period_ns

    def read(self, count: int) -> bytes:
        """An I2C read of `count` bytes of the register pointed to."""
        self._finish()
        if self._pointer == 0:
            value = self._result & 0xFFFF
        elif self._pointer == 1:
            busy = self._done_at is not None and self._config & _SINGLE
            value = self._config | (0 if busy else _OS)
        else:
            value = self._thresholds[self._pointer - 2]
        return (value.to_bytes(2, "big") * (count // 2 + 1))[:count]

    def _finish(self) -> None:
        """Take the conversions that ended by now."""
        while self._done_at is not None and self._done_at <= self._clock.now:
            ended = self._done_at
            if self._config & _SINGLE:
                self._done_at = None
            else:
                behind = (self._clock.now - ended) // self.period_ns
                ended += behind * self.period_ns
                self._done_at = ended + self.period_ns
            self._result = self._convert(ended - self.period_ns // 2)

    def _convert(self, at: int) -> int:
        gain = self._config >> 9 & 7
        lsb = RANGES_V[gain] / 32768
        rate = RATES[self._config >> 5 & 7]
        volts = self._source.volts(
            INPUTS[self._config >> 12 & 7], DIFFERENTIAL_OHMS[gain] * self.load, COMMON_OHMS[gain] * self.load, at
        )
        rms = max(8e-6 * (rate / 128) ** 0.235, 0.5 * lsb if gain < 4 else 0.0) * self.noise
        inputs = self._config >> 12 & 7
        volts = volts * (self.gain + self.match[inputs]) + self.offset_v + (self._rng.gauss(0, rms) if rms else 0.0)
        return max(-32768, min(32767, round(volts / lsb)))
