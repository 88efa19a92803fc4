"""The serial port: bytes out, bytes in, nothing understood. Every failure says path, the system's words, one hint."""

from __future__ import annotations

import contextlib
import errno
import os
import re
import time
from typing import Protocol

import serial

from tester.board.holders import holders
from tester.errors import BoardError

BAUD = 115_200
POLL_S = 0.02  # one blocking read; short, so that nothing waits long behind it
WRITE_S = 2.0
CHUNK = 65_536


def _terminal_errors() -> tuple[type[Exception], ...]:
    try:
        import termios
    except ImportError:  # not on Windows
        return ()
    return (termios.error,)


# What pySerial and the handlers behind its addresses let through; SerialException is an OSError, a port closed from
# elsewhere shows as TypeError, `hwgrep://[` as an error of the pattern.
FOREIGN: tuple[type[Exception], ...] = (
    OSError, ValueError, TypeError, AttributeError, LookupError, RuntimeError, re.error, *_terminal_errors(),
)  # fmt: skip


class Link(Protocol):
    """A byte channel to a board. `address` is what a person calls it."""

    address: str

    def write(self, data: bytes) -> None:
        """Send everything. Raises BoardError."""

    def read(self, timeout_s: float) -> bytes:
        """What has come; waits for the first byte, b"" when the time is over. Raises BoardError."""

    def tell(self, *words: str) -> bool:
        """A command to the virtual board behind this channel; False when there is none."""

    def close(self) -> None:
        """Let go of the channel. Never raises; may be called twice."""


def open_error(address: str, error: Exception) -> BoardError:
    """What a failed opening means to a person."""
    number = _number(error)
    text = str(error)
    if number in (errno.EAGAIN, errno.EBUSY, errno.EWOULDBLOCK) or "exclusively lock" in text:
        who = ", ".join(holders(address)) or "`loomwright board list` may name it"
        hint = f"Another program holds this port ({who}): close it."
    elif number in (errno.EACCES, errno.EPERM):
        hint = "Your user may not use this port: see hwspec/ports.md, permissions."
    elif number in (errno.ENOENT, errno.ENODEV, errno.ENXIO):
        hint = "Is the board plugged in, the cable one that carries data? `loomwright board list` shows what is here."
    elif number in (errno.EISDIR, errno.ENOTTY, errno.EINVAL):
        hint = "This is no serial port: `loomwright board list` shows those that are here."
    else:
        hint = "`loomwright board list` shows the ports that are here."
    return BoardError(f"{address}: cannot be opened: {_words(error)}", hint, code="port")


def lost_error(address: str, error: Exception) -> BoardError:
    """What a port that fails while in use means to a person."""
    return BoardError(
        f"{address}: the port failed: {_words(error)}",
        "Either the board was unplugged or lost power, or another program reads the same port.",
        code="port",
    )


def _number(error: Exception) -> int | None:
    """The system's error number; pySerial sometimes only has it in its text."""
    number = getattr(error, "errno", None)
    if isinstance(number, int):
        return number
    found = re.search(r"\((\d+), '|\[Errno (\d+)\]", str(error))
    return int(found[1] or found[2]) if found else None


def _words(error: Exception) -> str:
    number = _number(error)
    return f"{os.strerror(number)} (error {number})" if number else " ".join(str(error).split())


class SerialLink:
    """A port opened exclusively, or any address that pySerial's `serial_for_url` takes."""

    def __init__(self, address: str) -> None:
        """Open the port. Raises BoardError; nothing stays open then."""
        self.address = address
        self._port: serial.Serial | None = None
        port = None
        try:
            port = serial.serial_for_url(
                address, do_not_open=True, baudrate=BAUD, timeout=POLL_S, write_timeout=WRITE_S, exclusive=True
            )
            port.open()
        except FOREIGN as error:
            if port is not None:
                with contextlib.suppress(Exception):
                    port.close()
            raise open_error(address, error) from error
        self._port = port

    def write(self, data: bytes) -> None:
        """Send everything. Raises BoardError, and closes the port, when that fails."""
        if self._port is None:
            raise lost_error(self.address, OSError("the port is closed"))
        try:
            view = memoryview(data)
            while view:
                view = view[self._port.write(view) or 0 :]
        except FOREIGN as error:
            self.close()
            raise lost_error(self.address, error) from error

    def read(self, timeout_s: float) -> bytes:
        """What has come, at most 64 kB; b"" after `timeout_s` (20 ms coarse). Raises BoardError and closes."""
        if self._port is None:
            raise lost_error(self.address, OSError("the port is closed"))
        end = time.monotonic() + timeout_s
        try:
            while True:
                first = bytes(self._port.read(1))
                if first:
                    more = self._port.in_waiting
                    return first + bytes(self._port.read(min(more, CHUNK)) if more else b"")
                if time.monotonic() >= end:
                    return b""
        except FOREIGN as error:
            self.close()
            raise lost_error(self.address, error) from error

    def tell(self, *words: str) -> bool:
        """A real board takes no such commands."""
        return False

    def close(self) -> None:
        """Close the port; whatever goes wrong at that is of no use to anyone."""
        port, self._port = self._port, None
        if port is not None:
            with contextlib.suppress(Exception):
                port.close()
