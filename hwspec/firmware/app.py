"""Main loop: bytes in, lines out of them, at most one line executed a turn, pump and lease served."""

import gc

from .block import Reply
from .board import Board
from .commands import Commands
from .errors import MISTAKES, ScpiError
from .parser import split_line
from .programme import Programme

TYPE_CHECKING = False
if TYPE_CHECKING:
    from .hal import Hal


LINE_MAX = 4096
LINE_GAP_MS = 500
_PIECE = 64
"""Bytes sent at once; a running watch reads in between."""
_SIP = 4
"""Bytes taken in at once while a watch runs: a byte costs about as much time as reading a chip."""


class App:
    """The firmware on one HAL. `poll` is one turn of the main loop, `run` turns for ever."""

    def __init__(self, hal: "Hal") -> None:
        gc.collect()  # what loading left lies scattered over the heap, so the large buffers come first
        self._line = bytearray(LINE_MAX)
        programme = Programme()
        reply = Reply()
        self.hal = hal
        self.board = Board(hal, programme)
        self.commands = Commands(self.board, reply)
        self._gulp = bytearray(256)
        self._sip = bytearray(_SIP)
        self._chunk = self._gulp
        self._count = 0
        self._next = 0
        self._length = 0
        self._overrun = False
        self._heard_ms = 0

    def run(self) -> None:
        """Serve for ever."""
        while True:
            self.poll()

    def poll(self) -> None:
        """One turn: service the board, take in bytes, execute at most one line, else idle."""
        self.board.service()
        if self._next >= self._count:
            self._next = 0
            self._chunk = self._sip if self.board.watch.running else self._gulp
            self._count = self.hal.serial_read(self._chunk)
        if self._next < self._count:
            self._heard_ms = self.board.guard.milliseconds()
            if self._take():
                self._finish_line()
                if self.board.restart_wanted:
                    self.board.restart_wanted = False
                    self.hal.restart()
        else:
            self._check_gap()
            if not self.board.watch.running:
                self.hal.idle()
        if self.board.watch.running:
            self._watch()

    def _watch(self) -> None:
        try:
            self.board.watch.turn()
        except ScpiError as error:
            self.board.off()
            self.board.status.report(error)
        except MISTAKES as error:
            self.board.off()
            self.board.status.report(ScpiError(-310, type(error).__name__))

    def _take(self) -> bool:
        """Move bytes of the chunk into the line; True when the line is complete."""
        chunk = self._chunk
        end = chunk.find(b"\n", self._next, self._count)
        stop = self._count if end < 0 else end
        n = stop - self._next
        if self._length + n >= LINE_MAX:
            self._overrun = True
            self._length = 0
        elif not self._overrun:
            self._line[self._length : self._length + n] = chunk[self._next : stop]
            self._length += n
        self._next = self._count if end < 0 else end + 1
        return end >= 0

    def _check_gap(self) -> None:
        """Drop an unfinished line when nothing came for a while (-365)."""
        if self._length or self._overrun:
            if self.board.guard.milliseconds() - self._heard_ms > LINE_GAP_MS:
                self._length = 0
                self._overrun = False
                self.board.status.report(ScpiError(-365, "line not finished"))

    def _finish_line(self) -> None:
        length = self._length
        overrun = self._overrun
        self._length = 0
        self._overrun = False
        if overrun:
            self.board.status.report(ScpiError(-363, "line longer than %d bytes" % LINE_MAX))
            return
        if length and self._line[length - 1] == 0x0D:
            length -= 1
        self.execute(memoryview(self._line)[:length])

    def execute(self, line: "memoryview | bytes") -> None:
        """Run all units of a line; the first error ends the line. Answers are joined by ';' and ended by LF."""
        answered = False
        branch = ""
        try:
            for unit in split_line(bytes(line), 0x3B, self.board.breathe):
                if not unit:
                    continue
                answer, branch = self.commands.execute(unit, branch)
                if answer is not None:
                    if answered:
                        self.hal.serial_write(b";")
                    answered = True
                    self._send(answer)
                    if self.commands.failed:
                        break
        except ScpiError as error:
            self.board.status.report(error)
        except MISTAKES as error:
            self.board.off()
            self.board.status.report(ScpiError(-310, type(error).__name__))
        if answered:
            self.hal.serial_write(b"\n")

    def _send(self, answer: object) -> None:
        data = answer.encode() if isinstance(answer, str) else answer
        view = memoryview(data)  # type: ignore[arg-type]
        for at in range(0, len(view), _PIECE):
            self.hal.serial_write(view[at : at + _PIECE])
            self.board.service()
            self.board.watch.breathe()
