"""A recording that begins on an open board plays back by itself, as one that began when the board was opened."""

import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from tester.board.client import Board
from tester.board.opening import open_board
from tester.board.recording import Recorder, ReplayWire

CHANNELS = (1, 2, 3, 4)


@pytest.fixture
def board(tmp_path: Path) -> Iterator[Board]:
    harness, leads = tmp_path / "harness.toml", tmp_path / "leads.toml"
    harness.write_text('format = 1\n[[link]]\na = "A-1"\nb = "A-3"\n')
    leads.write_text('format = 1\nid = "set"\n[channels]\n' + "".join(f'{n} = "A-{n}"\n' for n in CHANNELS))
    with open_board(f"virtual:{harness}", leads) as opened:
        yield opened


def test_each_recording_on_an_open_board_plays_back_by_itself(board: Board) -> None:
    before = board.walk(CHANNELS, CHANNELS).rows
    tapes = []
    for _ in range(2):
        recorder = Recorder()
        board.record(recorder)
        rows = board.walk(CHANNELS, CHANNELS).rows
        board.off()
        board.record(None)
        assert rows == before == (0b101, 0b010, 0b101, 0b1000)
        assert board.walk(CHANNELS, CHANNELS).rows == rows, "the board goes on unrecorded"
        tapes.append(recorder.text())
    assert tapes[0] != tapes[1], "each session has its own number"
    for tape in tapes:
        wire = ReplayWire(tape)
        with Board(wire) as again:
            assert again.walk(CHANNELS, CHANNELS).rows == before
            again.off()
        wire.finish()


def test_what_another_thread_tells_the_virtual_bench_meanwhile_is_not_in_the_recording(board: Board) -> None:
    recorder = Recorder()
    board.record(recorder)
    other = threading.Thread(target=board.tell, args=("touch", "A-2"))
    other.start()
    other.join()
    assert '"told"' not in recorder.text()
    board.tell("release")
    assert recorder.text().count('"told"') == 1
