"""A serial port that vanishes: a pseudo-terminal in front of another port, gone after so many bytes to the host."""

from __future__ import annotations

import contextlib
import os
import select
import threading
import tty


class CutOff:
    """Forwards both ways; after `after` bytes towards the host the port is closed for good. `port` is its name."""

    def __init__(self, behind: str, after: int) -> None:
        self._left = after
        self._master, slave = os.openpty()
        tty.setraw(slave)
        self.port = os.ttyname(slave)
        self._slave = slave
        self._behind = os.open(behind, os.O_RDWR | os.O_NOCTTY)
        tty.setraw(self._behind)
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def _run(self) -> None:
        with contextlib.suppress(OSError):
            while self._left > 0:
                ready, _, _ = select.select([self._master, self._behind], [], [], 5)
                if self._master in ready:
                    os.write(self._behind, os.read(self._master, 4096))
                if self._behind in ready:
                    data = os.read(self._behind, min(4096, self._left))
                    self._left -= len(data)
                    os.write(self._master, data)
        for descriptor in (self._slave, self._master, self._behind):
            with contextlib.suppress(OSError):
                os.close(descriptor)
