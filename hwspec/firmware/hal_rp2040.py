"""HAL on the RP2040. The only module that imports `machine`.

Wiring, full build: SPI0 SCK 18, MOSI 19, MISO 16, CS0 17 (cards 0, 1), CS1 20 (cards 2, 3), 595 latch 21, pump 22, rail
level 14, rail enable 15, I2C0 SDA 4, SCL 5, reference cell switch 12, source 13. Build strap 26: to ground on the full
board, open on the starter. Starter: channels 1..20 on GP0..GP19, each through its resistor; rail 20.
The host speaks over USB; 0x03 is taken as data, never as an interrupt.
"""

import sys
import time
from os import rename
from select import POLLIN, poll

from .limits import STARTER_CHANNELS

machine = __import__("machine")

_GPIO_IN = 0xD0000004
_GPIO_OUT_SET = 0xD0000014
_GPIO_OUT_CLR = 0xD0000018
_GPIO_OE_SET = 0xD0000024
_GPIO_OE_CLR = 0xD0000028
_ALL_PINS = (1 << STARTER_CHANNELS) - 1
_IOCON_READ = bytearray((0x41, 0x0A, 0, 0))
_WATCHDOG_MS = 500


class Rp2040:
    """The real board."""

    def __init__(self) -> None:
        pin = machine.Pin
        __import__("micropython").kbd_intr(-1)
        self._poll = poll()
        self._poll.register(sys.stdin, POLLIN)
        self._wd = None
        self.root = "/"
        strap = pin(26, pin.IN, pin.PULL_UP)
        time.sleep_us(50)  # type: ignore[attr-defined]
        self.build = "starter" if strap.value() else "full"
        if self.build == "starter":
            self.cards = 0
            self.pins = STARTER_CHANNELS
            for i in range(STARTER_CHANNELS):
                pin(i, pin.IN, None)
            self._rail = pin(20, pin.IN, None)
            return
        self._spi = machine.SPI(0, 5000000, sck=pin(18), mosi=pin(19), miso=pin(16))
        self._cs = (pin(17, pin.OUT, value=1), pin(20, pin.OUT, value=1))
        self._latch = pin(21, pin.OUT, value=0)
        self._pump = pin(22, pin.OUT, value=0)
        self._level = pin(14, pin.OUT, value=0)
        self._enable = pin(15, pin.OUT, value=0)
        self._switch = pin(12, pin.OUT, value=0)
        self._source = pin(13, pin.IN, None)
        self._i2c = machine.I2C(0, sda=pin(4), scl=pin(5), freq=400000)
        self.cards = self._count_cards()

    def _count_cards(self) -> int:
        """Cards that answer: arm for a moment, set the address mode, ask the first chip of each card for it.

        After a reset in the middle of a watch the expanders still drive; arming must not keep that alive.
        """
        for chip in range(16):
            self.spi(chip // 8, bytearray((0x40 | chip % 8 << 1, 0x00, 0xFF, 0xFF)), None)
        for i in range(100):
            self._pump.value(i & 1)
            time.sleep_us(500)  # type: ignore[attr-defined]
        cards = 0
        answer = bytearray(4)
        for cs in (0, 1):
            self.spi(cs, bytearray((0x40, 0x0A, 0x08)), None)
        for card in range(4):
            out = bytearray(_IOCON_READ)
            out[0] |= card % 2 * 8
            self.spi(card // 2, out, answer)
            if answer[2] != 0x08:
                break
            cards += 1
        return cards

    def spi(self, cs: int, out: bytearray, inp: "bytearray | None") -> None:
        """See Hal."""
        select = self._cs[cs]
        select(0)
        if inp is None:
            self._spi.write(out)
        else:
            self._spi.write_readinto(out, inp)
        select(1)

    def mux(self, out: bytearray) -> None:
        """See Hal."""
        self._spi.write(out)
        self._latch(1)
        self._latch(0)

    def i2c_write(self, addr: int, data: bytearray) -> None:
        """See Hal."""
        self._i2c.writeto(addr, data)

    def i2c_read(self, addr: int, buf: bytearray) -> None:
        """See Hal."""
        self._i2c.readfrom_into(addr, buf)

    def arm(self, level: int) -> None:
        """See Hal. Starter: feeds the watchdog, which the first call starts for good."""
        if self.build == "full":
            self._pump(level)
        elif self._wd is None:
            self._wd = machine.WDT(timeout=_WATCHDOG_MS)
        else:
            self._wd.feed()

    def rail(self, state: int) -> None:
        """See Hal."""
        if self.build == "full":
            self._level(state & 1)
            self._enable(state != 2)
            return
        if state == 2:
            self._rail.init(machine.Pin.IN, None)
        else:
            self._rail.init(machine.Pin.OUT, value=state)

    def reference(self, state: int) -> None:
        """See Hal."""
        pin = machine.Pin
        self._switch(state != 0)
        if state == 1:
            self._source.init(pin.OUT, value=1)
        else:
            self._source.init(pin.IN, None)

    def gpio_set(self, oe: int, out: int) -> None:
        """See Hal."""
        mem = machine.mem32
        mem[_GPIO_OE_CLR] = _ALL_PINS & ~oe
        mem[_GPIO_OUT_CLR] = _ALL_PINS & ~out
        mem[_GPIO_OUT_SET] = out
        mem[_GPIO_OE_SET] = oe

    def gpio_get(self) -> int:
        """See Hal."""
        return machine.mem32[_GPIO_IN] & _ALL_PINS  # type: ignore[no-any-return]

    def ticks_us(self) -> int:
        """See Hal."""
        return time.ticks_us()  # type: ignore[attr-defined, no-any-return]

    def ticks_diff(self, later: int, earlier: int) -> int:
        """See Hal."""
        return time.ticks_diff(later, earlier)  # type: ignore[attr-defined, no-any-return]

    def wait_us(self, us: int) -> None:
        """See Hal."""
        time.sleep_us(us)  # type: ignore[attr-defined]

    def serial_read(self, buf: bytearray) -> int:
        """See Hal. One byte at a time: more would block until the buffer is full. Allocates only when bytes arrive."""
        n = 0
        while n < len(buf) and self._arrived(0):
            sys.stdin.buffer.readinto(memoryview(buf)[n : n + 1])  # type: ignore[union-attr]
            n += 1
        return n

    def _arrived(self, ms: int) -> bool:
        for _ in self._poll.ipoll(ms):  # type: ignore[attr-defined]
            return True
        return False

    def serial_write(self, data: "bytes | bytearray | memoryview") -> None:
        """See Hal."""
        sys.stdout.buffer.write(data)

    def idle(self) -> None:
        """See Hal."""
        if self._wd is not None:
            self._wd.feed()
        self._arrived(1)

    def restart(self) -> None:
        """See Hal."""
        machine.reset()

    def unique_id(self) -> bytes:
        """See Hal."""
        return machine.unique_id()  # type: ignore[no-any-return]

    def store_read(self, name: str) -> "bytes | None":
        """See Hal."""
        try:
            with open("/" + name + ".dat", "rb") as file:
                return file.read()
        except OSError:
            return None

    def store_write(self, name: str, data: "bytes | bytearray") -> None:
        """See Hal."""
        path = "/" + name + ".dat"
        with open(path + ".new", "wb") as file:
            file.write(data)
        rename(path + ".new", path)
