"""Byte programmes (select, bytes, wait) and the loop that plays them.

A scan is compiled into one flat byte programme before anything is driven; `play` then runs it without allocating.

    0x01 cs b0 b1 b2       write 3 bytes (opcode, register, value) to the expanders of chip select cs
    0x02 cs b0 b1 b2 b3    write 4 bytes (opcode, register, both ports)
    0x03 cs b0 b1          read both ports from a register; two result bytes
    0x04 lo hi             wait, microseconds; the dead-man pump runs on
    0x05 e0 e1 e2 o0 o1 o2 pins: output enables and levels (starter build)
    0x06                   pins: read; three result bytes
"""

from .compat import const
from .errors import ScpiError
from .guard import Guard

TYPE_CHECKING = False
if TYPE_CHECKING:
    from .hal import Hal


SIZE = 6144
RESULTS = 2112

_WRITE3 = const(1)
_WRITE4 = const(2)
_READ = const(3)
_WAIT = const(4)
_PINS_SET = const(5)
_PINS_GET = const(6)

COST_WRITE_US = 40
COST_READ_US = 45
COST_WAIT_US = 15


class Programme:
    """One byte programme, its results, and a cautious estimate of its time in microseconds."""

    def __init__(self, size: int = SIZE, results: int = RESULTS) -> None:
        self.code = bytearray(size)
        self.result = bytearray(results)
        self.out3 = bytearray(3)
        self.out4 = bytearray(4)
        self.inp4 = bytearray(4)
        self.clear()

    def copy(self) -> "Programme":
        """The same programme in no more room than it needs."""
        twin = Programme(self.length, self.result_length)
        twin.code[:] = self.code[: self.length]
        twin.length = self.length
        twin.result_length = self.result_length
        twin.cost_us = self.cost_us
        return twin

    def clear(self) -> None:
        """Begin an empty programme."""
        self.length = 0
        self.result_length = 0
        self.cost_us = 0

    def _room(self, n: int, results: int = 0) -> int:
        at = self.length
        self.length += n
        self.result_length += results
        if self.length > len(self.code) or self.result_length > len(self.result):
            raise ScpiError(-222, "too long for one request")
        return at

    def write3(self, cs: int, b0: int, b1: int, b2: int) -> None:
        """One port register of one expander."""
        at = self._room(5)
        code = self.code
        code[at] = _WRITE3
        code[at + 1] = cs
        code[at + 2] = b0
        code[at + 3] = b1
        code[at + 4] = b2
        self.cost_us += COST_WRITE_US

    def write4(self, cs: int, b0: int, b1: int, b2: int, b3: int) -> None:
        """Both port registers of one expander."""
        at = self._room(6)
        code = self.code
        code[at] = _WRITE4
        code[at + 1] = cs
        code[at + 2] = b0
        code[at + 3] = b1
        code[at + 4] = b2
        code[at + 5] = b3
        self.cost_us += COST_WRITE_US

    def read(self, cs: int, b0: int, b1: int) -> None:
        """Both ports of one expander into the result."""
        at = self._room(4, 2)
        code = self.code
        code[at] = _READ
        code[at + 1] = cs
        code[at + 2] = b0
        code[at + 3] = b1
        self.cost_us += COST_READ_US

    def wait(self, us: int) -> None:
        """Wait, 0 to 65535 microseconds."""
        at = self._room(3)
        self.code[at] = _WAIT
        self.code[at + 1] = us & 255
        self.code[at + 2] = us >> 8
        self.cost_us += us + COST_WAIT_US

    def pins_set(self, oe: int, out: int) -> None:
        """Output enables and levels of up to 24 pins."""
        at = self._room(7)
        code = self.code
        code[at] = _PINS_SET
        for i in range(3):
            code[at + 1 + i] = oe >> (8 * i) & 255
            code[at + 4 + i] = out >> (8 * i) & 255
        self.cost_us += COST_WRITE_US

    def pins_get(self) -> None:
        """Levels of up to 24 pins into the result."""
        self.code[self._room(1, 3)] = _PINS_GET
        self.cost_us += COST_READ_US


def play(programme: Programme, hal: "Hal", guard: Guard) -> None:
    """Run a programme from start to end, or until the pump paused: whom a write then reaches is not known.

    Allocates nothing once it runs.
    """
    code = programme.code
    end = programme.length
    result = programme.result
    out3 = programme.out3
    out4 = programme.out4
    inp4 = programme.inp4
    i = 0
    k = 0
    while i < end:
        op = code[i]
        if op == _WRITE3:
            out3[0] = code[i + 2]
            out3[1] = code[i + 3]
            out3[2] = code[i + 4]
            hal.spi(code[i + 1], out3, None)
            i += 5
        elif op == _READ:
            out4[0] = code[i + 2]
            out4[1] = code[i + 3]
            out4[2] = 0
            out4[3] = 0
            hal.spi(code[i + 1], out4, inp4)
            result[k] = inp4[2]
            result[k + 1] = inp4[3]
            k += 2
            i += 4
        elif op == _WAIT:
            guard.wait(code[i + 1] | code[i + 2] << 8)
            if guard.doubt:
                return
            i += 3
        elif op == _WRITE4:
            out4[0] = code[i + 2]
            out4[1] = code[i + 3]
            out4[2] = code[i + 4]
            out4[3] = code[i + 5]
            hal.spi(code[i + 1], out4, None)
            i += 6
        elif op == _PINS_SET:
            oe = code[i + 1] | code[i + 2] << 8 | code[i + 3] << 16
            hal.gpio_set(oe, code[i + 4] | code[i + 5] << 8 | code[i + 6] << 16)
            i += 7
        else:
            levels = hal.gpio_get()
            result[k] = levels & 255
            result[k + 1] = levels >> 8 & 255
            result[k + 2] = levels >> 16 & 255
            k += 3
            i += 1
    guard.pump()
