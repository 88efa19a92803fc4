"""The firmware's hardware, in the same process: every call goes to the chip models and costs virtual time."""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol

from hwspec.virtual.board import VirtualBoard

_WRAP = (1 << 30) - 1
_CALL_NS = 1000


class Line(Protocol):
    """The host's end of the serial port."""

    def take(self, most: int) -> bytes:
        """Up to `most` bytes that have arrived."""

    def put(self, data: bytes) -> None:
        """Send bytes to the host; drop what it does not take."""

    def rest(self) -> int:
        """Let time pass until a byte arrives or about 1 ms is over; how many virtual ns went by."""


class VirtualHal:
    """What `hwspec.firmware.app.App` is given under CPython. See hwspec/firmware/hal.py for the calls.

    `root`: folder of the firmware slots, "" for a firmware that cannot be updated.
    """

    def __init__(
        self, board: VirtualBoard, line: Line, root: str = "", on_restart: Callable[[], None] | None = None
    ) -> None:
        self._board = board
        self.root = root
        self._line = line
        self._clock = board.clock
        self._on_restart = on_restart
        self.build = board.options.build
        self.cards = board.options.cards if self.build == "full" else 0
        self.pins = 0 if self.build == "full" else board.options.channel_count()
        self.spi = board.spi
        self.mux = board.mux
        self.i2c_write = board.i2c_write
        self.reference = board.reference
        self.gpio_set = board.gpio_set
        self.gpio_get = board.gpio_get
        self.rail = board.rail_pins

    def i2c_read(self, addr: int, buf: bytearray) -> None:
        """Fill `buf` from a device on the bus."""
        buf[:] = self._board.i2c_read(addr, len(buf))

    def arm(self, level: int) -> None:
        """Level of the dead-man pump pin."""
        self._clock.advance(_CALL_NS)
        self._board.arm_pin(level)

    def ticks_us(self) -> int:
        """Virtual microseconds; asking costs one, so that a loop on the clock ends."""
        self._clock.advance(_CALL_NS)
        return (self._clock.now // 1000) & _WRAP

    def ticks_diff(self, later: int, earlier: int) -> int:
        """later - earlier across the wrap."""
        return ((later - earlier + (1 << 29)) & _WRAP) - (1 << 29)

    def wait_us(self, us: int) -> None:
        """Virtual time passes."""
        self._clock.advance(us * 1000)

    def serial_read(self, buf: bytearray) -> int:
        """Bytes from the host, how many."""
        self._clock.advance(_CALL_NS)
        data = self._line.take(len(buf))
        buf[: len(data)] = data
        return len(data)

    def serial_write(self, data: bytes | bytearray | memoryview) -> None:
        """Bytes to the host."""
        self._clock.advance(_CALL_NS)
        self._line.put(bytes(data))

    def idle(self) -> None:
        """Nothing to do."""
        self._clock.advance(self._line.rest())

    def restart(self) -> None:
        """The processor resets itself."""
        if self._on_restart is not None:
            self._on_restart()

    def unique_id(self) -> bytes:
        """Serial number of the processor: from the seed."""
        return b"VB" + self._board.options.seed.to_bytes(6, "big")

    def store_read(self, name: str) -> bytes | None:
        """Bytes stored under a name."""
        return self._board.options.store.get(name)

    def store_write(self, name: str, data: bytes | bytearray) -> None:
        """Store bytes under a name."""
        self._board.options.store[name] = bytes(data)
