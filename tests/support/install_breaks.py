"""Break an installation after so many bytes, power the board on again, and finish it."""

from __future__ import annotations

import shutil
import time
from dataclasses import dataclass
from pathlib import Path

from tester.board import rawrepl
from tester.board.client import Board
from tester.board.install import Installed, firmware_files, firmware_version, install
from tester.errors import BoardError
from tests.support.flash_board import FlashBoard

NEWER = "9.9.9"
rawrepl.PIECE_PAUSE_S = 0.0  # a pseudo-terminal holds the writer back by itself


def newer_files() -> dict[str, bytes]:
    """The firmware under another version."""
    files = firmware_files()
    version = firmware_version(files).encode()
    return files | {"version.py": files["version.py"].replace(version, NEWER.encode())}


def prepared(folder: Path) -> Path:
    """A flash with today's firmware in it, installed over the raw REPL on a bare board."""
    image = folder / "installed.img"
    with FlashBoard(image) as board:
        board.on()
        done = install(board.stable, ask=lambda question: True)
        assert done.slot == "a" and done.sent == done.size and not done.resumed
    return image


def answers(board: FlashBoard) -> str:
    """Version of the firmware that starts, "" when the board comes up bare."""
    end = time.monotonic() + 10
    while True:
        try:
            with Board.open(board.stable) as opened:
                return opened.info.firmware
        except BoardError as error:
            if "no Loomwright board" in error.message:
                return ""
            if time.monotonic() > end:
                raise


@dataclass
class Break:
    """What came of one broken installation."""

    after: int
    error: str
    version: str
    second: Installed


def broken(image: Path, scratch: Path, after: int, bare: bool = False) -> Break:
    """Install on a copy of `image`, cut the power after so many bytes, look what starts, and install again."""
    flash = scratch / f"flash-{after}-{int(bare)}.img"
    if not bare:
        shutil.copy(image, flash)
    error = ""
    with FlashBoard(flash) as board:
        board.on(cut_after=after)
        try:
            install(board.stable, ask=lambda question: bare, files=newer_files())
        except BoardError as failed:
            error = failed.message
        board.on()
        version = answers(board)
        second = install(board.stable, ask=lambda question: bare, files=newer_files())
    flash.unlink()
    return Break(after, error, version, second)
