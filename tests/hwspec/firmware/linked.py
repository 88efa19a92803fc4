"""The firmware under real MicroPython or CPython, with a conversation that both interpreters see alike."""

from __future__ import annotations

import atexit
import shutil
import subprocess
import tempfile
from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import Any

from hwspec.firmware.app import App
from hwspec.virtual.board import Options, VirtualBoard
from hwspec.virtual.hal import VirtualHal
from hwspec.virtual.micropython import HEAP, MicroPythonFirmware, find_micropython, lay_out
from tests.support.virtual import as_harness, as_leads

ROOT = Path(__file__).resolve().parents[3]
MAIN = "from hwspec.firmware.hal_link import main\nmain()\n"
NO_INTERPRETER = "MicroPython has no wheel for this platform (Linux x86-64 has)"


class ScriptEnd(Exception):
    """The firmware asked for bytes after the last line."""


class Script:
    """Lines for the board, one each time the firmware asks for bytes; a number is so many turns without input.

    Driven by the firmware's own calls and not by host time. `replies`: what came back after each line.
    """

    def __init__(self, lines: Sequence[str | int]) -> None:
        self._turns: list[bytes] = []
        for line in lines:
            self._turns.extend([b""] * line if isinstance(line, int) else [line.encode("latin-1") + b"\n"])
        self.replies: list[tuple[str, bytes]] = []
        self._begun = b""

    def take(self, most: int) -> bytes:
        """The next line, or what of it is left: the firmware takes it in pieces while a watch runs."""
        turn, self._begun = self._begun, b""
        if not turn:
            if not self._turns:
                raise ScriptEnd
            turn = self._turns.pop(0)
            if turn:
                self.replies.append((turn.decode("latin-1"), b""))
        self._begun = turn[most:]
        return turn[:most]

    def put(self, data: bytes) -> None:
        line, so_far = self.replies[-1]
        self.replies[-1] = line, so_far + data

    def rest(self) -> int:
        return 1_000_000


@cache
def laid_out() -> Path:
    """The firmware compiled as a board carries it, once for all tests of this process."""
    folder = Path(tempfile.mkdtemp(prefix="firmware-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    lay_out(folder)
    return folder


class LinkedFirmware(MicroPythonFirmware):
    """As the virtual board's child, but with a start program and a heap of one's own."""

    def __init__(self, hal: VirtualHal, program: str = MAIN, heap: str = HEAP) -> None:
        interpreter = find_micropython()
        assert interpreter, NO_INTERPRETER
        self._hal = hal
        self._child = subprocess.Popen(
            [interpreter, "-X", f"heapsize={heap}", "-c", program],
            cwd=laid_out(),
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
        )
        assert self._child.stdin is not None and self._child.stdout is not None
        self._to, self._from = self._child.stdin, self._child.stdout

    def rest_of_text(self) -> str:
        """Close the child's input; what it still says."""
        return self._rest_of_text().decode()

    def close(self) -> None:
        """End the child."""
        for pipe in (self._to, self._from):
            try:
                pipe.close()
            except OSError:
                pass
        self._child.kill()
        self._child.wait()


def board_for(script: Script, harness: Any = None, leads: Any = None, **options: Any) -> VirtualHal:
    """A fresh virtual board whose serial port is the script."""
    board = VirtualBoard(as_harness(harness or {}), as_leads(leads), Options(**options))
    return VirtualHal(board, script)


def under_cpython(hal: VirtualHal) -> App:
    """Run the HAL's script to its end in this process."""
    app = App(hal)
    try:
        app.run()
    except ScriptEnd:
        return app


def under_micropython(hal: VirtualHal, program: str = MAIN, heap: str = HEAP) -> str:
    """Run the HAL's script to its end under MicroPython; what the program prints after that."""
    firmware = LinkedFirmware(hal, program, heap)
    try:
        while True:
            firmware.turn()
    except ScriptEnd:
        return firmware.rest_of_text()
    finally:
        firmware.close()
