"""Put the firmware on a board: files into the slot that is not running, each checked by SHA-256.

The board starts the newest slot that is whole, so breaking off anywhere leaves the firmware that was there, and
beginning again goes on where it broke off. A board that runs our firmware takes the files by the UPDate queries of the
protocol page; a bare one by MicroPython's raw REPL, where the same installer module does the same steps.
"""

from __future__ import annotations

import base64
import hashlib
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Protocol

from tester.board.client import Board
from tester.board.link import Link, SerialLink
from tester.board.ports import list_ports
from tester.board.rawrepl import RawRepl
from tester.board.recording import Wire
from tester.errors import BoardError
from tester.shipped import shipped

PIECE = 1024
BACK_S = 20.0
NOT_ON_BOARD = ("loader.py", "hal_link.py")  # the loader lives outside the slots; hal_link is for tests

Progress = Callable[[int, int], None]
Ask = Callable[[str], bool]


@dataclass(frozen=True)
class Installed:
    """What an installation did. `sent`: bytes that went over the line, fewer than `size` after a broken attempt."""

    slot: str
    files: int
    size: int
    sent: int
    resumed: bool
    firmware: str
    address: str


class Steps(Protocol):
    """The steps of an update on either way to the board; each may be repeated."""

    def begin(self, list_hash: str) -> tuple[str, bool]:
        """Choose the slot: its name, and whether a broken update of this list goes on."""

    def file(self, name: str, digest: str, size: int) -> int:
        """Announce a file; bytes of it that are there already."""

    def data(self, name: str, offset: int, piece: bytes) -> int:
        """Append; bytes there now."""

    def commit(self) -> int:
        """Check everything, and take the slot into use at the next start."""

    def start(self) -> None:
        """Restart the board."""


def firmware_files() -> dict[str, bytes]:
    """The firmware that travels with this program, by file name."""
    folder = shipped("hwspec", "firmware")
    return {path.name: path.read_bytes() for path in sorted(folder.glob("*.py")) if path.name not in NOT_ON_BOARD}


def firmware_version(files: Mapping[str, bytes]) -> str:
    """Version that these files will answer to `*IDN?`. Raises BoardError when they do not say."""
    for line in files.get("version.py", b"").decode("utf-8", "replace").splitlines():
        name, _, value = line.partition("=")
        if name.strip() == "FIRMWARE":
            return value.strip().strip("\"'")
    raise BoardError("the firmware files name no version", "Install the package again.", code="install")


def upload(steps: Steps, files: Mapping[str, bytes], progress: Progress | None = None) -> tuple[str, bool, int]:
    """All files into the free slot, and the slot into use: its name, whether it went on from a break, bytes sent.

    Raises BoardError; the firmware that was there stays the one that starts.
    """
    listed = [(hashlib.sha256(data).hexdigest(), len(data), name) for name, data in files.items()]
    listing = "".join(f"{digest} {size} {name}\n" for digest, size, name in listed)
    slot, resumed = steps.begin(hashlib.sha256(listing.encode("utf-8")).hexdigest())
    total, done, sent = sum(size for _, size, _ in listed), 0, 0
    for digest, size, name in listed:
        there = steps.file(name, digest, size)
        while there < size:
            piece = files[name][there : there + PIECE]
            now = steps.data(name, there, piece)
            if not there < now <= size:
                raise BoardError(f"the board has {now} bytes of {name} after byte {there} was sent", code="install")
            sent += len(piece)
            there = now
            if progress:
                progress(done + there, total)
        done += size
        if progress:
            progress(done, total)
    if steps.commit() != len(files):
        raise BoardError("the board counts other files than were sent", code="install")
    return slot, resumed, sent


class OverProtocol:
    """Steps on a board that runs our firmware."""

    def __init__(self, board: Board) -> None:
        self._board = board

    def begin(self, list_hash: str) -> tuple[str, bool]:
        """UPDate:BEGin?"""
        frame = self._board.update("UPD:BEG?", _quoted(list_hash))
        return frame.slot, bool(frame.value)

    def file(self, name: str, digest: str, size: int) -> int:
        """UPDate:FILE?"""
        return self._board.update("UPD:FILE?", _quoted(name), _quoted(digest), size).value

    def data(self, name: str, offset: int, piece: bytes) -> int:
        """UPDate:DATA?"""
        return self._board.update("UPD:DATA?", _quoted(name), offset, _quoted(base64.b64encode(piece).decode())).value

    def commit(self) -> int:
        """UPDate:COMMit?"""
        return self._board.update("UPD:COMM?").value

    def start(self) -> None:
        """UPDate:STARt?"""
        self._board.update("UPD:STAR?")


def _quoted(text: str) -> str:
    return f'"{text}"'


