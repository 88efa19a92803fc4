"""Recordings: written whole or not at all, played back to the same client, every difference named."""

import json
import struct
from pathlib import Path

import pytest

from tester.board.client import Board
from tester.board.recording import Recorder, ReplayWire
from tester.errors import BoardError, InputError, StoreError
from tests.board.test_client import volts, walk_rows
from tests.support.pairs import PairLink, answer, block, opening, payload, seq_of


def damaged(line: bytes, nonce: int) -> bytes:
    raw = bytearray(block(payload("W", seq_of(line), line, walk_rows(line), nonce=nonce)))
    raw[20] ^= 1
    return bytes(raw)


CLOSING = [(None, answer("O")), (None, answer("L", struct.pack("<H", 0)))]


def record(recorder: Recorder) -> tuple[int, ...]:
    link = PairLink(
        [
            *opening(),
            (None, answer("V", volts)),
            (None, damaged),
            (None, b""),
            (None, answer("W", walk_rows)),
            (None, answer("L", struct.pack("<H", 500))),
            (None, answer("V", volts)),
            (None, answer("W", walk_rows)),
            *CLOSING,
        ]
    )
    link.waiting += b"left over"
    with Board.open("pairs", link=link, clock=link.clock, recorder=recorder) as board:
        rows = board.walk((1, 3), (1, 3)).rows
        link.clock.now += 1.7
        assert board.walk((1, 3), (1, 3)).rows == rows
    assert not link.left
    return rows


def replay(text: str, drive: tuple[int, ...] = (1, 3)) -> tuple[int, ...]:
    wire = ReplayWire(text, "saved.rec")
    with Board(wire) as board:
        rows = board.walk(drive, (1, 3)).rows
        assert board.walk(drive, (1, 3)).rows == rows
        troubles = board.troubles
    wire.finish()
    assert troubles.damaged == 1 and troubles.silent == 1
    return rows


def test_replay_makes_the_same_client_take_the_same_way_with_nonce_and_clock_of_then():
    recorder = Recorder()
    rows = record(recorder)
    assert replay(recorder.text()) == rows == (1, 2)


def test_replay_names_the_first_request_that_differs():
    recorder = Recorder()
    record(recorder)
    lines = recorder.text().split("\n")
    first = next(n for n, line in enumerate(lines, 1) if b"SCAN:WALK".hex() in line)
    with pytest.raises(BoardError, match=rf"saved\.rec, line {first}: then it asked .*\(@1,3\),\(@1,3\)") as caught:
        replay(recorder.text(), drive=(1,))
    assert "now it asks" in caught.value.message
    assert caught.value.code == "replay"


def test_entries_that_nobody_asked_for_are_named():
    recorder = Recorder()
    record(recorder)
    wire = ReplayWire(recorder.text(), "saved.rec")
    Board(wire)
    with pytest.raises(BoardError, match=r"entries from here on were not asked for \(\d+ left\)"):
        wire.finish()


def test_one_changed_byte_anywhere_is_named_by_its_line():
    recorder = Recorder()
    record(recorder)
    text = recorder.text()
    for position in range(0, len(text), 7):
        changed = text[:position] + chr(ord(text[position]) ^ 1) + text[position + 1 :]
        line = text[:position].count("\n") + 1
        with pytest.raises(InputError) as caught:
            ReplayWire(changed, "saved.rec")
        named = int(caught.value.message.split("line ")[1].split(":")[0])
        assert named in (line, line - 1, line + 1) if text[position] in "\n\t" else named == line


def test_a_recording_cut_off_or_of_another_format_is_refused():
    recorder = Recorder()
    record(recorder)
    with pytest.raises(InputError, match="cut off"):
        ReplayWire(recorder.text()[:-5], "saved.rec")
    for wrong, words in (
        ({"format": 2, "kind": "loomwright-recording", "protocol": "1.0"}, "recording format 2"),
        ({"format": 1, "kind": "loomwright-recording", "protocol": "3.1"}, r"protocol 3\.1"),
        ({"kind": "else"}, "not a recording"),
        ([1, 2], "not a recording"),
    ):
        other = Recorder()
        other._line(wrong)
        with pytest.raises(InputError, match=words):
            ReplayWire(other.text(), "saved.rec")
    for entry in (
        ["<", 0.1, "zz"],
        ["?", 0.1, ""],
        ["<", float("nan"), ""],
        ["nonce", 0, "x"],
        ["nonce", 0, -1],
        ["nonce", 0, 2**32],
        ["nonce", 0, True],
        [],
        {"a": 1},
    ):
        other = Recorder()
        other.begin("x")
        other._line(entry)
        with pytest.raises(InputError, match="line 2: not an entry"):
            ReplayWire(other.text(), "saved.rec")


def test_a_file_gets_its_name_only_when_the_run_ended_well(tmp_path: Path):
    path = tmp_path / "run.rec"
    with Recorder(path) as recorder:
        record(recorder)
        assert not path.exists()
    assert [entry.name for entry in tmp_path.iterdir()] == ["run.rec"]
    assert replay(path.read_text()) == (1, 2)
    assert ReplayWire.load(path).left > 10
    with pytest.raises(KeyError), Recorder(tmp_path / "other.rec"):
        raise KeyError
    assert [entry.name for entry in tmp_path.iterdir()] == ["run.rec"]


def test_bad_recording_files_are_refused_without_a_traceback(tmp_path: Path):
    with pytest.raises(InputError, match="cannot be read: Is a directory"):
        ReplayWire.load(tmp_path)
    with pytest.raises(InputError, match="cannot be read: No such file"):
        ReplayWire.load(tmp_path / "none")
    (tmp_path / "latin").write_bytes(b"\xe9\xff")
    with pytest.raises(InputError, match="byte 0 is not text"):
        ReplayWire.load(tmp_path / "latin")
    with pytest.raises(StoreError, match="cannot be written"):
        Recorder(tmp_path / "no folder" / "x.rec")


def test_every_byte_both_ways_is_in_the_recording():
    recorder = Recorder()
    record(recorder)
    entries = [json.loads(line.split("\t")[0]) for line in recorder.text().splitlines()][1:]
    sent = b"".join(bytes.fromhex(e[2]) for e in entries if e[0] == ">")
    received = b"".join(bytes.fromhex(e[2]) for e in entries if e[0] == "<")
    assert sent.startswith(b"\n*IDN?\n*CLS\nSYST:SYNC? ")
    assert received.startswith(b"left overLoomwright,Scanboard Full,A1,0.1.0\n#226")
    times = [e[1] for e in entries]
    assert times == sorted(times)
