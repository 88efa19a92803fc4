"""The virtual board as a process: a pseudo-terminal in front, commands on standard input, JSON lines out."""

from __future__ import annotations

import contextlib
import json
import os
import select
import shlex
import sys
import time
import traceback
from collections.abc import Callable
from pathlib import Path
from typing import Any, Protocol

from hwspec.virtual.board import VirtualBoard
from hwspec.virtual.faults import ElectricalFault
from hwspec.virtual.files import BadFile, node_name
from hwspec.virtual.hal import VirtualHal
from hwspec.virtual.harness import load_harness
from hwspec.virtual.leads import load_leads
from hwspec.virtual.micropython import FirmwareStopped, MicroPythonFirmware, find_micropython
from hwspec.virtual.terminal import Terminal

_COMMANDS = (
    "harness FILE, leads FILE, touch CAVITY [CAVITY], release, unplug, replug, hang [SECONDS], restart, state, stop"
)
_REST_S = 0.001
_AHEAD_NS = 5_000_000
_MOST_NS = 2_000_000


class Interrupted(BaseException):
    """The firmware's turn is cut short: `why` is "stop", "hang", "unplug", "restart", or "reset" (by itself)."""

    def __init__(self, why: str) -> None:
        super().__init__(why)
        self.why = why


class Firmware(Protocol):
    """Something that takes turns."""

    def turn(self) -> None:
        """One turn of the main loop, or one request of it."""

    def close(self) -> None:
        """End it."""


class CPythonFirmware:
    """The firmware's own code in this process."""

    def __init__(self, hal: VirtualHal) -> None:
        from hwspec.firmware.app import App

        self.turn: Callable[[], None] = App(hal).poll  # type: ignore[arg-type]

    def close(self) -> None:
        """Nothing to end."""


class Pace:
    """Keeps the virtual clock from running ahead of the host's while the board only waits.

    Work (a scan, a measurement) runs as fast as it can; when nothing is asked, virtual time follows real time.
    """

    def __init__(self, board: VirtualBoard) -> None:
        self._clock = board.clock
        self.start()

    def start(self) -> None:
        """From now on both clocks run together."""
        self._virtual, self._host = self._clock.now, time.monotonic_ns()

    def ahead(self) -> int:
        """How far virtual time is ahead of real time, ns."""
        return (self._clock.now - self._virtual) - (time.monotonic_ns() - self._host)

    def after_rest(self, slept: int) -> int:
        """Virtual ns to add after resting `slept` ns: none while ahead, never more than was slept or `_MOST_NS`.

        Time in which the host's scheduler forgot this process is left out: it is no time of the board's.
        """
        most = min(slept, _MOST_NS)
        behind = -self.ahead()
        if behind > most:
            self._host += behind - most
        return max(0, min(behind, most))


