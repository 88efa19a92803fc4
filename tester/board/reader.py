"""Bytes in, one event at a time out: text lines, definite-length blocks, garbage. No input or output in here.

A block is `#`, one digit that counts the length digits, the length, then that many bytes (IEEE 488.2). Inside every
block of this product stands a frame that ends with its own CRC-32, so a block is only believed when that fits;
otherwise the reader looks for the next plausible start inside of what it had taken for a block.

Rules that hold here:
- `next_event` never returns data that has not been asked for by `receive`, and never the same bytes twice.
- Whatever is neither a printable line nor a checked block comes out as `Garbage`, so nothing is lost silently.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

LINE_MOST = 4096
BLOCK_MOST = 65_535 + 20  # the body length is a u16; header and check sum are 20 bytes

_HEADER = re.compile(rb"#(?:1\d|2\d{2}|3\d{3}|4\d{4}|5\d{5}|6\d{6}|7\d{7}|8\d{8}|9\d{9})")
_START = re.compile(rb"#[1-9]")
_UNPRINTABLE = re.compile(rb"[^\t\r\x20-\x7e]")


@dataclass(frozen=True)
class Line:
    """A printable line, without its line end."""

    text: str


@dataclass(frozen=True)
class Block:
    """The data bytes of a definite-length block that passed its check."""

    payload: bytes


@dataclass(frozen=True)
class Garbage:
    """Bytes that are nothing. `broken_block`: they began like a block, so a reply was probably lost in them."""

    data: bytes
    why: str
    broken_block: bool = False


Event = Line | Block | Garbage


def unchecked(payload: bytes) -> str | None:
    """The check for blocks of unknown content: any will do."""
    return None


class ReplyReader:
    """Splits what comes from the board. `check` says what is wrong with a block's data, None when it is sound."""

    def __init__(self, check: Callable[[bytes], str | None] = unchecked) -> None:
        self._check = check
        self._buffer = bytearray()
        self.block_most = BLOCK_MOST

    @property
    def pending(self) -> int:
        """Number of bytes received and not yet given out."""
        return len(self._buffer)

    def receive(self, data: bytes) -> None:
        """Take bytes from the wire."""
        self._buffer += data

    def next_event(self) -> Event | None:
        """The next event, None when more bytes are needed."""
        buffer = self._buffer
        while buffer and buffer[0] in b"\r\n":
            del buffer[0]  # empty lines, and the line end behind a block
        if not buffer:
            return None
        if buffer[0] == ord("#"):
            return self._block()
        return self._line()

    def give_up(self) -> Garbage | None:
        """Time is up: what is incomplete becomes garbage, up to the next plausible start of a block.

        Call it, and then `next_event`, until it returns None.
        """
        if not self._buffer:
            return None
        have, want = self._progress()
        why = f"block incomplete, {have} of {want} bytes (-161)" if want else "line without an end"
        return self._drop(self._next_start(1, len(self._buffer)), why, broken_block=bool(want))

    def clear(self) -> bytes:
        """Forget everything received, and return it."""
        data = bytes(self._buffer)
        self._buffer.clear()
        return data

    def _progress(self) -> tuple[int, int]:
        """Bytes of the block at the front that are here, and that it claims; (0, 0) when there is none."""
        found = _HEADER.match(self._buffer)
        if found is None:
            return 0, 0
        return len(self._buffer) - found.end(), int(found[0][2:])

    def _block(self) -> Event | None:
        buffer = self._buffer
        found = _HEADER.match(buffer)
        if found is None:
            return None if self._partial(0) else self._line()
        length = int(found[0][2:])
        end = found.end() + length
        if length > self.block_most:
            why = f"a block of {length} bytes; no reply has more than {self.block_most}"
            return self._drop(self._next_start(1, len(buffer)), why, broken_block=True)
        if len(buffer) < end:
            return None
        payload = bytes(buffer[found.end() : end])
        wrong = self._check(payload)
        if wrong is None:
            del buffer[:end]
            return Block(payload)
        return self._drop(self._next_start(1, end), wrong, broken_block=True)

    def _line(self) -> Event | None:
        buffer = self._buffer
        stop = buffer.find(b"\n")
        bad = _UNPRINTABLE.search(buffer)
        if bad is None or bad.start() == stop:
            if stop > LINE_MOST or (stop < 0 and len(buffer) > LINE_MOST):
                return self._drop(len(buffer) if stop < 0 else stop + 1, f"a line of more than {LINE_MOST} bytes")
            if stop < 0:
                return None
            text = bytes(buffer[:stop]).decode("ascii").strip()
            del buffer[: stop + 1]
            return Line(text)
        limit = len(buffer) if stop < 0 else stop + 1
        return self._drop(self._next_start(1, limit), "bytes that are no text")

    def _next_start(self, start: int, limit: int) -> int:
        """Where the next plausible block begins at or after `start`, else `limit`."""
        for found in _START.finditer(self._buffer, start, limit):
            header = _HEADER.match(self._buffer, found.start())
            if header is None:
                if self._partial(found.start()):
                    return found.start()
            elif int(header[0][2:]) <= self.block_most:
                return found.start()
        return limit

    def _partial(self, start: int) -> bool:
        """True when a block begins at `start` and its length is still on the way."""
        tail = bytes(self._buffer[start : start + 11])
        if len(tail) < 2:
            return True
        digits = tail[2:]
        return tail[1:2] in b"123456789" and (not digits or digits.isdigit()) and len(digits) < int(tail[1:2])

    def _drop(self, end: int, why: str, broken_block: bool = False) -> Garbage:
        data = bytes(self._buffer[:end])
        del self._buffer[:end]
        return Garbage(data, why, broken_block)
