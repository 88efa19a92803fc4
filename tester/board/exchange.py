"""One question, one believed answer: sequence numbers, time-outs, asking again.

A reply counts only when its block is whole, its check sum fits, it carries the number of the question at hand, the
board saw the very bytes that were sent in this very session, and the board's clock did not run backwards. Everything
else is dropped and the question asked again under a new number.

One attempt waits `REPLY_S` plus the time that the stated number of bytes needs on a 115,200 baud line. However many
attempts, new sessions and leases a question costs, it ends within the time that `within` was given.
"""

from __future__ import annotations

import contextlib
import math
import re
from collections.abc import Iterator
from dataclasses import dataclass

from tester.board import codec
from tester.board.frames import LEASE_HELD, ErrorFrame, Frame, SyncFrame
from tester.board.reader import Block, Garbage, Line, ReplyReader
from tester.board.recording import Channel
from tester.board.requests import Argument, Request, build
from tester.errors import BoardError

ATTEMPTS = 3
REPLY_S = 1.0
BYTES_PER_S = 11_520
QUIET_S = 0.03
DRAIN_S = 0.5
LEASE_WAIT_S = 2.0  # a dead session holds the board for half a second of its own clock
OTHER_BYTES = "the board saw other bytes than were sent, or lost the session"

# SCPI-1999 volume 2, chapter 21, as far as this board uses them.
MEANINGS = {
    -100: "command error", -102: "syntax error", -104: "data type error", -108: "parameter not allowed",
    -109: "missing parameter", -113: "undefined header", -114: "header suffix out of range",
    -161: "invalid block data", -171: "invalid expression", -200: "execution error", -220: "parameter error",
    -221: "settings conflict", -222: "data out of range", -224: "illegal parameter value", -240: "hardware error",
    -310: "system error", -330: "self-test failed", -350: "queue overflow", -363: "input buffer overrun",
    -365: "time out error", -410: "query interrupted", -420: "query unterminated",
}  # fmt: skip


class BoardRefused(BoardError):
    """The board understood a request and did not do it. `number`: SCPI error number, `text`: the board's detail."""

    def __init__(self, address: str, number: int, text: str, hint: str = "", code: str = "refused") -> None:
        meaning = MEANINGS.get(number, "error of the board")
        standard, _, detail = text.partition(";")
        if standard.lower() != meaning:
            detail = text
        says = f"{meaning}: {detail}" if detail else meaning
        super().__init__(f"{address}: the board refuses: {number}, {says}", hint, code)
        self.number = number
        self.text = detail


@dataclass
class Troubles:
    """What went wrong on the line and was mended by asking again."""

    damaged: int = 0
    silent: int = 0
    strangers: int = 0
    restarts: int = 0

    @property
    def any(self) -> bool:
        """True when something went wrong."""
        return bool(self.damaged or self.silent or self.strangers or self.restarts)


