"""Replies byte by byte, by the table in section 1 of protocol.md."""

from __future__ import annotations

import struct
import zlib

NONCE = 0xDEADBEEF

Vector = dict[str, object]


def payload(kind: str, seq: int, unit: str, body: bytes, ms: int = 1000, state: int = 3, nonce: int = NONCE) -> bytes:
    """Payload of a reply, by the table in section 1 of protocol.md."""
    check = zlib.crc32(struct.pack("<I", nonce) + unit.encode())
    head = struct.pack("<BBHIIBBH", 1, ord(kind), seq, check, ms, state, 0, len(body))
    return head + body + struct.pack("<I", zlib.crc32(head + body))


def block(data: bytes) -> bytes:
    """`#4dddd`, data, line feed."""
    return b"#4%04d" % len(data) + data + b"\n"


def exchange(name: str, kind: str, unit: str, body: bytes, **values: object) -> Vector:
    """One request with its whole reply and what the reply means."""
    seq = int(unit.split(" ", 1)[1].split(",")[0])
    ms, state = 1000 + seq, 3
    data = payload(kind, seq, unit, body, ms, state)
    return {
        "name": name,
        "nonce": NONCE,
        "request": unit,
        "kind": kind,
        "seq": seq,
        "ms": ms,
        "state": state,
        "body": body.hex(),
        "reply": block(data).hex(),
        "values": values,
    }


def rows(read: int, *row: int) -> bytes:
    """Row bytes, least significant bit first."""
    width = (read + 7) // 8
    return b"".join(r.to_bytes(width, "little") for r in row)
