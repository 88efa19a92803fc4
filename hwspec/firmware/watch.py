"""Dropout watch: hold one pattern, read over and over, log on the board what differs from the first reading."""

import gc
from struct import pack_into, unpack_from

from .block import BODY_MAX, Reply
from .errors import ScpiError
from .expander import Expanders
from .guard import Guard
from .pins import Pins
from .programme import COST_READ_US, Programme, play
from .scan import Rows, Scanner
from .touches import Touches

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
    """One loaded list of channels; first reading, newest, which bits differ. `programme`: how a coded one is played."""

    def __init__(self, driven: "list[int]", width: int) -> None:
        self.driven = driven
        self.programme: Programme | None = None
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
        self.touches = Touches(driver, scanner)
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
        self._every = 0
        self._fall_us = 0

    def load(self, read: "list[int]", driven: "list[list[int]]", reply: Reply) -> None:
        """WATCh:LOAD?"""
        if len(driven) > PATTERNS_MAX:
            raise ScpiError(-222, "more than %d patterns" % PATTERNS_MAX)
        if 4 + len(driven) * ((len(read) + 7) // 8) > BODY_MAX:
            raise ScpiError(-222, "reply longer than %d bytes" % BODY_MAX)
        self.patterns = []
        self.read = read
        self._select()
        self._rows = Rows(read, self.driver.row_ports(), self.guard)
        width = self._rows.width
        self._mask = bytearray(width)
        ports = self.driver.row_ports()
        for c in read:
            self._mask[ports.index((c - 1) // 8)] |= 1 << (c - 1) % 8
        self._levels = bytearray(width)
        self.guard.pump()
        for channels in driven:
            self.patterns.append(Pattern(channels, width))
        reply.u16(len(read))
        reply.u16(len(driven))
        reply.u32(width // 2 * COST_READ_US + _LOOP_US)

    def _select(self) -> None:
        self.driver.want(self.read)

    def _compile(self, pattern: Pattern) -> int:
        """A coded pattern on its own: leave the held one, drive, read, and hold again. Its time in microseconds."""
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
        return programme.cost_us

    def _emit_hold(self, programme: Programme) -> None:
        self.driver.emit_drive(programme, self.patterns[0].driven)
        programme.wait(self.scanner.fall_us)

    def start(self, every: int, how: int, reply: Reply) -> None:
        """WATCh:STARt?: what each pattern reads now is its baseline."""
        if not 0 <= every <= 65535:
            raise ScpiError(-222, "every %d: not 0 to 65535" % every)
        if not 0 <= how <= 1:
            raise ScpiError(-222, "how %d: not 0 or 1" % how)
        self._forget()
        self.touches.forget()
        held = self.patterns[0]
        coded = self.patterns[1:]
        self._every = every if coded else 0
        self._select()
        if how:
            self.touches.compile(self.read, held.driven, [pattern.driven for pattern in coded])
            self._fall_us = self.scanner.fall_us
        else:
            before_us = 0
            for pattern in coded:
                taken_us = self._compile(pattern)
                self.scanner.check_time(before_us)
                before_us += taken_us
        gc.collect()  # so that none is due while the watch runs
        self._hold()
        for i in range(len(coded)):
            self._first(coded[i], i + 1)
        self._first(held, 0)
        if how:
            self._levels[:] = held.base
            self.driver.leave_out(self._mask)
        reply.u16(len(self.read))
        reply.u16(len(self.patterns))
        for pattern in self.patterns:
            self.guard.pump()
            self._rows.fill(pattern.base, 0, reply.buffer, reply.at)
            reply.at += self._rows.row
        self.running = True
        self._read_at = self.hal.ticks_us()

    def _first(self, pattern: Pattern, number: int) -> None:
        """The baseline of one pattern."""
        if number and self.touches.count:
            self.touches.first(number, self.driver.row_ports(), pattern.base)
        elif number:
            self._play(pattern)
            pattern.base[:] = self._levels
        else:
            self.guard.wait(self._fall_us)
            self.driver.read_into(pattern.base)
        pattern.last[:] = pattern.base
        for i in range(len(pattern.differs)):
            pattern.differs[i] = 0

    def _play(self, pattern: Pattern) -> None:
        assert pattern.programme is not None
        play(pattern.programme, self.hal, self.guard)
        self._levels[:] = pattern.programme.result

    def _hold(self) -> None:
        """Set up and drive the held pattern, with the scanner's programme, which is free while a watch runs."""
        self.driver.ready()
        programme = self.scanner.programme
        programme.clear()
        self._emit_hold(programme)
        self.driver.run(programme)
        self.driver.keep(self.patterns[0].driven)
        self._driven_at = self.hal.ticks_us()

    def turn(self) -> None:
        """A few readings, the first and the last of the held pattern; called from the main loop while running."""
        for _ in range(_BATCH):
            self._read()
            if self._every and self._since_coded >= self._every:
                self._since_coded = 0
                self._look_for_touches()
        if self._every and not self._since_coded:
            self._read()

    def breathe(self) -> None:
        """One reading of the held pattern, between two pieces of other work of the processor."""
        if self.running and not self.guard.doubt:
            self._read()

    def _read(self) -> None:
        """One reading of the held pattern; allocates nothing unless something changed.

        What was read behind a pause of the pump is none: the hardware may have let go. The gap shows in `longest_us`.
        """
        self.guard.pump()
        if self.guard.doubt:
            self._hold()
        held = self.patterns[0]
        if self._fall_us:
            self.guard.wait_rest(self._driven_at, self._fall_us)
        self.driver.read_into(self._levels)
        self.guard.pump()
        if self.guard.doubt:
            return
        now = self.hal.ticks_us()
        gap = self.hal.ticks_diff(now, self._read_at)
        self._rest_us += gap
        if self._rest_us >= 1000:
            self._ms += self._rest_us // 1000
            self._rest_us %= 1000
        self._read_at = now
        if gap > self.longest_us:
            self.longest_us = gap
        self.readings += 1
        self._since_coded += 1
        if self._levels != held.last:
            self._changed(held, 0)

    def _look_for_touches(self) -> None:
        """The next coded pattern, or the next step of letting go; allocates nothing unless something changed."""
        if self.touches.count:
            changed = self.touches.step()
            self._driven_at = self.hal.ticks_us()
            self.guard.pump()
            if changed >= 0 and not self.guard.doubt:
                for channel, number, differs, high in self.touches.changes(changed):
                    self._tell(channel, number, differs, high)
        else:
            self._coded = self._coded % (len(self.patterns) - 1) + 1
            pattern = self.patterns[self._coded]
            self._play(pattern)
            if self._levels != pattern.last and not self.guard.doubt:
                self._changed(pattern, self._coded)

    def _changed(self, pattern: Pattern, number: int) -> None:
        result = self._levels
        ports = self.driver.row_ports()
        for i in range(len(result)):
            differs = (result[i] ^ pattern.base[i]) & self._mask[i]
            flipped = differs ^ pattern.differs[i]
            pattern.differs[i] = differs
            for bit in range(8):
                if flipped >> bit & 1:
                    channel = 8 * ports[i] + bit + 1
                    self._tell(channel, number, differs >> bit & 1 == 1, pattern.base[i] >> bit & 1 == 1)
        pattern.last[:] = result

    def _tell(self, channel: int, number: int, differs: bool, high: bool) -> None:
        """Log that a channel differs from its first reading, which was `high`, or no longer does."""
        since = self.hal.ticks_diff(self.hal.ticks_us(), self._read_at)
        at = (self._ms * 1000 + self._rest_us + since) & 0xFFFFFFFF
        if differs:
            self._begin(at, channel, number, SHORTED if high else OPENED)
        else:
            self._end(at, channel, number)

    def _begin(self, at: int, channel: int, number: int, what: int) -> None:
        self.total += 1
        if self.kept < EVENTS_MAX:
            pack_into(_EVENT, self._events, self.kept * _EVENT_SIZE, at, _STILL, channel, number, what)
            self.kept += 1

    def _end(self, at: int, channel: int, number: int) -> None:
        for n in range(self.kept - 1, -1, -1):
            begun, lasted, of, pattern, _ = unpack_from(_EVENT, self._events, n * _EVENT_SIZE)
            if of == channel and lasted == _STILL and (pattern == number or pattern and self.touches.count):
                pack_into("<I", self._events, n * _EVENT_SIZE + 4, (at - begun) & 0xFFFFFFFF)
                return

    def log(self, first: int, reply: Reply) -> None:
        """WATCh:LOG?"""
        if not 0 <= first <= 65535:
            raise ScpiError(-222, "event %d: not 0 to 65535" % first)
        n = max(0, min(EVENTS_A_REPLY, self.kept - first))
        self._head(reply, n, first)
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
