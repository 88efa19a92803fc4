"""One virtual clock. Traffic and waits advance it; nobody sleeps for it."""

from __future__ import annotations

from collections.abc import Callable

NEVER = 1 << 62
SPI_BIT_NS = 1_000_000_000 / 5_000_000  # what the firmware on the board sets; limits.toml, spi_max_mhz
I2C_BIT_NS = 1_000_000_000 / 400_000


class Clock:
    """Nanoseconds since power-on, with one alarm.

    `overhead_ns` is what one call from firmware into a bus costs besides the bits (interpreter and driver time).
    """

    def __init__(self, overhead_ns: int = 25_000) -> None:
        self.now = 0
        self.overhead_ns = overhead_ns
        self.alarm = NEVER
        self.on_alarm: Callable[[], None] = lambda: None

    def advance(self, ns: int) -> None:
        """Let `ns` nanoseconds pass, stopping at each alarm on the way."""
        end = self.now + ns
        while self.alarm <= end:
            self.now = max(self.now, self.alarm)
            self.alarm = NEVER
            self.on_alarm()
        self.now = end

    def spi(self, octets: int) -> None:
        """Time of one SPI transaction."""
        self.advance(self.overhead_ns + int(octets * 8 * SPI_BIT_NS))

    def i2c(self, octets: int) -> None:
        """Time of one I2C transaction with `octets` bytes after the address byte: nine bits each, start and stop."""
        self.advance(self.overhead_ns + int(((octets + 1) * 9 + 2) * I2C_BIT_NS))

    @property
    def us(self) -> float:
        """Microseconds since power-on."""
        return self.now / 1000
