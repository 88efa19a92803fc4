"""A bare RP2040 board as far as installing goes: real MicroPython on a pseudo-terminal, littlefs on an image file.

At power-on it runs `/main.py` if the flash has one, else (or when that returns) the REPL. `machine` is a stand-in
(starter build: strap high, pins that do nothing), so the firmware's own `hal_rp2040` runs. Power can be cut after a
number of bytes from the host: the interpreter is killed. Each power-on has a new port; `stable` is a link to it.
"""

from __future__ import annotations

import contextlib
import os
import select
import shutil
import subprocess
import sys
import tempfile
import threading
import tty
from pathlib import Path

START = """
import vfs, sys
class Flash:
    def __init__(self, path, blocks):
        self.f = open(path, "r+b")
        self.blocks = blocks
    def readblocks(self, n, buf, off=0):
        self.f.seek(n * 4096 + off)
        self.f.readinto(buf)
    def writeblocks(self, n, buf, off=0):
        self.f.seek(n * 4096 + off)
        self.f.write(buf)
    def ioctl(self, op, arg):
        if op == 4:
            return self.blocks
        if op == 5:
            return 4096
        if op == 6:
            self.f.seek(arg * 4096)
            self.f.write(b"\\xff" * 4096)
        return 0
flash = Flash({image!r}, {blocks})
try:
    files = vfs.VfsLfs2(flash)
except OSError:
    vfs.VfsLfs2.mkfs(flash)
    files = vfs.VfsLfs2(flash)
vfs.umount("/")
vfs.mount(files, "/")
sys.path[:] = ["", "/lib"]

class Pin:
    IN = 0
    OUT = 1
    PULL_UP = 1
    def __init__(self, *a, **k): pass
    def init(self, *a, **k): pass
    def value(self, *a): return 1
    def __call__(self, *a): return 1
class WDT:
    def __init__(self, timeout): pass
    def feed(self): pass
class Memory:
    def __getitem__(self, a): return 0
    def __setitem__(self, a, v): pass
class Machine:
    Pin = Pin
    WDT = WDT
    mem32 = Memory()
    def unique_id(self): return b"FLASHBRD"
    def reset(self): sys.exit(86)
sys.modules["machine"] = Machine()
"""
RUN_MAIN = """
try:
    text = open("/main.py").read()
except OSError:
    sys.exit(87)
exec(text, {{"__name__": "__main__"}})
sys.exit(87)
"""
BLOCKS = 352  # 1.4 MB, what MicroPython leaves of an RP2040 board's 2 MB
HEAP = "192wk"  # 192 kB as on the RP2040, scaled by the word size: a 64-bit interpreter needs twice as much
RESET, NO_MAIN = 86, 87


def interpreter() -> str | None:
    """Real MicroPython, None where there is none for this platform."""
    beside = Path(sys.executable).with_name("micropython")
    return str(beside) if beside.exists() else shutil.which("micropython")


class FlashBoard:
    """Context manager. `cut_after`: bytes from the host after which the power goes, None for never."""

    def __init__(self, image: Path) -> None:
        self.image = image
        if not image.exists():
            image.write_bytes(b"\xff" * 4096 * BLOCKS)
        self.port = ""
        self.powered = threading.Event()
        self._cut_after: int | None = None
        self._heard = 0
        self._thread: threading.Thread | None = None
        self._folder = tempfile.TemporaryDirectory(prefix="ports-")
        self.stable = str(Path(self._folder.name) / "port")

    def __enter__(self) -> FlashBoard:
        return self

    def __exit__(self, *_: object) -> None:
        self.off()
        self._folder.cleanup()

    def on(self, cut_after: int | None = None) -> str:
        """Power on; the port."""
        self.off()
        self._cut_after, self._heard = cut_after, 0
        self._master, self._slave = os.openpty()
        tty.setraw(self._slave)
        self.port = os.ttyname(self._slave)
        fresh = Path(self.stable + ".new")
        fresh.unlink(missing_ok=True)
        fresh.symlink_to(self.port)
        fresh.replace(self.stable)
        self.powered.set()
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._thread.start()
        return self.port

    def off(self) -> None:
        """Power off."""
        self.powered.clear()
        if self._thread is not None:
            self._thread.join(10)
            self._thread = None

    @property
    def heard(self) -> int:
        """Bytes that came from the host since power-on."""
        return self._heard

    def _serve(self) -> None:
        status: int | None = RESET
        try:
            while self.powered.is_set() and status in (RESET, NO_MAIN):
                status = self._life(repl=status == NO_MAIN)
        finally:
            self.powered.clear()
            for descriptor in (self._master, self._slave):
                with contextlib.suppress(OSError):
                    os.close(descriptor)

    def _life(self, repl: bool) -> int | None:
        """From power-on or reset to the next, or to the end of power: the interpreter's exit status."""
        start = START.format(image=str(self.image), blocks=BLOCKS)
        how = ["-i", "-c", start] if repl else ["-c", start + RUN_MAIN.format()]
        program = interpreter()
        assert program is not None
        with subprocess.Popen(
            [program, "-X", f"heapsize={HEAP}", *how],
            stdin=(inner := os.openpty())[1],
            stdout=inner[1],
            stderr=subprocess.STDOUT,
        ) as child:
            tty.setraw(inner[1])
            os.close(inner[1])
            try:
                self._pass(child, inner[0])
                return child.poll()
            finally:
                child.kill()
                os.close(inner[0])

    def _pass(self, child: subprocess.Popen[bytes], inner: int) -> None:
        """Bytes both ways until the interpreter ends or the power does."""
        while self.powered.is_set() and child.poll() is None:
            ready, _, _ = select.select([self._master, inner], [], [], 0.05)
            with contextlib.suppress(OSError):
                if self._master in ready:
                    data = os.read(self._master, 256)
                    if self._cut_after is not None and self._heard + len(data) >= self._cut_after:
                        os.write(inner, data[: self._cut_after - self._heard])
                        self._heard = self._cut_after
                        child.kill()
                        self.powered.clear()
                        return
                    self._heard += len(data)
                    while data:
                        data = data[os.write(inner, data) :]
                if inner in ready:
                    data = os.read(inner, 4096)
                    while data:
                        data = data[os.write(self._master, data) :]
