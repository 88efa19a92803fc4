"""Dropout watch: hold one pattern, read over and over, log on the board what differs from the first reading."""

from struct import pack_into, unpack_from

from .block import BODY_MAX, Reply
from .errors import ScpiError
from .expander import Expanders
from .guard import Guard
from .pins import Pins
from .programme import Programme, play
from .scan import Rows, Scanner

TYPE_CHECKING = False
if TYPE_CHECKING:
    from .hal import Hal


EVENTS_MAX = 64
EVENTS_A_REPLY = 40
PATTERNS_MAX = 16
OPENED = 1
SHORTED = 2

_EVENT = "<IIHBB"
_EVENT_SIZE = 12
_STILL = 0xFFFFFFFF
_BATCH = 4
_LOOP_US = 120


class Pattern:
    """One loaded pattern: driven channels, its programme, first reading, and which bits differ from it now."""

    def __init__(self, driven: "list[int]", programme: Programme, width: int) -> None:
        self.driven = driven
        self.programme = programme
        self.base = bytearray(width)
        self.last = bytearray(width)
        self.differs = bytearray(width)


class Watch:
    """Loaded patterns, the loop over them, and the log."""

    def __init__(self, hal: "Hal", guard: Guard, driver: "Expanders | Pins", scanner: Scanner) -> None:
        self.hal = hal
        self.guard = guard
        self.driver = driver
        self.scanner = scanner
        self.running = False
        self.read: list[int] = []
        self.patterns: list[Pattern] = []
        self._events = bytearray(EVENTS_MAX * _EVENT_SIZE)
        self._forget()

    def _forget(self) -> None:
        self.kept = 0
        self.total = 0
        self.readings = 0
        self.longest_us = 0
        self._ms = 0
        self._rest_us = 0
        self._since_coded = 0
        self._coded = 0
        self._coded_us = 0
        self._every = 0

    def load(self, read: "list[int]", driven: "list[list[int]]", reply: Reply) -> None:
        """WATCh:LOAD?"""
        if len(driven) > PATTERNS_MAX:
            raise ScpiError(-222, "more than %d patterns" % PATTERNS_MAX)
        if 4 + len(driven) * ((len(read) + 7) // 8) > BODY_MAX:
            raise ScpiError(-222, "reply longer than %d bytes" % BODY_MAX)
        self.patterns = []
        self.read = read
        self._select()
        self._rows = Rows(read, self.driver.row_ports())
        width = self._rows.width
        self._mask = bytearray(width)
        ports = self.driver.row_ports()
        for c in read:
            self._mask[ports.index((c - 1) // 8)] |= 1 << (c - 1) % 8
        held = Programme(4 * width, width)
        self.driver.emit_read(held)
        self.patterns = [Pattern(driven[0], held, width)]
        for channels in driven[1:]:
            self.patterns.append(Pattern(channels, held, width))
        reply.u16(len(read))
        reply.u16(len(driven))
        reply.u32(held.cost_us + _LOOP_US)

    def _select(self) -> None:
        self.driver.want(self.read)

    def _compile(self, pattern: Pattern) -> None:
        """A coded pattern on its own: leave the held one, drive, read, and hold again."""
        driver = self.driver
        programme = self.scanner.programme
        held = self.patterns[0].driven
        programme.clear()
        driver.emit_release(programme, held, self.scanner.release_us)
        driver.emit_drive(programme, pattern.driven)
        programme.wait(self.scanner.fall_us)
        driver.emit_read(programme)
        driver.emit_release(programme, pattern.driven, self.scanner.release_us)
        self._emit_hold(programme)
        pattern.programme = programme.copy()

    def _emit_hold(self, programme: Programme) -> None:
        self.driver.emit_drive(programme, self.patterns[0].driven)
        programme.wait(self.scanner.fall_us)

    def start(self, every: int, reply: Reply) -> None:
        """WATCh:STARt?: what each pattern reads now is its baseline."""
        if not 0 <= every <= 65535:
            raise ScpiError(-222, "every %d: not 0 to 65535" % every)
        self._forget()
        self._every = every if len(self.patterns) > 1 else 0
        self._select()
        for pattern in self.patterns[1:]:
            self._compile(pattern)
        self._hold()
        for pattern in self.patterns[1:] + self.patterns[:1]:
            play(pattern.programme, self.hal, self.guard)
            pattern.base[:] = pattern.programme.result
            pattern.last[:] = pattern.programme.result
            for i in range(len(pattern.differs)):
                pattern.differs[i] = 0
        reply.u16(len(self.read))
        reply.u16(len(self.patterns))
        for pattern in self.patterns:
            self._rows.fill(pattern.base, 0, reply.buffer, reply.at)
            reply.at += self._rows.row
        self.running = True
        self._read_at = self.hal.ticks_us()

    def _hold(self) -> None:
        """Set up and drive the held pattern, with the scanner's programme, which is free while a watch runs."""
        self.driver.ready()
        programme = self.scanner.programme
        programme.clear()
        self._emit_hold(programme)
        self.driver.run(programme)

    def turn(self) -> None:
        """A few readings; called from the main loop while running."""
        for _ in range(_BATCH):
            if self.guard.doubt:
                self._hold()
            self._once(self.patterns[0], 0)
            self.readings += 1
            if self._every:
                self._since_coded += 1
                if self._since_coded >= self._every:
                    self._since_coded = 0
                    self._coded = self._coded % (len(self.patterns) - 1) + 1
                    self._once(self.patterns[self._coded], self._coded)

    def _once(self, pattern: Pattern, number: int) -> None:
        """Play one pattern; allocates nothing unless something changed."""
        programme = pattern.programme
        play(programme, self.hal, self.guard)
        now = self.hal.ticks_us()
        gap = self.hal.ticks_diff(now, self._read_at)
        self._rest_us += gap
        if self._rest_us >= 1000:
            self._ms += self._rest_us // 1000
            self._rest_us %= 1000
        self._read_at = now
        if number == 0:
            gap += self._coded_us
            self._coded_us = 0
            if gap > self.longest_us:
                self.longest_us = gap
        else:
            self._coded_us += gap
        if programme.result != pattern.last:
            self._changed(pattern, number)
            pattern.last[:] = programme.result

    def _changed(self, pattern: Pattern, number: int) -> None:
        result = pattern.programme.result
        ports = self.driver.row_ports()
        at = (self._ms * 1000 + self._rest_us) & 0xFFFFFFFF
        for i in range(len(result)):
            differs = (result[i] ^ pattern.base[i]) & self._mask[i]
            flipped = differs ^ pattern.differs[i]
            pattern.differs[i] = differs
            bit = 0
            while flipped:
                if flipped & 1:
                    channel = 8 * ports[i] + bit + 1
                    if differs >> bit & 1:
                        self._begin(at, channel, number, SHORTED if pattern.base[i] >> bit & 1 else OPENED)
                    else:
                        self._end(at, channel, number)
                flipped >>= 1
                bit += 1

    def _begin(self, at: int, channel: int, number: int, what: int) -> None:
        self.total += 1
        if self.kept < EVENTS_MAX:
            pack_into(_EVENT, self._events, self.kept * _EVENT_SIZE, at, _STILL, channel, number, what)
            self.kept += 1

    def _end(self, at: int, channel: int, number: int) -> None:
        for n in range(self.kept - 1, -1, -1):
            begun, lasted, of, pattern, _ = unpack_from(_EVENT, self._events, n * _EVENT_SIZE)
            if of == channel and pattern == number and lasted == _STILL:
                pack_into("<I", self._events, n * _EVENT_SIZE + 4, (at - begun) & 0xFFFFFFFF)
                return

    def log(self, first: int, reply: Reply) -> None:
        """WATCh:LOG?"""
        if first < 0:
            raise ScpiError(-222, "event %d" % first)
        n = max(0, min(EVENTS_A_REPLY, self.kept - first))
        self._head(reply, n, min(first, 65535))
        reply.raw(self._events[first * _EVENT_SIZE : (first + n) * _EVENT_SIZE])

    def _head(self, reply: Reply, n: int, first: int) -> None:
        reply.u32(self.readings & 0xFFFFFFFF)
        reply.u32(self._ms & 0xFFFFFFFF)
        reply.u32(self.longest_us)
        reply.u32(self._ms * 1000 // self.readings if self.readings else 0)
        reply.u16(min(self.total, 65535))
        reply.u16(self.kept)
        reply.u8(1 if self.running else 0)
        reply.u8(n)
        reply.u16(first)

    def stop(self) -> None:
        """Let go; the log stays."""
        if self.running:
            self.running = False
            self.driver.release()

    def summary(self, reply: Reply) -> None:
        """Body of WATCh:STOP?"""
        self._head(reply, 0, 0)
