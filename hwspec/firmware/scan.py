"""Scans: full scan (WALK), coded patterns (PATTern), driver self-check, waiting times."""

from .block import BODY_MAX, Reply
from .errors import ScpiError
from .expander import Expanders
from .guard import Guard
from .limits import FALL_US, RELEASE_US, SLICE_ESTIMATE_MS, WAIT_MAX_US, WAIT_MIN_US
from .pins import Pins
from .programme import Programme

COST_BYTE_US = 6
COST_BIT_US = 10
"""Cautious cost of copying eight channels at once and of picking one, in microseconds on the board."""


class Rows:
    """Turns result bytes of a scan into rows of the reply: bit i (LSB first) = read[i] was low.

    Eight channels that lie in one port in rising order from its lowest bit are copied as one byte.
    """

    def __init__(self, read: "list[int]", ports: "list[int]", guard: Guard) -> None:
        self._guard = guard
        place = {}
        for i in range(len(ports)):
            place[ports[i]] = i
        self.width = len(ports)
        self.row = (len(read) + 7) // 8
        self._whole = []
        self._index = bytearray(len(read))
        self._mask = bytearray(len(read))
        for i in range(len(read)):
            if not i & 31:
                guard.pump()
            self._index[i] = place[(read[i] - 1) // 8]
            self._mask[i] = 1 << (read[i] - 1) % 8
        self._count = len(read)
        self.cost_us = 0
        for byte in range(self.row):
            guard.pump()
            first = 8 * byte
            eight = read[first : first + 8]
            whole = len(eight) == 8 and (eight[0] - 1) % 8 == 0
            for i in range(len(eight)):
                whole = whole and eight[i] == eight[0] + i
            self._whole.append(self._index[first] if whole else -1)
            self.cost_us += COST_BYTE_US if whole else COST_BIT_US * len(eight)

    def fill(self, result: bytearray, start: int, buffer: bytearray, at: int) -> None:
        """One row from the result bytes at `start` into `buffer` at `at`."""
        for byte in range(self.row):
            source = self._whole[byte]
            if source >= 0:
                buffer[at + byte] = result[start + source] ^ 0xFF
            else:
                self._guard.pump()
                value = 0
                i = 8 * byte
                end = i + 8 if i + 8 < self._count else self._count
                bit = 1
                while i < end:
                    if not result[start + self._index[i]] & self._mask[i]:
                        value |= bit
                    bit <<= 1
                    i += 1
                buffer[at + byte] = value


class Scanner:
    """The scan commands on one driver (expanders or pins)."""

    def __init__(self, driver: "Expanders | Pins", programme: Programme) -> None:
        self.driver = driver
        self.programme = programme
        self.release_us = RELEASE_US
        self.fall_us = FALL_US

    def set_timing(self, release_us: int, fall_us: int) -> None:
        """Waiting times in microseconds. Raises -222."""
        for us in (release_us, fall_us):
            if not WAIT_MIN_US <= us <= WAIT_MAX_US:
                raise ScpiError(-222, "%d us: not %d to %d" % (us, WAIT_MIN_US, WAIT_MAX_US))
        self.release_us = release_us
        self.fall_us = fall_us

    def check_time(self, extra_us: int = 0) -> None:
        """Refuse a programme that may take longer than a driving command is allowed to. Raises -222."""
        us = self.programme.cost_us + extra_us
        if us > SLICE_ESTIMATE_MS * 1000:
            raise ScpiError(-222, "would take about %d ms: more than %d" % (us // 1000, SLICE_ESTIMATE_MS))

    def _rows(self, read: "list[int]", count: int) -> Rows:
        if 4 + count * ((len(read) + 7) // 8) > BODY_MAX:
            raise ScpiError(-222, "reply longer than %d bytes" % BODY_MAX)
        self.driver.want(read)
        return Rows(read, self.driver.row_ports(), self.driver.guard)

    def _reply_rows(self, rows: Rows, count: int, reply: Reply) -> None:
        for n in range(count):
            self.driver.guard.pump()
            rows.fill(self.programme.result, n * rows.width, reply.buffer, reply.at)
            reply.at += rows.row

    def walk(self, drive: "list[int]", read: "list[int]", reply: Reply) -> None:
        """Drive each channel low in turn, read all; body: u16 nread, u16 ndrive, rows."""
        driver = self.driver
        programme = self.programme
        rows = self._rows(read, len(drive))
        programme.clear()
        for c in drive:
            driver.guard.pump()
            driver.emit_drive_one(programme, c)
            programme.wait(self.fall_us)
            driver.emit_read(programme)
            driver.emit_release_one(programme, c, self.release_us)
        self.check_time(rows.cost_us * len(drive))
        driver.ready()
        driver.run(programme)
        reply.u16(len(read))
        reply.u16(len(drive))
        self._reply_rows(rows, len(drive), reply)

    def patterns(self, read: "list[int]", driven: "list[list[int]]", reply: Reply) -> None:
        """Drive each list low together, read all; body: u16 nread, u16 npatterns, rows."""
        driver = self.driver
        programme = self.programme
        rows = self._rows(read, len(driven))
        programme.clear()
        for channels in driven:
            driver.emit_drive(programme, channels)
            programme.wait(self.fall_us)
            driver.emit_read(programme)
            driver.emit_release(programme, channels, self.release_us)
        self.check_time(rows.cost_us * len(driven))
        driver.ready()
        driver.run(programme)
        reply.u16(len(read))
        reply.u16(len(driven))
        self._reply_rows(rows, len(driven), reply)

    def drivers(self, channels: "list[int]", reply: Reply) -> None:
        """Self-check; body: u16 n, n bytes: bit 0 low when driven low, bit 1 high after active release."""
        driver = self.driver
        programme = self.programme
        programme.clear()
        picks = bytearray(len(channels))
        for i in range(len(channels)):
            driver.guard.pump()
            c = channels[i]
            driver.emit_drive_one(programme, c)
            programme.wait(self.fall_us)
            picks[i] = driver.emit_read_of(programme, c)
            driver.emit_release_one(programme, c, self.release_us)
            driver.emit_read_of(programme, c)
        self.check_time()
        driver.ready()
        driver.run(programme)
        reply.u16(len(channels))
        result = programme.result
        width = programme.result_length // (2 * len(channels))
        for i in range(len(channels)):
            driver.guard.pump()
            bit = 1 << (channels[i] - 1) % 8
            low = not result[2 * i * width + picks[i]] & bit
            high = result[(2 * i + 1) * width + picks[i]] & bit
            reply.u8((1 if low else 0) | (2 if high else 0))
