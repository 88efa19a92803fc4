"""Long fuzzing of everything that reads what a board sends. Seeds 0 to N-1; a failing one becomes a test."""

import time
from collections import Counter

import pytest

from tester.board.recording import Recorder
from tests.board.test_recording import record
from tests.support import reply_fuzz

STREAMS, BODIES, RECORDINGS = 60_000, 100_000, 4_000


@pytest.mark.campaign
@pytest.mark.timeout(1200)
def test_fuzzed_replies_bodies_and_recordings():
    recorder = Recorder()
    record(recorder)
    text = recorder.text()
    print()
    for name, count, call in (
        ("reply streams", STREAMS, reply_fuzz.read_stream),
        ("bodies", BODIES, reply_fuzz.decode_body),
        ("recordings", RECORDINGS, lambda seed, counts: reply_fuzz.read_recording(seed, text, counts)),
    ):
        counts: Counter[str] = Counter()
        start = time.monotonic()
        for seed in range(count):
            call(seed, counts)
        print(f"{name}: seeds 0 to {count - 1}, {time.monotonic() - start:.0f} s, {dict(sorted(counts.items()))}")
        assert len(counts) > 1