class Server:
    """One board, its port and its firmware. `serve` runs until standard input closes and gives the exit status."""

    def __init__(self, board: VirtualBoard, firmware: str, link: Path | None = None, root: str = "") -> None:
        self.board = board
        self._kind = firmware
        self._link = link
        self._stdin = sys.stdin.fileno()
        self._typed = b""
        self._hal = VirtualHal(board, self, root, self._restart_asked)
        self._pace = Pace(board)
        self._firmware: Firmware | None = None
        self._terminal: Terminal | None = None

    # -- the firmware's serial line -----------------------------------------------------------------------------------

    def take(self, most: int) -> bytes:
        """Bytes from the host. With nothing there and virtual time ahead, wait for the host to catch up."""
        assert self._terminal is not None
        data = self._terminal.take(most)
        if data:
            self._pace.start()
            return data
        ahead = self._pace.ahead()
        self._look(min(ahead / 1e9, 0.005) if ahead > _AHEAD_NS else 0.0)
        return b""

    def put(self, data: bytes) -> None:
        """Bytes to the host."""
        assert self._terminal is not None
        self._terminal.put(data)

    def rest(self) -> int:
        """Wait for a byte, at most a millisecond; virtual time that went by."""
        before = time.monotonic_ns()
        self._look(_REST_S)
        return self._pace.after_rest(time.monotonic_ns() - before)

    def _look(self, seconds: float) -> None:
        """Wait for the host or for standard input, and do what standard input says."""
        waiting: list[Any] = [self._stdin]
        if self._terminal is not None:
            waiting.append(self._terminal)
        ready, _, _ = select.select(waiting, [], [], seconds)
        if self._stdin in ready:
            self._hear()

    # -- commands on standard input -----------------------------------------------------------------------------------

    def _hear(self) -> None:
        data = os.read(self._stdin, 65536)
        if not data:
            raise Interrupted("stop")
        self._typed += data
        while b"\n" in self._typed:
            line, self._typed = self._typed.split(b"\n", 1)
            self._obey(line.decode("utf-8", "replace").strip())

    def _obey(self, line: str) -> None:
        try:
            words = shlex.split(line)
        except ValueError as wrong:
            self._say(error=f"{line!r}: {wrong}")
            return
        if not words:
            return
        command, rest = words[0], words[1:]
        if command in ("hang", "unplug", "restart", "stop") and not rest:
            raise Interrupted(command)
        try:
            if command == "hang":
                self._hang(rest[0])
                return
            self._say(done=command, **self._act(command, rest))
        except BadFile as wrong:
            self._say(error=str(wrong))

    def _act(self, command: str, rest: list[str]) -> dict[str, Any]:
        board = self.board
        match command, rest:
            case "harness", [name]:
                board.plug(load_harness(Path(name)))
            case "leads", [name]:
                board.wire(load_leads(Path(name), len(board.parts.cells)))
            case "touch", [cavity]:
                board.touch(self._node(cavity))
            case "touch", [cavity, other]:
                board.touch(self._node(cavity), self._node(other))
            case (("release" | "untouch"), []):
                board.touch(None)
            case "replug", []:
                if self._terminal is None:
                    board.power_on()
                    self._open()
            case "state", []:
                return {
                    "us": int(board.clock.us),
                    "armed": board.pump.armed,
                    "driven": [c + 1 for c, drive in enumerate(board.circuit.drive) if drive],
                    "powered": board.powered,
                }
            case _:
                known = _COMMANDS
                raise BadFile(f'"{" ".join([command, *rest])}" is not a command; known are: {known}')
        return {}

    def _node(self, text: str) -> str:
        name = node_name(text)
        if name is None:
            raise BadFile(f'"{text}" is not a cavity; write connector and number, such as H-11')
        return name

    def _hang(self, seconds: str) -> None:
        """The processor stands still for a while; time goes on."""
        try:
            left = float(seconds)
        except ValueError:
            left = -1.0
        if not 0 <= left <= 60:
            raise BadFile(f'hang "{seconds}": write seconds from 0 to 60')
        self._say(done="hang")
        end = time.monotonic() + left
        before = time.monotonic_ns()
        while time.monotonic() < end:
            time.sleep(_REST_S)
            now = time.monotonic_ns()
            self.board.clock.advance(now - before)
            before = now
        self._pace.start()

    def _restart_asked(self) -> None:
        raise Interrupted("reset")

    def _say(self, **said: Any) -> None:
        with contextlib.suppress(OSError):  # whoever started this is gone; standard input will say so
            print(json.dumps(said), flush=True)

    # -- life ---------------------------------------------------------------------------------------------------------

    def _open(self) -> None:
        """Power: a port appears, the firmware starts."""
        self._terminal = Terminal()
        if self._link is not None:
            fresh = self._link.with_name(self._link.name + ".new")
            fresh.unlink(missing_ok=True)
            fresh.symlink_to(self._terminal.path)
            fresh.replace(self._link)
        self._start_firmware()
        self._say(port=str(self._link) if self._link is not None else self._terminal.path)

    def _start_firmware(self) -> None:
        self._stop_firmware()
        self._pace.start()
        if self._kind == "micropython":
            interpreter = find_micropython()
            assert interpreter is not None
            self._firmware = MicroPythonFirmware(self._hal, interpreter)
        else:
            self._firmware = CPythonFirmware(self._hal)

    def _stop_firmware(self) -> None:
        if self._firmware is not None:
            self._firmware.close()
            self._firmware = None

    def _close(self) -> None:
        self._stop_firmware()
        if self._terminal is not None:
            self._terminal.close()
            self._terminal = None

    def serve(self) -> int:
        """Run until standard input closes. 0, or 4 after an electrical fault."""
        try:
            self._open()
            while True:
                try:
                    self._run()
                except Interrupted as cut:
                    if cut.why == "stop":
                        return 0
                    self._interrupt(cut.why)
        except ElectricalFault as fault:
            self.board.blow(fault)
            self._say(fault=type(fault).__name__, message=fault.message, us=int(fault.at_us))
            print(f"electrical fault: {fault}", file=sys.stderr, flush=True)
            return 4
        finally:
            self._close()
            if self._link is not None:
                self._link.unlink(missing_ok=True)
            self.board.trace.flush()

    def _interrupt(self, why: str) -> None:
        """`hang`: the processor stands still. `unplug`: power and port are gone. `restart`: the processor resets."""
        if why in ("restart", "reset"):
            self._start_firmware()
        else:
            self._stop_firmware()
        if why == "unplug":
            if self._terminal is not None:
                self._terminal.close()
                self._terminal = None
            self.board.power_off()
        if why != "reset":
            self._say(done=why)

    def _run(self) -> None:
        turn = 0
        while True:
            if self._firmware is None:
                self.board.clock.advance(self.rest())
            else:
                try:
                    self._firmware.turn()
                except FirmwareStopped as wrong:
                    self._crashed(str(wrong))
                except Exception:  # noqa: BLE001 - a bug in the firmware is a processor that has stopped
                    self._crashed(traceback.format_exc())
            turn += 1
            if turn % 64 == 0:
                self.board.trace.flush()

    def _crashed(self, text: str) -> None:
        self._stop_firmware()
        self._say(crash=text.strip().splitlines()[-1] if text.strip() else "")
        print(f"firmware stopped: {text}", file=sys.stderr, flush=True)
