"""Payload bytes to frames. No input or output; every check that makes a reply believable is here.

Payload, little-endian (hwspec/protocol.md): u8 version, u8 kind, u16 sequence number, u32 CRC-32 of session
number and request, u32 board milliseconds, u8 state, u8 zero, u16 body length, body, u32 CRC-32 of all bytes before it.
"""

from __future__ import annotations

import struct
from collections.abc import Sequence
from dataclasses import dataclass, fields, replace

from tester.board.bodies import BODIES
from tester.board.frames import Frame
from tester.board.requests import NONCE_MOST, Request, arguments_of, crc32, unit_crc

FRAME_VERSION = 1
HEAD = struct.Struct("<BBHIIBBH")
FRAMING = HEAD.size + 4


class Damaged(ValueError):
    """A payload that is not what the board sent, or not what this program asked for. The text says why."""


@dataclass(frozen=True)
class Head:
    """Fields in front of a body."""

    kind: str
    seq: int
    request_crc: int
    ms: int
    state: int
    body: bytes


def check(payload: bytes) -> str | None:
    """What is wrong with a payload as such, None when it is whole. Says nothing of whose reply it is."""
    if len(payload) < FRAMING:
        return f"a frame of {len(payload)} bytes; the shortest has {FRAMING}"
    stated = int.from_bytes(payload[-4:], "little")
    found = crc32(payload[:-4])
    if stated != found:
        return f"check sum {stated:08X} stated, {found:08X} found"
    length = HEAD.unpack_from(payload)[7]
    if length != len(payload) - FRAMING:
        return f"body of {length} bytes stated, {len(payload) - FRAMING} found"
    return None


def head(payload: bytes) -> Head:
    """Header and body of a whole payload. Raises Damaged."""
    wrong = check(payload)
    if wrong:
        raise Damaged(wrong)
    version, kind, seq, request_crc, ms, state, _, _ = HEAD.unpack_from(payload)
    if version != FRAME_VERSION:
        raise Damaged(f"frame version {version}; this program reads version {FRAME_VERSION}")
    return Head(chr(kind), seq, request_crc, ms, state, payload[HEAD.size : -4])


def answers(found: Head, request: Request, nonce: int) -> bool:
    """True when this reply belongs to this request: same number, same session, and the board saw the same bytes."""
    return found.seq == request.seq and found.request_crc == unit_crc(nonce, request.unit)


def decode(payload: bytes, unit: bytes, nonce: int) -> Frame:
    """The frame of one payload, with the request (without line end) that it answers and the number of the session.

    Raises Damaged when the payload is not whole, of another version, of an unknown kind, answers other bytes than
    `unit`, or has a body that does not fit the request.
    """
    found = head(payload)
    if found.request_crc != unit_crc(nonce, unit):
        raise Damaged(
            f"the reply is of another session, or to another request than {unit.decode('ascii', 'replace')!r}"
        )
    return frame_of(found, payload, unit, nonce)


def frame_of(found: Head, payload: bytes, unit: bytes, nonce: int) -> Frame:
    """The frame behind a header that is believed already. Raises Damaged."""
    reader = BODIES.get(found.kind)
    if reader is None:
        raise Damaged(f"reply of unknown kind {found.kind!r}")
    try:
        common = (found.seq, found.ms, found.state, (payload,), (unit,), (nonce,))
        return reader(common, found.body, arguments_of(unit))
    except (ValueError, IndexError, TypeError, struct.error) as error:
        raise Damaged(f"body of kind {found.kind!r} does not fit its request: {error}") from error


def rebuild(raw: Sequence[bytes], requests: Sequence[bytes], nonces: Sequence[int]) -> Frame:
    """The frame of stored payloads, their requests and session numbers, slices joined. Raises Damaged."""
    if not raw or not len(raw) == len(requests) == len(nonces):
        raise Damaged(f"{len(raw)} payloads for {len(requests)} requests and {len(nonces)} session numbers")
    for nonce in nonces:
        if type(nonce) is not int or not 0 <= nonce <= NONCE_MOST:
            raise Damaged(f"session number {str(nonce)[:40]!r}; it is a whole number from 0 to {NONCE_MOST}")
    return join([decode(*each) for each in zip(raw, requests, nonces, strict=True)])


def join(parts: Sequence[Frame]) -> Frame:
    """One frame from the slices of one question. Raises Damaged when they are of different kinds.

    What is asked one by one (driven channels, patterns, checked channels) adds up; the channels that were read
    must be the same in each slice.
    """
    first = parts[0]
    if len(parts) == 1:
        return first
    if any(type(part) is not type(first) for part in parts):
        raise Damaged("slices of different kinds")
    same = {"read"}
    change: dict[str, object] = {"seq": parts[-1].seq, "ms": parts[-1].ms, "state": parts[-1].state}
    for field in fields(first):
        if field.name in change:
            continue
        values = [getattr(part, field.name) for part in parts]
        if field.name in same:
            if any(value != values[0] for value in values):
                raise Damaged("slices that read different channels")
        elif isinstance(values[0], tuple):
            change[field.name] = tuple(item for value in values for item in value)
        else:
            raise Damaged(f"replies of kind {type(first).__name__} come in one piece")
    return replace(first, **change)  # type: ignore[arg-type]
