"""Bytes that arrive and are no answer, blocks and check sums as such."""

from __future__ import annotations

import struct
import zlib

from hwspec.vectors.framing import NONCE, Vector, block, payload


def damaged() -> list[Vector]:
    """Replies that must not be taken for the answer. `wrong`: what a reader finds first."""
    unit, seq = "SYST:LEAS? 40,3735928559,500", 40
    good = block(payload("L", seq, unit, struct.pack("<H", 500)))
    flipped = bytearray(good)
    flipped[6 + 16] ^= 0x01
    length = bytearray(good)
    length[5] = ord("3")
    version = bytearray(payload("L", seq, unit, struct.pack("<H", 500)))
    version[0] = 2
    version[-4:] = struct.pack("<I", zlib.crc32(version[:-4]))
    body = bytearray(payload("L", seq, unit, struct.pack("<H", 500)))
    body[14] = 3
    body[-4:] = struct.pack("<I", zlib.crc32(body[:-4]))

    def other(**change: object) -> bytes:
        keywords: dict[str, object] = {"kind": "L", "seq": seq, "unit": unit, "body": struct.pack("<H", 500)}
        keywords.update(change)
        return block(payload(**keywords))  # type: ignore[arg-type]

    cases = [
        ("a bit flipped in the body", bytes(flipped), "crc"),
        ("a byte lost", good[:20] + good[21:], "crc"),
        ("a byte doubled", good[:20] + good[19:20] + good[20:], "crc"),
        ("length digit damaged", bytes(length), "crc"),
        ("cut off", good[:-9], "incomplete"),
        ("cut off inside the length", good[:4], "incomplete"),
        ("length is no number", b"#4x022" + good[6:], "noise"),
        ("reply longer than any", b"#9000999999" + good[6:], "noise"),
        ("frame version of the future", block(bytes(version)), "version"),
        ("body length inside disagrees", block(bytes(body)), "length"),
        ("another sequence number (late reply)", other(seq=39), "seq"),
        ("same number, reply of an earlier session", other(nonce=0x01020304), "request"),
        ("same number, the request was damaged on its way", other(unit="SYST:LEAS? 40,3735928559,400"), "request"),
        ("chatter of another program", b"AT\r\r\nERROR\r\n", "noise"),
    ]
    common: Vector = {"nonce": NONCE, "request": unit, "seq": seq}
    payload_hex = good[6:-1].hex()
    found = [
        ("chatter, a late reply, then the answer", b"OK\r\n#" + other(seq=39) + good),
        ("a damaged copy, then the answer", bytes(flipped) + good),
        ("cut off, then the answer", good[:-9] + good),
    ]
    return [{"name": n} | common | {"reply": r.hex(), "wrong": w} for n, r, w in cases] + [
        {"name": n} | common | {"reply": r.hex(), "wrong": None, "payload": payload_hex} for n, r in found
    ]


def blocks() -> list[Vector]:
    """Definite-length blocks as such (IEEE 488.2)."""
    eighty, thirteen, kilo = bytes(range(80)), b"\n#4\x03 line end", bytes(range(256)) * 4
    standard = "IEEE 488.2, definite-length response data"
    return [
        {"name": "two bytes", "bytes": b"#12AB".hex(), "payload": b"AB".hex(), "source": standard},
        {
            "name": "leading zeros",
            "bytes": (b"#800000080" + eighty).hex(),
            "payload": eighty.hex(),
            "source": standard,
        },
        {
            "name": "LF, # and 0x03 are data",
            "bytes": (b"#213" + thirteen).hex(),
            "payload": thirteen.hex(),
            "source": standard,
        },
        {"name": "1024 bytes", "bytes": (b"#41024" + kilo).hex(), "payload": kilo.hex(), "source": standard},
        {
            "name": "line end is data, one byte missing",
            "bytes": b"#15ABC\n".hex(),
            "payload": None,
            "source": standard,
        },
        {"name": "empty", "bytes": b"#10".hex(), "payload": "", "source": "IEEE 488.2, computed from rule"},
        {"name": "nothing yet", "bytes": b"#".hex(), "payload": None, "source": "IEEE 488.2, computed from rule"},
    ]


def checks() -> list[Vector]:
    """CRC-32/ISO-HDLC."""
    return [
        {"data": b"123456789".hex(), "crc": 0xCBF43926, "source": "docs.rs wire-codec 1.2.0 crc32"},
        {"data": "", "crc": 0, "source": "docs.rs wire-codec 1.2.0 crc32"},
    ]
