"""A link that plays a list of (request, reply) pairs, on a clock of its own. Left-over pairs are the test's business.

Payloads are built here with struct and zlib alone, independent of the product's codec.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Callable, Sequence

from tester.errors import BoardError

Reply = bytes | Callable[[bytes, int], bytes]  # bytes, or made from the request line and the session's number


def payload(
    kind: str, seq: int, unit: bytes, body: bytes = b"", *, nonce: int = 0, ms: int = 1000, state: int = 1
) -> bytes:
    """A frame as hwspec/protocol.md lays it out, check sum included."""
    asked = zlib.crc32(struct.pack("<I", nonce) + unit)
    head = struct.pack("<BBHIIBBH", 1, ord(kind), seq, asked, ms, state, 0, len(body))
    return head + body + struct.pack("<I", zlib.crc32(head + body))


def block(data: bytes) -> bytes:
    """A definite-length block with its line end."""
    length = str(len(data))
    return f"#{len(length)}{length}".encode() + data + b"\n"


class Clock:
    """Seconds that pass only when told."""

    def __init__(self) -> None:
        self.now = 100.0

    def __call__(self) -> float:
        return self.now


class PairLink:
    """Expects what is sent, line by line, and answers from the list. Reading nothing lets the time-out pass."""

    def __init__(self, pairs: Sequence[tuple[bytes | None, Reply]], clock: Clock | None = None) -> None:
        self.address = "pairs"
        self.clock = clock or Clock()
        self.left = list(pairs)
        self.sent: list[bytes] = []
        self.waiting = bytearray()
        self.closed = False
        self.nonce = 0

    def write(self, data: bytes) -> None:
        if self.closed:
            raise BoardError("closed", code="port")
        for line in data.split(b"\n"):
            if not line:
                continue
            self.sent.append(line)
            if not self.left:
                raise AssertionError(f"not in the list: {line!r}")
            wanted, reply = self.left.pop(0)
            if wanted is not None and line != wanted:
                raise AssertionError(f"sent {line!r}, the list has {wanted!r}")
            if line.startswith(b"SYST:SYNC?"):
                self.nonce = int(line.split(b",")[1])
            self.waiting += reply(line, self.nonce) if callable(reply) else reply

    def tell(self, *words: str) -> bool:
        return False

    def read(self, timeout_s: float) -> bytes:
        if self.closed:
            raise BoardError("closed", code="port")
        if not self.waiting:
            self.clock.now += timeout_s
            return b""
        self.clock.now += 0.0001
        data = bytes(self.waiting)
        self.waiting.clear()
        return data

    def close(self) -> None:
        self.closed = True


def seq_of(line: bytes) -> int:
    """Sequence number of a request."""
    return int(line.split(b" ")[1].split(b",")[0])


def answer(
    kind: str, body: bytes | Callable[[bytes], bytes] = b"", *, ms: int = 1000, state: int = 1
) -> Callable[[bytes, int], bytes]:
    """A reply that fits whatever request it gets."""

    def reply(line: bytes, nonce: int) -> bytes:
        filled = body(line) if callable(body) else body
        return block(payload(kind, seq_of(line), line, filled, nonce=nonce, ms=ms, state=state))

    return reply


STATE = (
    b"build=full;channels=64;cards=1;can=scan,voltage,resistance,isolation,watch;serial=A1;firmware=0.1.0;protocol=1.0"
)


def opening(state: bytes = STATE) -> list[tuple[bytes | None, Reply]]:
    """Pairs of a sound opening: from the tables of hwspec/protocol.md, by hand."""
    return [
        (b"*IDN?", b"Loomwright,Scanboard Full,A1,0.1.0\n"),
        (b"*CLS", b""),
        (None, answer("Y", lambda line: struct.pack("<IBB", int(line.split(b",")[1]), 1, 0))),
        (None, answer("S", state)),
        (None, answer("L", struct.pack("<H", 500))),
    ]
