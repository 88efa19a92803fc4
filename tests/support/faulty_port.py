"""A pseudo-terminal in front of a virtual board's port that damages what passes, with the real clock."""

from __future__ import annotations

import contextlib
import os
import random
import select
import threading
import time
import tty

from tester.board.virtual import VirtualBoard
from tests.support.faulty import Fault, Mangler


class FaultyPort:
    """`port` is its name. Context manager; the thread ends with it."""

    def __init__(self, board: VirtualBoard, dice: random.Random, faults: list[Fault], archive: dict[bytes, bytes]):
        self._board = board
        self._master, self._slave = os.openpty()
        tty.setraw(self._slave)
        self.port = os.ttyname(self._slave)
        self._behind = os.open(board.port, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
        tty.setraw(self._behind)
        self.mangler = Mangler(dice, faults, archive, lambda: board.tell("restart") and None, self._vanish)
        self._gone = threading.Event()
        self._stop, self._stopped = os.pipe()
        self._due: list[tuple[float, bytes]] = []
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def __enter__(self) -> FaultyPort:
        return self

    def __exit__(self, *_: object) -> None:
        os.close(self._stopped)
        self._thread.join(10)
        for descriptor in (self._stop, self._behind, self._master, self._slave):
            with contextlib.suppress(OSError):
                os.close(descriptor)

    def _vanish(self) -> None:
        self._gone.set()

    def _run(self) -> None:
        with contextlib.suppress(OSError):
            while not self._gone.is_set():
                wait = max(0.0, self._due[0][0] - time.monotonic()) if self._due else 5.0
                ready, _, _ = select.select([self._master, self._behind, self._stop], [], [], wait)
                if self._stop in ready:
                    return
                if self._master in ready:
                    os.write(self._behind, self.mangler.to_board(os.read(self._master, 65536)))
                if self._behind in ready:
                    data, later = self.mangler.to_host(self._message())
                    due = max([time.monotonic() + later, *(due for due, _ in self._due)])
                    self._due.append((due, data))
                while self._due and self._due[0][0] <= time.monotonic():
                    os.write(self._master, self._due.pop(0)[1])
            os.close(self._master)
            os.close(self._slave)

    def _message(self) -> bytes:
        """Everything that comes without a pause of 5 ms."""
        data = b""
        while select.select([self._behind], [], [], 0.005)[0]:
            data += os.read(self._behind, 65536)
        return data
