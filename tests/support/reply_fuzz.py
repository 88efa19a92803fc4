"""Seeded fuzzing of everything that reads what a board sends: the reader, the codec, stored frames, recordings."""

from __future__ import annotations

import json
import random
from collections import Counter
from functools import cache

from tester.board import codec
from tester.board.reader import BLOCK_MOST, Block, Garbage, Line, ReplyReader
from tester.board.recording import ReplayWire
from tester.errors import BoardError, InputError
from tester.shipped import shipped
from tests.support.pairs import block, payload


@cache
def genuine() -> list[dict[str, object]]:
    """Exchanges of the golden vectors."""
    return json.loads(shipped("hwspec", "vectors", "exchanges.json").read_text(encoding="utf-8"))


def mutated(dice: random.Random, data: bytes) -> bytes:
    """A few bytes flipped, lost, doubled, put in, or pieces moved."""
    changed = bytearray(data)
    for _ in range(dice.choice((1, 1, 2, 4, 12))):
        at = dice.randrange(len(changed) + 1)
        match dice.randrange(6):
            case 0 if changed:
                changed[at % len(changed)] ^= 1 << dice.randrange(8)
            case 1:
                del changed[at : at + dice.randrange(1, 9)]
            case 2:
                changed[at:at] = dice.randbytes(dice.randrange(1, 9))
            case 3:
                changed[at:at] = dice.choice((b"#", b"#9999999999", b"#40022", b"\n", b"#0", b"#565535", b"\r\n"))
            case 4:
                end = at + dice.randrange(40)
                changed[at:at] = changed[at:end]
            case 5:
                changed += dice.choice((bytes(changed[:40]), b"", bytes(changed[::-1][:20])))
    return bytes(changed)


def read_stream(seed: int, counts: Counter[str]) -> None:
    """A stream of genuine and mutated replies in random pieces. Only genuine payloads may come out as blocks."""
    dice = random.Random(f"stream {seed}")
    known, stream = set(), b""
    for _ in range(dice.randrange(1, 6)):
        reply = bytes.fromhex(str(dice.choice(genuine())["reply"]))
        known.add(reply[6:-1])
        stream += mutated(dice, reply) if dice.random() < 0.7 else reply
    reader = ReplyReader(codec.check)
    reader.block_most = dice.choice((64, 300, 2084, BLOCK_MOST))
    given, at = 0, 0
    while at < len(stream):
        size = dice.randrange(1, 200)
        reader.receive(stream[at : at + size])
        at += size
        assert reader.pending <= BLOCK_MOST + 5000
        given += _drained(reader, known, counts)
    while (left := reader.give_up()) is not None:
        given += len(left.data)
        given += _drained(reader, known, counts)
    assert reader.pending == 0 and given <= len(stream)


def _drained(reader: ReplyReader, known: set[bytes], counts: Counter[str]) -> int:
    given = 0
    while (event := reader.next_event()) is not None:
        counts[type(event).__name__] += 1
        if isinstance(event, Block):
            assert event.payload in known, event
            given += len(event.payload)
        elif isinstance(event, Garbage):
            assert event.data
            given += len(event.data)
        else:
            assert isinstance(event, Line)
            given += len(event.text)
    return given


def decode_body(seed: int, counts: Counter[str]) -> None:
    """A body of any bytes under a right check sum: a frame or `Damaged`, nothing else."""
    dice = random.Random(f"body {seed}")
    vector = dice.choice(genuine())
    unit = str(vector["request"]).encode("ascii")
    kind = str(vector["kind"]) if dice.random() < 0.8 else chr(dice.randrange(256))
    body = (
        mutated(dice, bytes.fromhex(str(vector["body"]))) if dice.random() < 0.8 else dice.randbytes(dice.randrange(60))
    )
    if dice.random() < 0.2:
        unit = mutated(dice, unit).replace(b"\n", b"")
    raw = payload(kind, 1, unit, body[:2064], nonce=7)
    try:
        frame = codec.decode(raw, unit, 7)
        assert codec.rebuild(frame.raw, frame.requests, frame.nonces) == frame
        counts["frame"] += 1
    except codec.Damaged:
        counts["damaged"] += 1


def read_recording(seed: int, text: str, counts: Counter[str]) -> None:
    """A changed recording: read and played to its end, or one InputError or BoardError."""
    dice = random.Random(f"recording {seed}")
    changed = mutated(dice, text.encode("ascii")).decode("latin-1")
    try:
        wire = ReplayWire(changed)
        while wire.left:
            wire.receive(0.0)
        counts["read"] += 1
    except (InputError, BoardError) as error:
        counts[type(error).__name__] += 1


def oversized() -> list[bytes]:
    """Streams that want to take memory or time."""
    good = block(payload("O", 1, b"OUTP:OFF? 1"))
    return [b"#" * 200_000, b"#565535" * 20_000, b"#9" * 100_000, b"\xff" * 1_000_000, b"a" * 1_000_000, good * 20_000]
