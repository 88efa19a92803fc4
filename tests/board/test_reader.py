"""Bytes in, events out: whole, split, late, short, doubled, damaged."""

import random

import pytest

from tester.board import codec
from tester.board.reader import Block, Garbage, Line, ReplyReader
from tests.support.pairs import block, payload

UNIT = b"SCAN:WALK? 7,(@1:3),(@1:3)"
GOOD = payload("W", 7, UNIT, b"\x03\x00\x03\x00\x01\x02\x04")


def events(reader: ReplyReader, data: bytes = b"") -> list[object]:
    reader.receive(data)
    found = []
    while (event := reader.next_event()) is not None:
        found.append(event)
    return found


def test_published_block_examples_come_out_whole():
    # IEEE 488.2 definite-length block; lengths from examples in public instrument manuals
    for head, length, start in ((b"#12", 2, 3), (b"#800000080", 80, 10), (b"#213", 13, 4), (b"#41024", 1024, 6)):
        data = bytes(range(256)) * 4
        sent = head + data[:length]
        assert len(head) == start
        assert events(ReplyReader(), sent + b"\n") == [Block(data[:length])]
    assert events(ReplyReader(), b"#12AB") == [Block(b"AB")]


def test_a_block_cut_short_waits_and_is_then_given_up_as_161():
    # "#15ABC" and a line end: the line end is data byte 4 of 5 (computed from the IEEE 488.2 rule)
    reader = ReplyReader()
    assert events(reader, b"#15ABC\n") == []
    given_up = reader.give_up()
    assert isinstance(given_up, Garbage) and given_up.broken_block
    assert given_up.why == "block incomplete, 4 of 5 bytes (-161)"
    assert reader.pending == 0


def test_lines_and_blocks_alternate_and_empty_lines_are_nothing():
    reader = ReplyReader(codec.check)
    stream = b"\r\nLoomwright,X,1,2\r\n" + block(GOOD) + b'0,"No error"\n' + block(GOOD)
    assert events(reader, stream) == [Line("Loomwright,X,1,2"), Block(GOOD), Line('0,"No error"'), Block(GOOD)]


def test_every_split_of_a_stream_gives_the_same_events():
    stream = b"one\n" + block(GOOD) + b"two\n" + block(GOOD)
    whole = events(ReplyReader(codec.check), stream)
    for cut in range(len(stream)):
        reader = ReplyReader(codec.check)
        assert events(reader, stream[:cut]) + events(reader, stream[cut:]) == whole
    reader = ReplyReader(codec.check)
    assert [event for byte in stream for event in events(reader, bytes([byte]))] == whole


@pytest.mark.parametrize("position", range(len(block(GOOD)) - 1))
def test_one_flipped_bit_anywhere_never_gives_a_block_and_the_next_reply_survives(position: int):
    for bit in range(8):
        damaged = bytearray(block(GOOD))
        damaged[position] ^= 1 << bit
        reader = ReplyReader(codec.check)
        reader.block_most = 300
        found = events(reader, bytes(damaged) + block(GOOD))
        while reader.give_up() is not None:
            found += events(reader)
        blocks = [event for event in found if isinstance(event, Block)]
        assert set(blocks) <= {Block(GOOD)}
        assert len(blocks) <= 1


def test_dropped_and_doubled_bytes_never_give_a_wrong_block():
    for position in range(len(block(GOOD)) - 1):
        sent = block(GOOD)
        for damaged in (
            sent[:position] + sent[position + 1 :],
            sent[:position] + sent[position : position + 1] + sent[position:],
        ):
            reader = ReplyReader(codec.check)
            found = events(reader, damaged + block(GOOD))
            while reader.give_up() is not None:
                found += events(reader)
            assert {event.payload for event in found if isinstance(event, Block)} <= {GOOD}


def test_a_claim_of_more_bytes_than_any_reply_has_is_refused_at_once():
    reader = ReplyReader(codec.check)
    found = events(reader, b"#9999999999" + block(GOOD))
    assert isinstance(found[0], Garbage) and found[0].broken_block
    assert found[-1] == Block(GOOD)


def test_chatter_before_a_block_is_garbage_and_the_block_survives():
    reader = ReplyReader(codec.check)
    found = events(reader, b"AT+GCAP\xff\xfe" + block(GOOD))
    assert found[-1] == Block(GOOD)
    assert all(isinstance(event, Garbage) for event in found[:-1])


def test_an_endless_line_is_cut_and_memory_stays_bounded():
    reader = ReplyReader()
    for _ in range(100):
        events(reader, b"x" * 1000)
        assert reader.pending <= 5096


def test_random_bytes_never_raise_and_nothing_is_given_out_twice_or_lost():
    dice = random.Random(20_240)
    for _ in range(400):
        alphabet = dice.choice([bytes(range(256)), b"#0123456789\n\rAB", b"#19\x00\n"])
        data = bytes(dice.choice(alphabet) for _ in range(dice.randrange(1, 400)))
        reader = ReplyReader(codec.check)
        found = events(reader, data)
        while (given_up := reader.give_up()) is not None:
            found += [given_up, *events(reader)]
        size = sum(len(e.data) if isinstance(e, Garbage) else len(e.text) for e in found if not isinstance(e, Block))
        assert size <= len(data)
        assert reader.pending == 0
        assert not any(isinstance(event, Block) for event in found)