class OverRepl:
    """Steps on a bare board: the installer module, called through the raw REPL."""

    def __init__(self, repl: RawRepl, root: str = "/") -> None:
        self._repl, self._root = repl, root

    def begin(self, list_hash: str) -> tuple[str, bool]:
        """The installer first, then its `begin`."""
        source = shipped("hwspec", "firmware", "installer.py").read_bytes()
        self._whole_file("boot", "installer.py", source)
        self._repl.run(
            "import sys\nsys.path.insert(0, '/boot')\nsys.modules.pop('installer', None)\n"
            "from installer import Installer\nfrom binascii import a2b_base64\n"
            f"i = Installer({self._root!r})"
        )
        slot, resumed = self._repl.run(f"s, r = i.begin({list_hash!r})\nprint(s, int(r))").split()
        return slot, resumed == "1"

    def file(self, name: str, digest: str, size: int) -> int:
        """See Steps."""
        return int(self._repl.run(f"print(i.file({name!r}, {digest!r}, {size}))"))

    def data(self, name: str, offset: int, piece: bytes) -> int:
        """See Steps."""
        coded = base64.b64encode(piece).decode("ascii")
        return int(self._repl.run(f"print(i.data({name!r}, {offset}, a2b_base64({coded!r})))"))

    def commit(self) -> int:
        """The slot, then the loader: without it the board would still come up bare."""
        count = int(self._repl.run("print(i.commit())"))
        self._whole_file("", "main.py", shipped("hwspec", "firmware", "loader.py").read_bytes())
        return count

    def start(self) -> None:
        """Restart the processor."""
        self._repl.leave("import machine\nmachine.reset()")

    def _whole_file(self, folder: str, name: str, data: bytes) -> None:
        """A file outside the slots: written beside its place, hashed, renamed; nothing when it is right already."""
        path = f"/{folder}/{name}" if folder else f"/{name}"
        digest = hashlib.sha256(data).hexdigest()
        self._repl.run(
            "import os\nfrom binascii import hexlify, a2b_base64\nfrom hashlib import sha256\n"
            "def h(p):\n try:\n  with open(p, 'rb') as f:\n   return hexlify(sha256(f.read()).digest()).decode()\n"
            " except OSError:\n  return ''\n"
            "def d(p):\n try:\n  os.mkdir(p)\n except OSError:\n  pass\n"
        )
        if self._repl.run(f"print(h({path!r}))") == digest:
            return
        if folder:
            self._repl.run(f"d('/{folder}')")
        for at in range(0, len(data), PIECE):
            coded = base64.b64encode(data[at : at + PIECE]).decode("ascii")
            mode = "ab" if at else "wb"
            self._repl.run(f"with open({path + '.new'!r}, {mode!r}) as f:\n f.write(a2b_base64({coded!r}))\n")
        if self._repl.run(f"print(h({path + '.new'!r}))") != digest:
            raise BoardError(f"{name} did not arrive whole on the board", "Try again.", code="install")
        self._repl.run(f"os.rename({path + '.new'!r}, {path!r})")


def install(
    address: str,
    *,
    ask: Ask,
    progress: Progress | None = None,
    files: Mapping[str, bytes] | None = None,
    link: Callable[[str], Link] = SerialLink,
    root: str = "/",
) -> Installed:
    """Install the firmware and see the board come back with it.

    `ask(question)` is called before a port that does not answer as a board is treated as a bare one. Raises BoardError
    when nothing could be installed, or the board does not come back with the new firmware.
    """
    files = firmware_files() if files is None else files
    version = firmware_version(files)
    serial = next((port.usb_serial for port in list_ports() if port.path == address), "")
    try:
        board = Board(Wire(link(address), time.monotonic))
    except BoardError as error:
        if error.code != "link":
            raise
        question = f"{address} does not answer as a board. Is it a bare RP2040 board with MicroPython on it?"
        if not ask(question):
            raise
        port = link(address)
        try:
            steps: Steps = OverRepl(RawRepl(port), root)
            slot, resumed, sent = upload(steps, files, progress)
            steps.start()
        finally:
            port.close()
    else:
        with board:
            steps = OverProtocol(board)
            slot, resumed, sent = upload(steps, files, progress)
            steps.start()
            board.forsake()
    address, found = _back(address, serial, link)
    if found != version:
        raise BoardError(
            f"{address}: the board came back with firmware {found}, not {version}",
            "The new one did not start, and the board went back to the older one. Install again.",
            code="install",
        )
    return Installed(slot, len(files), sum(map(len, files.values())), sent, resumed, found, address)


def _back(address: str, serial: str, link: Callable[[str], Link]) -> tuple[str, str]:
    """Where the restarted board answers, and its firmware; under another name when its USB serial number moved."""
    end = time.monotonic() + BACK_S
    last = BoardError(f"{address}: the board did not come back after the restart", code="install")
    while time.monotonic() < end:
        time.sleep(0.3)
        moved = next((port.path for port in list_ports() if serial and port.usb_serial == serial), address)
        try:
            with Board(Wire(link(moved), time.monotonic)) as board:
                return moved, board.info.firmware
        except BoardError as error:
            last = BoardError(f"{error.message}; it did not come back after the restart", error.hint, "install")
    raise last
