"""The whole virtual board at work: firmware, chips, circuit."""

from __future__ import annotations

import struct

from tests.support.virtual import VirtualBench

LINKS = {"link": [{"a": "D-1", "b": "H-1"}, {"a": "D-2", "b": "~s"}, {"a": "~s", "b": "H-2"}, {"a": "~s", "b": "H-3"}]}
LEADS = {1: "D-1", 2: "D-2", 33: "H-1", 34: "H-2", 64: "H-3"}


def lease(bench: VirtualBench) -> None:
    bench.ask("SYST:SYNC? 1,7")
    bench.ask("SYST:LEAS? 2,7,500")
    for span in ("1:48", "49:64"):
        assert bench.ask(f"MEAS:VOLT? 3,(@{span})")[7:8] == b"V"


def walk(bench: VirtualBench) -> list[set[int]]:
    """For each driven channel 1..63 the channels 1..64 that read low."""
    reply = bench.ask("SCAN:WALK? 4,(@1:63),(@1:64)")
    payload = reply[2 + int(reply[1:2]) : -1]
    reads, drives = struct.unpack_from("<HH", payload, 16)
    assert (reads, drives) == (64, 63)
    rows = [int.from_bytes(payload[20 + 8 * n : 28 + 8 * n], "little") for n in range(63)]
    return [{c + 1 for c in range(64) if row >> c & 1} for row in rows]


def test_a_walk_sees_links_and_splices_as_wired_and_nothing_else():
    bench = VirtualBench(LINKS, LEADS)
    lease(bench)
    rows = walk(bench)
    circuits = [{1, 33}, {2, 34, 64}]
    for channel, row in enumerate(rows, 1):
        own = next((c for c in circuits if channel in c), {channel})
        assert row | {channel} == own


def test_after_a_walk_no_channel_drives():
    bench = VirtualBench(LINKS, LEADS)
    lease(bench)
    walk(bench)
    assert bench.board.trace.driven() == set()