class Exchange:
    """Questions to one board over one channel."""

    def __init__(self, wire: Channel) -> None:
        self.wire = wire
        self.troubles = Troubles()
        self.broken = False
        self._reader = ReplyReader(codec.check)
        self._seq = 0
        self.nonce = 0
        self.sent_at = 0.0
        self._last_ms: int | None = None
        self._syncing = False
        self._lease_lost = False
        self._end = math.inf

    @property
    def address(self) -> str:
        """What a person calls this port."""
        return self.wire.address

    def lost_lease(self) -> bool:
        """True once after the board was seen without the lease that it had given: restarted, or taken by another."""
        lost, self._lease_lost = self._lease_lost, False
        return lost

    @contextlib.contextmanager
    def within(self, seconds: float) -> Iterator[None]:
        """No waiting beyond `seconds` in this block, nor beyond what an outer block allows."""
        outer = self._end
        self._end = min(outer, self.wire.tick() + seconds)
        try:
            yield
        finally:
            self._end = outer

    def drain(self) -> None:
        """Throw away what is still coming from earlier, until the line is quiet or `DRAIN_S` is over."""
        end = self.wire.tick() + DRAIN_S
        while self.wire.now < end and self._receive(min(end, self.wire.now + QUIET_S)):
            pass
        self._reader.clear()

    def tell(self, text: str) -> None:
        """Send a line that has no answer. Raises BoardError."""
        self._send(text.encode("ascii") + b"\n")

    def ask_line(self, text: str, wanted: re.Pattern[str]) -> tuple[re.Match[str] | None, list[str]]:
        """Ask in text; the line that fits `wanted` and all others that came. Waits `ATTEMPTS` times `REPLY_S`."""
        others: list[str] = []
        for attempt in range(ATTEMPTS):
            self._send(b"\n" * bool(attempt) + text.encode("ascii") + b"\n")
            until = min(self.wire.now + REPLY_S, self._end)
            while True:
                event = self._next(until)
                if event is None:
                    break
                if isinstance(event, Line):
                    found = wanted.fullmatch(event.text)
                    if found:
                        return found, others
                if len(others) < 20:
                    others.append(event.text if isinstance(event, Line) else repr(event)[:80])
        return None, others

    def sync(self) -> SyncFrame:
        """Begin a session: only replies that carry its fresh random number in their check sum count from now on.

        A session that died holds its lease for up to half a second more; `LEASE_WAIT_S` is waited. Raises BoardError.
        """
        self.nonce = self.wire.nonce()
        self._seq = self.nonce & 0xFFFF
        end = min(self.wire.tick() + LEASE_WAIT_S, self._end)
        while True:
            try:
                return self._sync()
            except BoardRefused as refused:
                if refused.number != -221 or self.wire.now >= end:
                    raise
            pause = self.wire.now + 0.1
            while self.wire.now < pause:
                self._receive(pause)

    def _sync(self) -> SyncFrame:
        """The same session again, or for the first time."""
        self._last_ms = None
        self._syncing = True
        try:
            frame = self.ask("SYST:SYNC?", self.nonce, body_most=64)
        finally:
            self._syncing = False
        if not isinstance(frame, SyncFrame) or frame.nonce != self.nonce:
            raise BoardError(f"{self.address}: the board gives back another number than it was sent", code="protocol")
        self._lease_lost = not frame.state & LEASE_HELD
        return frame

    def ask(self, header: str, *arguments: Argument, body_most: int = 1024, patience: float = REPLY_S) -> Frame:
        """The frame that answers; one attempt takes `patience` seconds and the time of the line.

        Raises BoardRefused for an error of the board, BoardError for one of the link.
        """
        reasons: list[str] = []
        allowed = patience + (body_most + 64) / BYTES_PER_S
        for attempt in range(ATTEMPTS):
            if self.wire.now >= self._end and reasons:
                break
            self._reader.block_most = max(body_most, 256) + codec.FRAMING  # a new session in between asked for less
            self._seq = (self._seq + 1) & 0xFFFF
            request = build(header, self._seq, *arguments)
            # an empty line first when asking again: it ends a request of which only a part arrived
            self._send(b"\n" * bool(attempt) + request.line)
            sent_at = self.wire.now
            answer = self._answer(request, min(sent_at + allowed, self._end))
            if isinstance(answer, str):
                reasons.append(answer)
                if answer is OTHER_BYTES and not self._syncing:
                    self._sync()  # the board may have restarted and lost the session
            elif self._ran_backwards(answer):
                reasons.append("the board restarted")
                self._sync()
            elif isinstance(answer, ErrorFrame):
                raise BoardRefused(self.address, answer.number, answer.text)
            else:
                self.sent_at = sent_at
                return answer
        raise BoardError(
            f"{self.address}: no sound answer to {header} in {len(reasons)} attempts: {'; '.join(reasons)}",
            "Check cable and hub, and that no other program uses this port.",
            code="link",
        )

    def _answer(self, request: Request, until: float) -> Frame | str:
        """The frame that answers this request, or why there is none."""
        reason = ""
        while True:
            if reason and not self._reader.pending:
                return reason
            event = self._next(until if not reason else 0.0)
            if event is None:
                if not reason:
                    self.troubles.silent += 1
                return reason or "nothing came"
            if isinstance(event, Garbage):
                if event.broken_block:
                    self.troubles.damaged += 1
                    reason = event.why
                else:
                    self.troubles.strangers += 1
            elif isinstance(event, Line):
                self.troubles.strangers += 1
            else:
                answer = self._judge(event, request)
                if isinstance(answer, Frame):
                    return answer
                reason = answer or reason

    def _judge(self, event: Block, request: Request) -> Frame | str:
        try:
            found = codec.head(event.payload)
        except codec.Damaged as error:
            raise BoardError(
                f"{self.address}: {error}",
                "Bring board and program to versions that fit: `loomwright board install`.",
                code="protocol",
            ) from error
        if found.seq != request.seq:
            self.troubles.strangers += 1
            return ""
        # a refused session begin is salted by the number of whoever holds the board, which nobody told us
        refused = self._syncing and found.kind == "E"
        if not refused and not codec.answers(found, request, self.nonce):
            self.troubles.damaged += 1
            return OTHER_BYTES
        try:
            return codec.frame_of(found, event.payload, request.unit, self.nonce)
        except codec.Damaged as error:
            raise BoardError(f"{self.address}: {error}", code="protocol") from error

    def _ran_backwards(self, frame: Frame) -> bool:
        last, self._last_ms = self._last_ms, frame.ms
        back = last is not None and (frame.ms - last) & 0xFFFFFFFF >= 0x80000000
        self.troubles.restarts += back
        return back

    def _next(self, until: float) -> Line | Block | Garbage | None:
        """The next event by `until`; when time is up, what is left is given up piece by piece, then None."""
        while True:
            event = self._reader.next_event()
            if event is not None:
                return event
            data = self._receive(until) if self.wire.now < until else b""
            if data:
                self._reader.receive(data)
                continue
            return self._reader.give_up()

    def _send(self, data: bytes) -> None:
        try:
            self.wire.send(data)
        except BoardError:
            self.broken = True
            raise

    def _receive(self, until: float) -> bytes:
        try:
            return self.wire.receive(until)
        except BoardError:
            self.broken = True
            raise
