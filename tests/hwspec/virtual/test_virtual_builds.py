"""Builds of the board at work under the firmware: badly soldered ones, the starter board, a harness that is damp."""

from __future__ import annotations

import struct

import pytest

from hwspec.virtual.defects import apply
from hwspec.virtual.files import BadFile
from hwspec.virtual.parts import Parts
from tester.board.codec import decode
from tester.board.ohms import isolation, resistance
from tests.support.virtual import VirtualBench

EXPANDERS, MULTIPLEXERS, CELL, CROSSTALK = range(4)


def ready(bench: VirtualBench, channels: int = 64) -> VirtualBench:
    """Session, lease, voltage checked."""
    bench.ask("SYST:SYNC? 1,7")
    bench.ask("SYST:LEAS? 2,7,500")
    for first in range(1, channels + 1, 48):
        bench.ask(f"MEAS:VOLT? 3,(@{first}:{min(channels, first + 47)})")
    return bench


def body(reply: bytes, kind: str) -> bytes:
    """Body of a block reply of that kind."""
    payload = reply[6:-1]
    assert payload[1:2] == kind.encode(), payload
    return payload[16:-4]


def self_test(bench: VirtualBench, part: int) -> tuple[bool, dict[int, int]]:
    """Passed or not, and what the self-test names."""
    data = body(bench.ask(f"DIAG:SELF? 4,{part}"), "F")
    rows = [struct.unpack_from("<Hi", data, 4 + 6 * n) for n in range(int.from_bytes(data[2:4], "little"))]
    return bool(data[1]), dict(rows)


@pytest.mark.parametrize("seed", [0, 1])
def test_a_good_board_passes_each_part_of_the_self_test(seed):
    bench = ready(VirtualBench(seed=seed))
    for part in (EXPANDERS, MULTIPLEXERS, CELL, CROSSTALK):
        passed, named = self_test(bench, part)
        assert passed, (part, named)
    assert self_test(bench, CELL)[1][0] == pytest.approx(10_000, abs=100)


@pytest.mark.parametrize(
    ("defect", "part", "named"),
    [
        ("reference 12.5", CELL, 0),
        ("open-mux S- 21", MULTIPLEXERS, 1021),
        ("open-mux force 37", MULTIPLEXERS, 2037),
        ("bridge 40 41", CROSSTALK, 40),
    ],
)
def test_a_badly_soldered_board_fails_the_part_of_the_self_test_that_sees_it(defect, part, named):
    passed, found = self_test(ready(VirtualBench(defects=(defect,))), part)
    assert not passed
    assert named in found


def test_a_channel_that_never_reaches_the_voltage_check_is_not_driven():
    reply = ready(VirtualBench(defects=("open-mux S+ 5",))).ask(f"DIAG:SELF? 4,{MULTIPLEXERS}")
    assert body(reply, "E")[:2] == struct.pack("<h", -240)
    assert b"on channel 5" in reply


def test_a_dead_expander_or_converter_is_told_when_the_board_is_asked_to_drive():
    for defect, words in (("dead-expander 2", b"expander"), ("no-converter", b"-240")):
        bench = VirtualBench(defects=(defect,))
        bench.ask("SYST:SYNC? 1,7")
        bench.ask("SYST:LEAS? 2,7,500")
        bench.ask("MEAS:VOLT? 3,(@1:4)")
        error = bench.ask("SYST:ERR?")
        assert error.startswith(b"-240")
        assert words in error


def test_a_pin_without_a_joint_is_seen_by_the_driver_check_on_its_channel_only():
    bench = ready(VirtualBench(defects=("open-pin 17",)))
    data = body(bench.ask("DIAG:DRIV? 4,(@1:64)"), "D")
    assert [flags for channel, flags in enumerate(data[2:], 1) if channel != 17] == [3] * 63
    payload = bench.ask("SCAN:PATT? 5,(@1:64),(@1)")
    assert payload[7:8] == b"P"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("open-pn 3", 'unknown defect "open-pn"; did you mean "open-pin"?'),
        ("open-pin", "write open-pin CHANNEL"),
        ("open-pin 65", "write open-pin CHANNEL"),
        ("open-mux X 3", "write open-mux S+|S-|force CHANNEL"),
        ("bridge 3", "write bridge CHANNEL CHANNEL"),
        ("reference nothing", "write reference OHM"),
        ("no-converter 1", "write no-converter"),
        ("", "known are: open-pin"),
    ],
)
def test_a_defect_that_does_not_exist_is_told_with_the_right_form(text, words):
    with pytest.raises(BadFile) as wrong:
        apply(Parts.nominal(64), [text])
    assert words in str(wrong.value)


