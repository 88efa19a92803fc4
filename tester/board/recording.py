"""Every byte both ways with its time, written down, and played back to the client.

A recording is text, one JSON value a line, each line followed by a tab and the CRC-32 of all text so far, so a changed
byte is named by its line:

    {"format": 1, "kind": "loomwright-recording", "protocol": "1.0", "address": "/dev/ttyACM0"}
    ["nonce", 0.000012, 305419896]       a random number that the client drew
    ["tick", 0.000020, 0]                the clock, read for a decision
    [">", 0.000031, "2a49444e3f0a"]      sent
    ["<", 0.001210, "4c6f6f6d..."]       received
    ["-", 1.001400, ""]                  nothing came until the time was over
    ["told", 2.000000, ["leads", "..."]]  a command to the virtual board (not to its port)

`Wire` writes one while a client works, `ReplayWire` takes the place of the board: same client, same decisions. It
checks what the client sends against what it sent then, and names the first entry that differs.
"""

from __future__ import annotations

import io
import json
import secrets
import threading
import zlib
from collections.abc import Callable
from pathlib import Path
from typing import IO, Any, Protocol

from tester.board.link import Link
from tester.board.requests import NONCE_MOST
from tester.errors import BoardError, InputError, StoreError

FORMAT = 1
KIND = "loomwright-recording"
PROTOCOL = "1.0"
SIZE_MOST = 512 * 1024 * 1024


class Recorder:
    """Takes entries down. Give it a path, or nothing and ask for `text()`.

    A file is written under a temporary name beside its place and gets its name only by `finish`; as a context manager
    it finishes when the block ends well, and leaves no file otherwise.
    """

    def __init__(self, path: Path | None = None) -> None:
        """Begin. Raises StoreError when the file cannot be written."""
        self.path = path
        self._part = path.with_name(f".{path.name}.{secrets.token_hex(4)}.part") if path else None
        self._sum = 0
        try:
            self._out: IO[str] = self._part.open("x", encoding="ascii", newline="\n") if self._part else io.StringIO()
        except OSError as error:
            raise StoreError(f"{path}: the recording cannot be written: {error.strerror}") from error

    def begin(self, address: str) -> None:
        """The first line."""
        self._line({"format": FORMAT, "kind": KIND, "protocol": PROTOCOL, "address": address})

    def note(self, mark: str, at: float, value: object) -> None:
        """One entry."""
        self._line([mark, at, value])

    def _line(self, value: object) -> None:
        text = json.dumps(value)
        self._sum = zlib.crc32(text.encode("ascii"), self._sum)
        try:
            self._out.write(f"{text}\t{self._sum:08x}\n")
        except OSError as error:
            raise StoreError(f"{self.path}: the recording cannot be written: {error.strerror}") from error

    def text(self) -> str:
        """The recording so far, when it has no file."""
        assert isinstance(self._out, io.StringIO)
        return self._out.getvalue()

    def finish(self) -> None:
        """Complete: the file gets its name. Raises StoreError."""
        if self._part is None or self.path is None:
            return
        try:
            self._out.close()
            self._part.replace(self.path)
        except OSError as error:
            raise StoreError(f"{self.path}: the recording cannot be written: {error.strerror}") from error
        self._part = None

    def __enter__(self) -> Recorder:
        return self

    def __exit__(self, kind: type[BaseException] | None, *_: object) -> None:
        if kind is None:
            self.finish()
        else:
            self.abandon()

    def abandon(self) -> None:
        """Not complete: no file is left."""
        self._out.close()
        if self._part is not None:
            self._part.unlink(missing_ok=True)
            self._part = None


