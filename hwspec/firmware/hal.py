"""What the firmware asks of the hardware underneath. Three makers: hal_rp2040, hal_link, the virtual board.

For readers and type checkers; the board itself never loads this module.
"""

from typing import Protocol


class Hal(Protocol):
    """One board's buses, pins, clock, serial port and store.

    Attributes: `build` "full" or "starter"; `cards` 0..4, how many cards answer (full build);
    `pins` channels on the processor's own pins (starter build); `root` folder of the firmware slots, "" for none.
    Every call returns within about 1 ms, `serial_write` within the time of its bytes.
    """

    build: str
    cards: int
    pins: int
    root: str

    def spi(self, cs: int, out: bytearray, inp: "bytearray | None") -> None:
        """Full duplex with the expanders of card pair `cs` (0: cards 0 and 1, 1: cards 2 and 3)."""

    def mux(self, out: bytearray) -> None:
        """Shift out to the chain of 595s, first byte first, and latch. The last byte ends in the nearest register."""

    def i2c_write(self, addr: int, data: bytearray) -> None:
        """Write to an I2C device; OSError when it does not answer."""

    def i2c_read(self, addr: int, buf: bytearray) -> None:
        """Fill `buf` from an I2C device; OSError when it does not answer."""

    def arm(self, level: int) -> None:
        """Level of the dead-man pump pin."""

    def rail(self, state: int) -> None:
        """Pull-up rail of all cards: 0 low, 1 high, 2 released (half rail). Starter: pull-downs, pull-ups, none."""

    def reference(self, state: int) -> None:
        """Spare reference cell: 0 off, 1 on the buses with current, 2 on the buses without current."""

    def gpio_set(self, oe: int, out: int) -> None:
        """Starter build: output enables and levels of all channel pins, bit c-1 for channel c."""

    def gpio_get(self) -> int:
        """Starter build: levels of all channel pins."""

    def ticks_us(self) -> int:
        """Microseconds, wrapping at 2**30."""

    def ticks_diff(self, later: int, earlier: int) -> int:
        """later - earlier across the wrap, for spans under 2**29 microseconds."""

    def wait_us(self, us: int) -> None:
        """Wait, at most 1000 microseconds a call."""

    def serial_read(self, buf: bytearray) -> int:
        """Bytes that have arrived, into `buf`; how many (0 when none). Never blocks."""

    def serial_write(self, data: "bytes | bytearray | memoryview") -> None:
        """Send bytes; what a vanished host does not take is lost."""

    def idle(self) -> None:
        """Nothing to do: return after about 1 ms, or at once when a byte arrives."""

    def unique_id(self) -> bytes:
        """Serial number of the processor, 8 bytes."""

    def store_read(self, name: str) -> "bytes | None":
        """Bytes stored under a name, or None."""

    def store_write(self, name: str, data: "bytes | bytearray") -> None:
        """Store bytes under a name, whole or not at all."""

    def restart(self) -> None:
        """Start the processor afresh."""
