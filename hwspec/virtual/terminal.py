"""A real pseudo-terminal in raw mode, so that anything that opens a serial port can open the virtual board."""

from __future__ import annotations

import os
import select
import time
import tty

_DROP_AFTER_S = 0.5


class Terminal:
    """The board's end. The host's end stays open here too, so that a host may close and reopen the port."""

    def __init__(self) -> None:
        self._master, self._slave = os.openpty()
        tty.setraw(self._slave)
        os.set_blocking(self._master, False)
        self.path = os.ttyname(self._slave)
        self.dropped = 0

    def fileno(self) -> int:
        """Descriptor to wait on."""
        return self._master

    def take(self, most: int) -> bytes:
        """Up to `most` bytes that have arrived."""
        try:
            return os.read(self._master, most)
        except (BlockingIOError, OSError):
            return b""

    def put(self, data: bytes) -> None:
        """Send; what the host has not taken after half a second is dropped, as on USB."""
        give_up = time.monotonic() + _DROP_AFTER_S
        while data:
            try:
                data = data[os.write(self._master, data) :]
            except BlockingIOError:
                left = give_up - time.monotonic()
                if left <= 0:
                    self.dropped += len(data)
                    return
                select.select([], [self._master], [], left)

    def close(self) -> None:
        """The port vanishes; an open host sees it as unplugged."""
        os.close(self._slave)
        os.close(self._master)