class Channel(Protocol):
    """What the client talks through. `now`: time of the last thing that happened, seconds."""

    address: str
    now: float

    def send(self, data: bytes) -> None:
        """Bytes to the board."""

    def receive(self, until: float) -> bytes:
        """Bytes from the board; b"" when `until` has come."""

    def tick(self) -> float:
        """Read the clock into `now`."""

    def nonce(self) -> int:
        """A fresh random u32."""

    def tell(self, *words: str) -> bool:
        """A command to a virtual board, False where there is none."""

    def record(self, recorder: Recorder | None) -> None:
        """Write what happens from here on into `recorder`; None: no longer."""

    def close(self) -> None:
        """Done."""


def _random_u32() -> int:
    return secrets.randbits(32)


class Wire:
    """A link with its clock; everything that decides what the client does next goes through here."""

    def __init__(
        self,
        link: Link,
        clock: Callable[[], float],
        recorder: Recorder | None = None,
        random_u32: Callable[[], int] = _random_u32,
    ) -> None:
        self.address = link.address
        self._link, self._clock, self._recorder, self._random = link, clock, recorder, random_u32
        self._start = clock()
        self.now = 0.0
        self.record(recorder)

    def record(self, recorder: Recorder | None) -> None:
        """Write what happens from here on into `recorder`, the time beginning anew; None: no longer.

        What another thread tells the virtual bench meanwhile is not written: it is no part of the exchange.
        """
        self._recorder, self._writer = recorder, threading.get_ident()
        if recorder:
            self._start, self.now = self._clock(), 0.0
            recorder.begin(self.address)

    def _note(self, mark: str, value: object, at_least: float = 0.0) -> None:
        self.now = max(self.now, at_least, round(self._clock() - self._start, 6))
        if self._recorder:
            self._recorder.note(mark, self.now, value)

    def send(self, data: bytes) -> None:
        """Write. Raises BoardError."""
        self._link.write(data)
        self._note(">", data.hex())

    def receive(self, until: float) -> bytes:
        """Read what there is by `until`. Raises BoardError."""
        data = self._link.read(max(0.0, until - self.now))
        if data:
            self._note("<", data.hex())
        else:
            self._note("-", "", at_least=until)  # a time-out means that the time is over, whatever rounding says
        return data

    def tick(self) -> float:
        """Read the clock."""
        self._note("tick", 0)
        return self.now

    def nonce(self) -> int:
        """Draw a random u32."""
        value = self._random()
        self._note("nonce", value)
        return value

    def tell(self, *words: str) -> bool:
        """A command to the virtual board behind the link. Raises BoardError when it cannot do it."""
        told = self._link.tell(*words)
        if told and threading.get_ident() == self._writer:
            self._note("told", list(words))
        return told

    def close(self) -> None:
        """Close the link."""
        self._link.close()