def rows(reply: bytes) -> list[set[int]]:
    """Rows of a walk as sets of channels."""
    data = body(reply, "W")
    reads, drives = struct.unpack_from("<HH", data)
    wide = (reads + 7) // 8
    return [
        {c + 1 for c in range(reads) if int.from_bytes(data[4 + wide * n : 4 + wide * (n + 1)], "little") >> c & 1}
        for n in range(drives)
    ]


@pytest.mark.parametrize("seed", [0, 1, 2])
@pytest.mark.parametrize("worst", [False, True])
def test_the_starter_board_scans_20_channels_on_bare_pins(seed, worst):
    links = [
        {"a": "D-1", "b": "H-1"},
        {"a": "D-2", "b": "~s"},
        {"a": "~s", "b": "H-2"},
        {"a": "~s", "b": "H-3", "ohms": 5},
    ]
    leads = {1: "D-1", 2: "D-2", 11: "H-1", 12: "H-2", 20: "H-3"}
    bench = VirtualBench({"link": links}, leads, build="starter", seed=seed, worst_leakage=worst)
    assert b"Scanboard Starter" in bench.ask("*IDN?")
    ready(bench, 20)
    circuits = [{1, 11}, {2, 12, 20}]
    for channel, row in enumerate(rows(bench.ask("SCAN:WALK? 4,(@1:20),(@1:20)")), 1):
        assert row | {channel} == next((c for c in circuits if channel in c), {channel})
    assert bench.board.trace.driven() == set()


@pytest.mark.parametrize("seed", [0, 1])
def test_a_board_with_leakage_at_the_limits_still_scans_64_channels_right(seed):
    links = [{"a": f"D-{n}", "b": f"H-{n}"} for n in range(1, 21)]
    leads = {n: f"D-{n}" for n in range(1, 21)} | {40 + n: f"H-{n}" for n in range(1, 21)}
    bench = ready(VirtualBench({"link": links}, leads, seed=seed, worst_leakage=True))
    for channel, row in enumerate(rows(bench.ask("SCAN:WALK? 4,(@1:63),(@1:64)")), 1):
        other = channel + 40 if channel <= 20 else channel - 40 if 41 <= channel <= 60 else channel
        assert row | {channel} == {channel, other}


def test_damp_between_two_circuits_shows_as_leakage_and_its_weak_source_stops_no_scan():
    damp = {
        "link": [{"a": "D-1", "b": "H-1"}, {"a": "D-2", "b": "H-2"}],
        "leak": [{"a": "D-1", "b": "D-2", "ohms": 5e6}],
        "voltage": [{"at": "D-1", "to": "D-2", "volts": 0.3, "ohms": 2e6}],
    }
    bench = ready(VirtualBench(damp, {1: "D-1", 2: "D-2", 33: "H-1", 34: "H-2"}))
    walked = rows(bench.ask("SCAN:WALK? 4,(@1,2,33,34),(@1:64)"))
    assert [row | {c} for row, c in zip(walked, (1, 2, 33, 34), strict=True)] == [{1, 33}, {2, 34}, {1, 33}, {2, 34}]
    request = "MEAS:ISOL? 5,2,(@1)"
    frame = decode(bench.ask(request)[6:-1], request.encode(), 7)
    assert isolation(frame).ohms == pytest.approx(5e6 * 2e6 / 7e6, rel=0.25)


def test_a_strong_source_refuses_the_scan_with_volts_and_channel():
    bench = ready(VirtualBench({"voltage": [{"at": "D-2", "volts": 12.6}]}, {1: "D-1", 2: "D-2"}))
    reply = bench.ask("SCAN:WALK? 4,(@1:4),(@1:64)")
    assert body(reply, "E")[:2] == struct.pack("<h", -240)
    assert b"channel 2" in reply
    assert bench.board.trace.driven() == set()


@pytest.mark.parametrize("seed", range(4))
def test_a_few_boards_read_ohms_inside_the_promise(seed):
    """Short form of the accuracy campaign."""
    bench = VirtualBench({}, {5: "D-1", 60: "H-1"}, seed=seed)
    for true in (0.05, 2.0, 20.0):
        bench.plug({"link": [{"a": "D-1", "b": "H-1", "ohms": true}]})
        ready(bench)
        request = "MEAS:RES? 4,5,60"
        frame = decode(bench.ask(request)[6:-1], request.encode(), 7)
        assert abs(resistance(frame).ohms - true) <= 0.02 * true + 0.05
