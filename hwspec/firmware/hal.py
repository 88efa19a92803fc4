"""What the firmware asks of the hardware underneath. Three makers: hal_rp2040, hal_link, the virtual board."""


class Hal:
    """One board's buses, pins, clock, serial port and store.

    Attributes: `build` "full" or "starter"; `cards` 0..4, how many cards answer (full build);
    `pins` channels on the processor's own pins (starter build); `root` folder of the firmware slots, "" for none.
    Every call returns within about 1 ms, `serial_write` within the time of its bytes.
    """

    build = "full"
    cards = 1
    pins = 0
    root = ""

    def spi(self, cs: int, out: bytearray, inp: "bytearray | None") -> None:
        """Full duplex with the expanders of card pair `cs` (0: cards 0 and 1, 1: cards 2 and 3)."""
        raise NotImplementedError

    def mux(self, out: bytearray) -> None:
        """Shift out to the chain of 595s, first byte first, and latch. The last byte ends in the nearest register."""
        raise NotImplementedError

    def i2c_write(self, addr: int, data: bytearray) -> None:
        """Write to an I2C device; OSError when it does not answer."""
        raise NotImplementedError

    def i2c_read(self, addr: int, buf: bytearray) -> None:
        """Fill `buf` from an I2C device; OSError when it does not answer."""
        raise NotImplementedError

    def arm(self, level: int) -> None:
        """Level of the dead-man pump pin."""
        raise NotImplementedError

    def rail(self, state: int) -> None:
        """Pull-up rail of all cards: 0 low, 1 high, 2 released (half rail). Starter: pull-downs, pull-ups, none."""
        raise NotImplementedError

    def reference(self, state: int) -> None:
        """Spare reference cell: 0 off, 1 on the buses with current, 2 on the buses without current."""
        raise NotImplementedError

    def gpio_set(self, oe: int, out: int) -> None:
        """Starter build: output enables and levels of all channel pins, bit c-1 for channel c."""
        raise NotImplementedError

    def gpio_get(self) -> int:
        """Starter build: levels of all channel pins."""
        raise NotImplementedError

    def ticks_us(self) -> int:
        """Microseconds, wrapping at 2**30."""
        raise NotImplementedError

    def ticks_diff(self, later: int, earlier: int) -> int:
        """later - earlier across the wrap, for spans under 2**29 microseconds."""
        return ((later - earlier + 0x20000000) & 0x3FFFFFFF) - 0x20000000

    def wait_us(self, us: int) -> None:
        """Wait, at most 1000 microseconds a call."""
        raise NotImplementedError

    def serial_read(self, buf: bytearray) -> int:
        """Bytes that have arrived, into `buf`; how many (0 when none). Never blocks."""
        raise NotImplementedError

    def serial_write(self, data: "bytes | bytearray | memoryview") -> None:
        """Send bytes; what a vanished host does not take is lost."""
        raise NotImplementedError

    def idle(self) -> None:
        """Nothing to do: return after about 1 ms, or at once when a byte arrives."""
        raise NotImplementedError

    def unique_id(self) -> bytes:
        """Serial number of the processor, 8 bytes."""
        raise NotImplementedError

    def store_read(self, name: str) -> "bytes | None":
        """Bytes stored under a name, or None."""
        raise NotImplementedError

    def store_write(self, name: str, data: "bytes | bytearray") -> None:
        """Store bytes under a name, whole or not at all."""
        raise NotImplementedError

    def restart(self) -> None:
        """Start the processor afresh."""
        raise NotImplementedError
