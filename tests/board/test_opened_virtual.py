"""The client against the real virtual board, over its pseudo-terminal."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tester.board.client import Board
from tester.board.exchange import ATTEMPTS, REPLY_S
from tester.board.opening import open_board
from tester.board.ports import PortInfo, ask_port
from tester.board.recording import Recorder, ReplayWire
from tester.board.virtual import VirtualBoard
from tester.errors import BoardError, InputError

HARNESS = """format = 1
[[link]]
a = "D-1"
b = "H-1"
[[link]]
a = "D-2"
b = "~g"
[[link]]
a = "H-2"
b = "~g"
[[link]]
a = "H-3"
b = "~g"
"""
LEADS = """format = 1
id = "x"
[channels]
1 = "D-1"
2 = "D-2"
33 = "H-1"
34 = "H-2"
35 = "H-3"
"""
CHANNELS = (1, 2, 33, 34, 35)
ROWS = (0b00101, 0b11010, 0b00101, 0b11010, 0b11010)


@pytest.fixture
def files(tmp_path: Path) -> tuple[Path, Path]:
    harness, leads = tmp_path / "harness.toml", tmp_path / "leads.toml"
    harness.write_text(HARNESS)
    leads.write_text(LEADS)
    return harness, leads


def alive(pid: int) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_text().split(")")[1].split()[0] != "Z"
    except OSError:
        return False


def test_a_virtual_harness_is_opened_walked_and_put_away(files):
    harness, leads = files
    told = []
    with open_board(f"virtual:{harness}", leads) as board:
        assert (board.info.model, board.info.channels, board.info.build) == ("Scanboard Full", 64, "full")
        assert board.voltage(CHANNELS).live() == []
        assert board.drivers(CHANNELS).weak() == ()
        frame = board.walk(CHANNELS, CHANNELS, progress=lambda done, total: told.append((done, total)))
        assert frame.rows == ROWS
        assert board.patterns(CHANNELS, [(1, 2), (33,)]).rows == (0b11111, 0b00101)
        assert board.timing(50, 70).fall_us == 70
        board.off()
        assert board.walk(CHANNELS, CHANNELS).rows == ROWS
        assert not board.troubles.any
    assert told == [(5, 5)]


def test_a_voltage_on_a_cavity_refuses_to_drive(files):
    harness, leads = files
    harness.write_text(HARNESS + '[[voltage]]\nat = "H-2"\nvolts = 12.6\nohms = 50\n')
    with open_board(f"virtual:{harness}", leads) as board:
        assert {channel for channel, _ in board.voltage(CHANNELS).live()} == {2, 34, 35}
        with pytest.raises(BoardError, match="voltage present, nothing was driven: channel 2 ") as caught:
            board.walk(CHANNELS, CHANNELS)
        assert caught.value.code == "voltage"
        with pytest.raises(BoardError, match=r"-240, hardware error: .* V on channel 2") as caught:
            board._leased(board._renew, type(board.state()), "SCAN:WALK?", (1,), (1,))
        assert caught.value.code == "voltage"


def test_a_whole_board_is_scanned_in_slices_under_a_lease_that_stays(files):
    harness, leads = files
    with open_board(f"virtual:{harness}", leads, extra=("--channels", "256")) as board:
        everything = range(1, 257)
        frame = board.walk(everything, everything)
        assert len(frame.raw) >= 4
        assert [frame.rows[c - 1] for c in (1, 33)] == [(1 << 32) | 1] * 2
        assert all(row >> i & 1 for i, row in enumerate(frame.rows))
        backwards = tuple(reversed(everything))
        assert board.walk(backwards, backwards).rows[-1] == (1 << 255) | (1 << 223)
        assert board._leases <= 1


def test_the_board_takes_the_next_session_after_the_host_was_killed_while_driving(files):
    harness, leads = files
    code = (
        "import sys\nfrom tester.board.client import Board\n"
        "b = Board.open(sys.argv[1])\n"
        "b.walk(range(1, 65), range(1, 65))\nprint('driving', flush=True)\n"
        "while True:\n    b.walk(range(1, 65), range(1, 65))\n"
    )
    with VirtualBoard(harness, leads) as virtual:
        host = subprocess.Popen([sys.executable, "-c", code, virtual.port], stdout=subprocess.PIPE)
        assert host.stdout is not None and host.stdout.readline() == b"driving\n"
        os.kill(host.pid, signal.SIGKILL)
        host.wait()
        host.stdout.close()
        with Board.open(virtual.port) as board:
            assert board.walk(CHANNELS, CHANNELS).rows == ROWS


def test_second_opening_is_a_clear_error_and_the_first_goes_on(files):
    harness, leads = files
    with VirtualBoard(harness, leads) as virtual, Board.open(virtual.port) as board:
        with pytest.raises(BoardError, match=f"{virtual.port}: cannot be opened") as caught:
            Board.open(virtual.port)
        assert "Another program holds this port" in caught.value.hint
        assert board.walk(CHANNELS, CHANNELS).rows == ROWS
        answer = ask_port(PortInfo(virtual.port, ""))
        assert answer.info is None and answer.error is not None
    with VirtualBoard(harness, leads) as virtual:
        answer = ask_port(PortInfo(virtual.port, ""))
        assert answer.info is not None and answer.info.channels == 64


def test_a_port_that_vanishes_in_use_is_named_and_closing_stays_quiet(files):
    harness, leads = files
    board = open_board(f"virtual:{harness}", leads)
    board.walk(CHANNELS, CHANNELS)
    board.tell("unplug")
    with pytest.raises(BoardError, match="the port failed") as caught:
        board.walk(CHANNELS, CHANNELS)
    assert caught.value.code == "port"
    board.off()
    board.close()


def test_a_processor_that_hangs_is_an_error_within_the_stated_time(files):
    harness, leads = files
    with open_board(f"virtual:{harness}", leads) as board:
        board.walk(CHANNELS, CHANNELS)
        board.tell("hang")
        start = time.monotonic()
        with pytest.raises(BoardError, match="no sound answer"):
            board.walk(CHANNELS, CHANNELS)
        assert time.monotonic() - start < ATTEMPTS * (REPLY_S + 0.2)
        board.tell("restart")
        assert board.walk(CHANNELS, CHANNELS).rows == ROWS


def test_a_restart_between_two_scans_is_mended_with_a_new_voltage_check(files):
    harness, leads = files
    with open_board(f"virtual:{harness}", leads) as board:
        board.walk(CHANNELS, CHANNELS)
        board.tell("restart")
        assert board.walk(CHANNELS, CHANNELS).rows == ROWS
        assert board.troubles.damaged == 1


def test_the_virtual_boards_own_words_reach_the_person(files, tmp_path: Path):
    harness, leads = files
    harness.write_text("format = 1\n[[link]]\na = 3\n")
    with pytest.raises(InputError, match=r"harness\.toml"):
        open_board(f"virtual:{harness}", leads)
    for address, lead, words in (
        (f"virtual:{tmp_path / 'none'}", leads, "no such virtual harness"),
        (f"virtual:{tmp_path}", leads, "a folder, not a virtual harness"),
        (f"virtual:{harness}", tmp_path / "none", "no such lead map"),
        (f"virtual:{harness}", None, "needs a lead map"),
    ):
        with pytest.raises(InputError, match=words):
            open_board(address, lead)
    with pytest.raises(InputError, match="goes with a virtual board only"):
        open_board("/dev/ttyACM9", leads, leads)


def test_commands_to_the_virtual_board_take_effect_or_say_why_not(files):
    harness, leads = files
    with open_board(f"virtual:{harness}", leads) as board:
        assert board.tell("touch", "D-1", "H-2")
        assert board.walk(CHANNELS, CHANNELS).rows == (0b11111,) * 5
        with pytest.raises(InputError, match="dance"):
            board.tell("dance")
        with pytest.raises(InputError, match="one line"):
            board.tell("touch", "a\nb")
        harness.write_text("format = 1\n")
        assert board.plug(harness)
        assert board.tell("release")
        assert board.walk(CHANNELS, CHANNELS).rows == (1, 2, 4, 8, 16)


def test_the_virtual_board_ends_when_it_is_closed_and_when_its_starter_is_killed(files):
    harness, leads = files
    virtual = VirtualBoard(harness, leads)
    assert alive(virtual.pid)
    virtual.close()
    virtual.close()
    assert not alive(virtual.pid)
    code = (
        "import sys, time\nfrom pathlib import Path\nfrom tester.board.virtual import VirtualBoard\n"
        "v = VirtualBoard(Path(sys.argv[1]), Path(sys.argv[2]))\nprint(v.pid, flush=True)\ntime.sleep(60)\n"
    )
    starter = subprocess.Popen([sys.executable, "-c", code, str(harness), str(leads)], stdout=subprocess.PIPE)
    assert starter.stdout is not None
    pid = int(starter.stdout.readline())
    assert alive(pid)
    starter.kill()
    starter.wait()
    starter.stdout.close()
    end = time.monotonic() + 5
    while alive(pid) and time.monotonic() < end:
        time.sleep(0.02)
    assert not alive(pid)


def test_a_recorded_session_replays_without_a_board(files):
    harness, leads = files
    recorder = Recorder()

    def session(board: Board) -> list[object]:
        seen: list[object] = [board.info, board.voltage(CHANNELS), board.drivers(CHANNELS)]
        seen.append(board.walk(CHANNELS, CHANNELS))
        if board.tell("touch", "D-1", "H-2"):
            seen.append(board.walk(CHANNELS, CHANNELS))
        return seen

    with open_board(f"virtual:{harness}", leads, recorder=recorder) as board:
        live = session(board)
    wire = ReplayWire(recorder.text())
    with Board(wire) as board:
        assert session(board) == live
    wire.finish()
