"""One way to open whatever a person names as the board: a port, an address, or a virtual harness."""

from __future__ import annotations

import contextlib
import time
from collections.abc import Callable, Iterator
from pathlib import Path

from tester.board.client import Board
from tester.board.link import SerialLink
from tester.board.recording import Recorder
from tester.board.virtual import VirtualBoard
from tester.errors import BoardError, InputError

VIRTUAL = "virtual:"


class VirtualLink(SerialLink):
    """The port of a virtual board, which ends when the port is closed."""

    def __init__(self, harness: Path, leads: Path | None, extra: tuple[str, ...] = ()) -> None:
        self._board = VirtualBoard(harness, leads, extra)
        self._words = ""
        try:
            super().__init__(self._board.port)
        except BaseException:
            self._board.close()
            raise
        self.address = f"{VIRTUAL}{harness}"

    def write(self, data: bytes) -> None:
        """As for any port; when the virtual board has stopped, its last words say why."""
        with self._explained():
            super().write(data)

    def read(self, timeout_s: float) -> bytes:
        """As for any port; when the virtual board has stopped, its last words say why."""
        with self._explained():
            return super().read(timeout_s)

    @contextlib.contextmanager
    def _explained(self) -> Iterator[None]:
        try:
            yield
        except BoardError as error:
            words = self._words or self._board.last_words()
            if words:
                raise BoardError(f"{error.message}: {words}", error.hint, error.code) from error
            raise

    def tell(self, *words: str) -> bool:
        """Pass a command to the virtual board. Raises BoardError, InputError."""
        self._board.tell(*words)
        return True

    def close(self) -> None:
        """Close the port and end the virtual board."""
        super().close()
        self._words = self._words or self._board.last_words()
        self._board.close()


def open_board(
    address: str,
    leads_path: Path | None = None,
    wired_by: Path | None = None,
    *,
    recorder: Recorder | None = None,
    clock: Callable[[], float] = time.monotonic,
    extra: tuple[str, ...] = (),
) -> Board:
    """Open the board that a person named.

    address     `/dev/ttyACM0`, `socket://localhost:4000` and the like, or `virtual:FILE` with a virtual harness
    leads_path  the lead map in use; a virtual harness is wired to the board by it
    wired_by    another lead map that the virtual harness is really wired by, to rehearse a wrong lead set
    extra       further options for the virtual board

    Raises BoardError, InputError for a file that is wrong.
    """
    if not address.startswith(VIRTUAL):
        if wired_by is not None:
            raise InputError(
                f"--wired-by {wired_by} goes with a virtual board only, not with {address}",
                "Leave it out, or give --board virtual:FILE.",
            )
        return Board.open(address, recorder=recorder, clock=clock)
    wiring = wired_by or leads_path
    if wiring is None:
        raise InputError(f"{address}: a virtual harness needs a lead map", "Add --leads FILE.")
    for path, what in ((Path(address[len(VIRTUAL) :]), "virtual harness"), (wiring, "lead map")):
        if not path.is_file():
            raise InputError(f"{path}: {'a folder, not a' if path.is_dir() else 'no such'} {what}")
    link = VirtualLink(Path(address[len(VIRTUAL) :]), wiring, extra)
    return Board.open(address, recorder=recorder, clock=clock, link=link)
