"""Short seeded fuzzing of the readers; the long form is tests/campaigns/test_reply_fuzz_campaign.py."""

import time
from collections import Counter

import pytest

from tester.board import codec
from tester.board.reader import ReplyReader
from tester.board.recording import Recorder
from tests.board.test_recording import record
from tests.support import reply_fuzz


def test_damaged_streams_give_only_genuine_blocks():
    counts: Counter[str] = Counter()
    for seed in range(1500):
        reply_fuzz.read_stream(seed, counts)
    assert min(counts["Block"], counts["Garbage"], counts["Line"]) > 20, counts


def test_any_body_gives_a_frame_or_says_that_it_is_damaged():
    counts: Counter[str] = Counter()
    for seed in range(1500):
        reply_fuzz.decode_body(seed, counts)
    assert min(counts["frame"], counts["damaged"]) > 50, counts


def test_any_recording_is_read_or_refused():
    recorder = Recorder()
    record(recorder)
    counts: Counter[str] = Counter()
    for seed in range(150):
        reply_fuzz.read_recording(seed, recorder.text(), counts)
    assert counts["InputError"] > 100, counts


@pytest.mark.parametrize("stream", reply_fuzz.oversized(), ids=lambda stream: repr(stream[:7]))
def test_streams_that_want_memory_or_time_get_neither(stream: bytes):
    reader = ReplyReader(codec.check)
    start, most = time.process_time(), 0
    for at in range(0, len(stream), 4096):
        reader.receive(stream[at : at + 4096])
        while reader.next_event() is not None:
            pass
        most = max(most, reader.pending)
    assert most <= 70_000
    assert time.process_time() - start < 5
