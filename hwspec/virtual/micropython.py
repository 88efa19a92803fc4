"""Firmware under real MicroPython as a child process; its bus calls come over pipes to the chip models here.

Frames: request 0xA5, op, u16 length, payload; reply 0x5A, status, u16 length, payload. Exactly one reply each.
"""

from __future__ import annotations

import os
import shutil
import struct
import subprocess
import sys
import tempfile
from pathlib import Path

from hwspec.virtual.hal import VirtualHal

HEAP = "192k"
PROGRAM = "from hwspec.firmware.hal_link import main\nmain()\n"
_OK, _FAULT, _NOBODY = 0, 1, 2


class FirmwareStopped(Exception):
    """The child ended, or said something that is no frame (a traceback)."""


def find_micropython() -> str | None:
    """Path of the interpreter: beside this Python, or on the PATH."""
    return _find("micropython")


def _find(program: str) -> str | None:
    beside = Path(sys.executable).with_name(program)
    return str(beside) if os.access(beside, os.X_OK) else shutil.which(program)


def lay_out(folder: Path) -> None:
    """Put the firmware into `folder` as the board carries it: `hwspec/firmware`, compiled where mpy-cross is there.

    A 64-bit interpreter needs twice the board's memory to compile a source file, so sources need not fit its heap.
    """
    source = Path(__file__).resolve().parents[1] / "firmware"
    target = folder / "hwspec" / "firmware"
    target.mkdir(parents=True)
    (folder / "hwspec" / "__init__.py").touch()
    compiler = _find("mpy-cross")
    for path in sorted(source.glob("*.py")):
        if compiler is None:
            shutil.copy(path, target)
        else:
            subprocess.run([compiler, "-s", path.name, "-o", target / f"{path.stem}.mpy", path], check=True)


class MicroPythonFirmware:
    """The child. `turn` answers one request of it; it always has one, for it asks even when idle."""

    def __init__(self, hal: VirtualHal, interpreter: str, program: str = PROGRAM, heap: str = HEAP) -> None:
        self._hal = hal
        self._folder = tempfile.TemporaryDirectory(prefix="virtual-board-")
        lay_out(Path(self._folder.name))
        self._child = subprocess.Popen(
            [
                interpreter,
                "-X",
                f"heapsize={heap}",
                "-c",
                program,
                *([hal.root] if hal.root else []),
            ],
            cwd=self._folder.name,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
        )
        assert self._child.stdin is not None and self._child.stdout is not None
        self._to, self._from = self._child.stdin, self._child.stdout

    def turn(self) -> None:
        """Answer one request. Raises FirmwareStopped."""
        head = self._from.read(4)
        if len(head) < 4 or head[0] != 0xA5:
            raise FirmwareStopped(
                (head + self._rest_of_text()).decode("utf-8", "replace").strip() or "no more requests"
            )
        op, size = head[1], head[2] | head[3] << 8
        payload = self._from.read(size)
        try:
            status, reply = _OK, self._answer(op, payload)
        except OSError:
            status, reply = _NOBODY, b""
        try:
            self._to.write(struct.pack("<BBH", 0x5A, status, len(reply)) + reply)
            self._to.flush()
        except BrokenPipeError:
            raise FirmwareStopped("the interpreter closed its input") from None

    def _rest_of_text(self) -> bytes:
        try:
            self._to.close()
        except OSError:
            pass
        return self._from.read()

    def _answer(self, op: int, payload: bytes) -> bytes:
        hal = self._hal
        match op:
            case 0x01:
                hal.spi(payload[0], payload[1:], None)
            case 0x02:
                inp = bytearray(len(payload) - 1)
                hal.spi(payload[0], payload[1:], inp)
                return bytes(inp)
            case 0x03:
                hal.mux(payload)
            case 0x04:
                hal.i2c_write(payload[0], payload[1:])
            case 0x05:
                buf = bytearray(payload[1])
                hal.i2c_read(payload[0], buf)
                return bytes(buf)
            case 0x06:
                hal.arm(payload[0])
            case 0x07:
                hal.rail(payload[0])
            case 0x08:
                return struct.pack("<I", hal.ticks_us())
            case 0x09:
                hal.wait_us(struct.unpack("<I", payload)[0])
            case 0x0A:
                buf = bytearray(struct.unpack("<H", payload)[0])
                return bytes(buf[: hal.serial_read(buf)])
            case 0x0B:
                hal.serial_write(payload)
            case 0x0C:
                hal.idle()
            case 0x0D:
                return hal.unique_id()
            case 0x0E:
                found = hal.store_read(payload.decode())
                return b"\0" if found is None else b"\1" + found
            case 0x0F:
                size = payload[0]
                hal.store_write(payload[1 : 1 + size].decode(), payload[1 + size :])
            case 0x10:
                return bytes([hal.cards, hal.build == "starter", hal.pins])
            case 0x11:
                hal.reference(payload[0])
            case 0x12:
                hal.gpio_set(*struct.unpack("<II", payload))
            case 0x13:
                return struct.pack("<I", hal.gpio_get())
            case 0x14:
                hal.restart()
            case _:
                raise FirmwareStopped(f"unknown request 0x{op:02X}")
        return b""

    def close(self) -> None:
        """End the child."""
        for pipe in (self._to, self._from):
            try:
                pipe.close()
            except OSError:
                pass
        self._child.kill()
        self._child.wait()
        self._folder.cleanup()
