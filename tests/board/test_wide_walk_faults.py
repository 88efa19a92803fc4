"""A full scan of 64 channels on a line with faults: its reply is long, and a session may begin anew meanwhile."""

import random
from collections import Counter
from functools import cache

from tester.board.client import Board
from tester.board.recording import Wire
from tester.board.session import CLOSE_S, OPEN_S, SLICE_S
from tester.errors import BoardError
from tests.support.faulty import KINDS, TOWARDS_BOARD, Fault, FaultyLink
from tests.support.virtual import VirtualBench

CHANNELS = range(1, 65)
LEADS = {c: f"D-{c}" for c in range(1, 33)} | {c: f"H-{c - 32}" for c in range(33, 65)}
JOINED = {c: 33 + 5 * c % 32 for c in range(1, 29)}  # D channel -> H channel; four of each side are lone
OTHERS = {c: 33 + 7 * c % 32 for c in range(1, 33)}
NONCE = 0x2222_4321
WALK_REQUEST, WALK_REPLY = 8, 6  # their numbers in a session without faults; two of the voltage check come before
MARGIN_S = 0.05


def bench(joined: dict[int, int]) -> VirtualBench:
    links = [{"a": LEADS[a], "b": LEADS[b], "ohms": 0.2} for a, b in joined.items()]
    return VirtualBench({"link": links}, LEADS)


def rows_of(joined: dict[int, int]) -> tuple[int, ...]:
    """Row of each driven channel: itself and its partner."""
    both = joined | {b: a for a, b in joined.items()}
    return tuple(1 << c - 1 | (1 << both[c] - 1 if c in both else 0) for c in CHANNELS)


class _OneOtherByte(FaultyLink):
    """The first walk reaches the board as a sound request for other channels, and so does its answer the host."""

    spoiled = 0

    def write(self, data: bytes) -> None:
        if b"SCAN:WALK?" in data and not self.spoiled:
            self.spoiled += 1
            data = data.replace(b"(@1:64),(@1:64)", b"(@1:24),(@1:64)")
        super().write(data)


def test_a_walk_of_64_channels_goes_on_after_one_request_that_the_board_read_otherwise():
    link = _OneOtherByte(bench(JOINED), random.Random(1), [])
    with Board(Wire(link, link.clock, None, lambda: NONCE)) as board:
        assert board.walk(CHANNELS, CHANNELS).rows == rows_of(JOINED)
    assert link.spoiled == board.troubles.damaged == 1


@cache
def archive() -> dict[bytes, bytes]:
    """Replies to the same requests on another harness."""
    kept: dict[bytes, bytes] = {}

    class Keeper(FaultyLink):
        def _collect(self) -> None:
            if self._bench.line.to_host:
                kept[self.mangler.last_line] = bytes(self._bench.line.to_host)
            super()._collect()

    link = Keeper(bench(OTHERS), random.Random(0), [])
    with Board(Wire(link, link.clock, None, lambda: 0x7777_4321)) as board:
        assert board.walk(CHANNELS, CHANNELS).rows == rows_of(OTHERS)
    return kept


def walked(seed: int, kind: str, before: int) -> tuple[str, set[str]]:
    """What came of one full scan with a fault so many messages before its walk, and whether it struck.

    Asserts that no row is wrong, that it ends in time, and that nothing stays driven.
    """
    dice = random.Random(f"wide {seed}")
    there = bench(JOINED)
    walk = WALK_REQUEST if kind in TOWARDS_BOARD else WALK_REPLY
    link = FaultyLink(there, dice, [Fault(kind, walk - before)], archive())
    start = link.clock()
    ended = "right"
    try:
        with Board(Wire(link, link.clock, None, lambda: NONCE + (seed << 16))) as board:
            assert board.walk(CHANNELS, CHANNELS).rows == rows_of(JOINED)
            ended = "mended" if board.troubles.any else "right"
    except BoardError:
        ended = "aborted"
    assert link.clock() - start < OPEN_S + 3 * SLICE_S + CLOSE_S + MARGIN_S
    there.run(1.0)
    assert not there.board.trace.driven() and not there.board.pump.armed
    return ended, link.mangler.struck


def test_a_walk_of_64_channels_under_each_kind_of_fault_is_right_or_ends_in_time():
    ends = Counter[str]()
    for seed in range(20):
        kind = KINDS[seed % len(KINDS)]
        ended, struck = walked(seed, kind, before=seed // len(KINDS))
        assert struck == {kind}, seed
        assert (ended == "aborted") == (kind == "vanish"), (seed, kind, ended)
        ends[ended] += 1
    assert ends["mended"] >= len(KINDS), ends
