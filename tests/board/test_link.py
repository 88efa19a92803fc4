"""The serial link on real pseudo-terminals: failures in the system's words, nothing left open."""

import os
import pty
import termios
import time
import tty
from pathlib import Path

import pytest
import serial

from tester.board.client import Board
from tester.board.holders import holders
from tester.board.link import SerialLink
from tester.board.ports import ask_port, list_ports
from tester.errors import BoardError


@pytest.fixture
def pair():
    master, slave = pty.openpty()
    tty.setraw(slave)
    yield master, os.ttyname(slave)
    for descriptor in (master, slave):
        try:
            os.close(descriptor)
        except OSError:
            pass


def descriptors() -> int:
    return len(list(Path("/proc/self/fd").iterdir()))


def test_bytes_go_both_ways_raw_and_reading_nothing_takes_its_time_and_no_more(pair):
    master, path = pair
    link = SerialLink(path)
    every = bytes(range(256))
    link.write(every)
    assert os.read(master, 1000) == every
    os.write(master, every)
    got = b""
    while len(got) < 256:
        got += link.read(1.0)
    assert got == every
    start = time.monotonic()
    assert link.read(0.1) == b""
    assert 0.09 < time.monotonic() - start < 0.5
    link.close()
    link.close()


def test_second_opening_of_a_port_in_use_is_a_clear_error_and_the_first_is_unharmed(pair):
    master, path = pair
    first = SerialLink(path)
    os.write(master, b"still mine")
    before = descriptors()
    with pytest.raises(BoardError, match="cannot be opened") as caught:
        SerialLink(path)
    assert f"Another program holds this port ({os.getpid()} " in caught.value.hint
    assert caught.value.code == "port"
    assert descriptors() == before
    assert first.read(1.0) == b"still mine"
    first.write(b"ok")
    assert os.read(master, 10) == b"ok"
    first.close()
    SerialLink(path).close()


def test_ports_that_cannot_be_opened_say_path_the_systems_words_and_one_hint(tmp_path: Path):
    plain = tmp_path / "file.txt"
    plain.write_text("x")
    before = descriptors()
    for path, words, hint in (
        (str(tmp_path / "none"), "No such file or directory", "plugged in"),
        (str(plain), "", "no serial port"),
        (str(tmp_path), "Is a directory", "no serial port"),
        ("nonsense://x", "", "board list"),
        ("hwgrep://[", "", "board list"),
        ("socket://127.0.0.1:9", "", "board list"),
    ):
        with pytest.raises(BoardError, match="cannot be opened") as caught:
            SerialLink(path)
        assert caught.value.message.startswith(path)
        assert words in caught.value.message
        assert hint in caught.value.hint
        assert caught.value.code == "port"
    assert descriptors() == before


def test_a_port_that_vanishes_offers_both_reasons_and_is_closed(pair):
    master, path = pair
    link = SerialLink(path)
    os.close(master)
    before = descriptors()
    with pytest.raises(BoardError, match=f"{path}: the port failed") as caught:
        link.read(0.5)
    assert caught.value.hint == "Either the board was unplugged or lost power, or another program reads the same port."
    assert descriptors() < before
    with pytest.raises(BoardError, match="the port is closed"):
        link.write(b"x")
    with pytest.raises(BoardError, match="the port is closed"):
        link.read(0)


def test_a_port_whose_other_side_takes_nothing_is_given_up_in_bounded_time(pair):
    _, path = pair
    link = SerialLink(path)
    start = time.monotonic()
    with pytest.raises(BoardError, match="the port failed"):
        for _ in range(100):
            link.write(bytes(4096))
    assert time.monotonic() - start < 5


def test_a_silent_port_is_refused_in_bounded_time_and_closed(pair):
    _, path = pair
    before = descriptors()
    start = time.monotonic()
    with pytest.raises(BoardError, match="nothing answers"):
        Board.open(path)
    assert time.monotonic() - start < 5
    assert descriptors() == before


def test_other_addresses_of_pyserial_work():
    link = SerialLink("loop://")
    link.write(b"echo\n")
    assert link.read(0.5) == b"echo\n"
    link.close()
    with pytest.raises(BoardError, match="no Loomwright board: '\\*IDN\\?'"):
        Board.open("loop://")


FOREIGN = [
    serial.SerialException("x"), serial.SerialTimeoutException("x"), serial.PortNotOpenError(), termios.error(5, "x"),
    OSError(5, "x"), TimeoutError("x"), TypeError("x"), ValueError("x"), AttributeError("x"), KeyError("x"),
]  # fmt: skip


@pytest.mark.parametrize("error", FOREIGN, ids=lambda error: type(error).__name__)
def test_no_foreign_exception_comes_out_of_a_link(error, mocker, pair):
    _, path = pair
    for name, call in (("read", lambda link: link.read(0.1)), ("write", lambda link: link.write(b"x"))):
        link = SerialLink(path)
        mocker.patch.object(serial.Serial, name, side_effect=error)
        with pytest.raises(BoardError, match="the port failed"):
            call(link)
        mocker.stopall()
    mocker.patch.object(serial.Serial, "open", side_effect=error)
    with pytest.raises(BoardError, match="cannot be opened"):
        SerialLink(path)


def test_who_holds_a_port_is_named(pair):
    _, path = pair
    link = SerialLink(path)
    assert any(entry.startswith(f"{os.getpid()} ") for entry in holders(path))
    link.close()
    assert holders("/dev/none") == holders("socket://x\0") == holders("/etc/hostname") == ()


def test_listing_puts_boards_first_and_asking_tells_why_nobody_answered(mocker, pair):
    _, path = pair
    from serial.tools.list_ports_common import ListPortInfo

    plain, board = ListPortInfo("/dev/ttyS7"), ListPortInfo(path)
    plain.description = "n/a"
    board.vid, board.pid, board.serial_number, board.description = 0x2E8A, 0x0005, "E66", "Board in FS mode"
    mocker.patch("serial.tools.list_ports.comports", return_value=[plain, board])
    first, second = list_ports()
    assert (first.path, first.usb, first.usb_serial, first.likely) == (path, (0x2E8A, 5), "E66", True)
    assert (second.path, second.usb, second.likely, second.description) == ("/dev/ttyS7", None, False, "")
    answer = ask_port(second)
    assert answer.info is None and answer.error is not None and answer.error.message.startswith("/dev/ttyS7")
