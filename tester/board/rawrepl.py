"""MicroPython's raw REPL on a bare board: run a piece of code, get what it printed. Only for installing the firmware.

The only place where byte 0x03 is ever sent: a bare board may be running something that has to be interrupted.
"""

from __future__ import annotations

import time

from tester.board.link import Link
from tester.errors import BoardError

ENTER_S = 3.0
RUN_S = 30.0
PIECE = 256  # the interpreter's input buffer; a pause after each lets it read
PIECE_PAUSE_S = 0.01
OUTPUT_MOST = 1_000_000


class RawRepl:
    """An entered raw REPL on a link."""

    def __init__(self, link: Link) -> None:
        """Interrupt what runs and enter. Raises BoardError when no MicroPython answers."""
        self._link = link
        self._seen = b""
        for _ in range(2):
            link.write(b"\r\x03\x03")
            self._drain(0.2)
            link.write(b"\r\x01")
            if self._until(b"raw REPL; CTRL-B to exit", ENTER_S) is not None and self._until(b">", ENTER_S) is not None:
                return
        raise BoardError(
            f"{link.address}: neither a board's firmware nor MicroPython answers",
            "Put MicroPython on the bare board first: hwspec/build.md, first stage.",
            code="link",
        )

    def run(self, code: str) -> str:
        """What `code` prints. Raises BoardError with the board's last line when it raises there."""
        data = code.encode("utf-8") + b"\x04"
        for at in range(0, len(data), PIECE):
            self._link.write(data[at : at + PIECE])
            time.sleep(PIECE_PAUSE_S)
        parts = [self._until(mark, RUN_S) for mark in (b"OK", b"\x04", b"\x04", b">")]
        if any(part is None for part in parts):
            raise BoardError(f"{self._link.address}: the board stopped answering while it was written", code="link")
        printed, failed = parts[1] or b"", parts[2] or b""
        if failed.strip():
            last = failed.decode("utf-8", "replace").strip().splitlines()[-1]
            raise BoardError(f"{self._link.address}: the board cannot do that: {last}", code="install")
        return printed.decode("utf-8", "replace").replace("\r\n", "\n").strip()

    def leave(self, last: str = "") -> None:
        """Run `last` without waiting for an answer (a restart), or go back to the ordinary prompt."""
        self._link.write(last.encode("utf-8") + b"\x04" if last else b"\r\x02")

    def _until(self, mark: bytes, seconds: float) -> bytes | None:
        """Bytes before `mark`, None when it does not come in time."""
        end = time.monotonic() + seconds
        while mark not in self._seen:
            left = end - time.monotonic()
            data = self._link.read(left) if left > 0 and len(self._seen) < OUTPUT_MOST else b""
            if not data:
                return None
            self._seen += data
        before, _, self._seen = self._seen.partition(mark)
        return before

    def _drain(self, quiet_s: float) -> None:
        end = time.monotonic() + 1.0
        while time.monotonic() < end and self._link.read(quiet_s):
            pass
        self._seen = b""