class ReplayWire:
    """A recording in the place of a board."""

    def __init__(self, text: str, name: str = "recording") -> None:
        """Read a recording. Raises InputError naming the line that is damaged or of another format."""
        self._name = name
        header, self._entries = _read(text, name)
        self.address = f"replay of {header.get('address')}"
        self._next = 0
        self.now = 0.0

    @classmethod
    def load(cls, path: Path) -> ReplayWire:
        """Read a recording file. Raises InputError."""
        try:
            if path.stat().st_size > SIZE_MOST:
                raise InputError(f"{path}: more than {SIZE_MOST // 2**20} MB; no recording is that long")
            return cls(path.read_text(encoding="ascii"), str(path))
        except OSError as error:
            raise InputError(f"{path}: the recording cannot be read: {error.strerror}") from error
        except UnicodeDecodeError as error:
            raise InputError(f"{path}: not a recording: byte {error.start} is not text") from error

    @property
    def left(self) -> int:
        """Entries not yet played."""
        return len(self._entries) - self._next

    def send(self, data: bytes) -> None:
        """Check what is asked against what was asked then. Raises BoardError (code "replay")."""
        self._take((">",), f"asks {_shown(data)}", data.hex())

    def receive(self, until: float) -> bytes:
        """What came then."""
        return bytes.fromhex(self._take(("<", "-"), "waits for the board")[2])

    def tick(self) -> float:
        """The clock of then."""
        self._take(("tick",), "reads the clock")
        return self.now

    def nonce(self) -> int:
        """The random number of then."""
        return int(self._take(("nonce",), "draws a random number")[2])

    def tell(self, *words: str) -> bool:
        """Whether a virtual board was told something then."""
        if not self.left or self._entries[self._next][0] != "told":
            return False
        self._take(("told",), "tells the virtual board something")
        return True

    def record(self, recorder: Recorder | None) -> None:
        """It is a recording already."""

    def close(self) -> None:
        """Nothing to close."""

    def finish(self) -> None:
        """Complain about entries that nobody asked for. Raises BoardError (code "replay")."""
        if self.left:
            raise self._differs(f"entries from here on were not asked for ({self.left} left)")

    def _take(self, marks: tuple[str, ...], does: str, value: str | None = None) -> Any:
        if not self.left:
            raise self._differs(f"the recording ends, this program {does}")
        entry = self._entries[self._next]
        if entry[0] not in marks or (value is not None and entry[2] != value):
            had = {">": "asked", "<": "received", "-": "waited", "tick": "read the clock"}
            had |= {"nonce": "drew a number", "told": "told the virtual board something"}
            what = f" {_shown(bytes.fromhex(entry[2]))}" if entry[0] in "<>" else ""
            raise self._differs(f"then it {had[entry[0]]}{what}, now it {does}")
        self._next += 1
        self.now = float(entry[1])
        return entry

    def _differs(self, what: str) -> BoardError:
        return BoardError(
            f"{self._name}, line {self._next + 2}: {what}",
            f"The recording was made by protocol {PROTOCOL} of another version of this program, or for another task.",
            code="replay",
        )


def _shown(data: bytes) -> str:
    text = data.decode("ascii", "backslashreplace").strip()
    return repr(text if len(text) <= 60 else text[:57] + "...")


def _read(text: str, name: str) -> tuple[dict[str, Any], list[list[Any]]]:
    lines = text.split("\n")
    if lines[-1] != "":
        raise InputError(f"{name}, line {len(lines)}: cut off", "The recording is not complete.")
    total = 0
    values: list[Any] = []
    for number, line in enumerate(lines[:-1], 1):
        body, _, stated = line.rpartition("\t")
        total = zlib.crc32(body.encode("ascii", "replace"), total)
        if f"{total:08x}" != stated:
            raise InputError(f"{name}, line {number}: changed since it was recorded (its check sum does not fit)")
        try:
            values.append(json.loads(body))
        except (ValueError, RecursionError) as error:
            raise InputError(f"{name}, line {number}: not an entry of a recording: {error}") from error
    header = values[0] if values else None
    if not isinstance(header, dict) or header.get("kind") != KIND:
        raise InputError(f"{name}: not a recording of the link to a board")
    if header.get("format") != FORMAT or str(header.get("protocol")).split(".")[0] != PROTOCOL.split(".")[0]:
        raise InputError(
            f"{name}: recording format {header.get('format')}, protocol {header.get('protocol')}; this program reads"
            f" format {FORMAT}, protocol {PROTOCOL}",
            "The frames stored with a record can still be judged: `loomwright records replay`.",
        )
    for number, entry in enumerate(values[1:], 2):
        if not _is_entry(entry):
            raise InputError(f"{name}, line {number}: not an entry of a recording")
    return header, values[1:]


def _is_entry(entry: object) -> bool:
    if not (isinstance(entry, list) and len(entry) == 3 and isinstance(entry[1], (int, float))):
        return False
    if not 0 <= entry[1] < 1e9:
        return False
    mark, _, value = entry
    if mark in (">", "<", "-"):
        try:
            return isinstance(value, str) and bytes.fromhex(value).hex() == value
        except ValueError:
            return False
    if mark == "told":
        return isinstance(value, list) and all(isinstance(word, str) for word in value)
    return mark in ("tick", "nonce") and type(value) is int and 0 <= value <= NONCE_MOST
