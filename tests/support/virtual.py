"""The virtual board in the test's own process: firmware under CPython, no pseudo-terminal, no sleeping.

    bench = VirtualBench({"link": [{"a": "D-1", "b": "H-1"}]}, {1: "D-1", 33: "H-1"})
    bench.write(b"*IDN?\\n"); bench.read(200, timeout=1)      # timeout in virtual seconds

`harness`: a path, a Harness, or the tables of a harness file without `format`. `leads`: a path, Leads, a dict of
channel -> cavity, or None (nothing plugged in).
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from hwspec.virtual.board import Options, VirtualBoard
from hwspec.virtual.hal import VirtualHal
from hwspec.virtual.harness import Harness, load_harness, parse_harness
from hwspec.virtual.leads import Leads, load_leads
from hwspec.virtual.parts import Parts


class MemoryLine:
    """Two byte queues in place of a port. `rest` lets a millisecond of virtual time pass unless bytes wait."""

    def __init__(self) -> None:
        self.to_board = bytearray()
        self.to_host = bytearray()

    def take(self, most: int) -> bytes:
        data = bytes(self.to_board[:most])
        del self.to_board[:most]
        return data

    def put(self, data: bytes) -> None:
        self.to_host += data

    def rest(self) -> int:
        return 1_000 if self.to_board else 1_000_000


def as_harness(given: Harness | Path | str | dict[str, Any]) -> Harness:
    """A Harness from anything that names one."""
    if isinstance(given, Harness):
        return given
    if isinstance(given, dict):
        return parse_harness({"format": 1} | given, "test harness")
    return load_harness(Path(given))


def as_leads(given: Leads | Path | str | dict[int, str] | None) -> Leads | None:
    """Leads from anything that names some."""
    if given is None or isinstance(given, Leads):
        return given
    if isinstance(given, dict):
        return Leads(given)
    return load_leads(Path(given))


class VirtualBench:
    """A transport (`write`, `read`, `close`) with a whole board behind it.

    `board` has `clock`, `trace`, `circuit`, `pump`, chips; `plug(harness)` and `touch(cavity)` act on the bench.
    With `nominal=True` every part has its nominal value and nothing is noisy; otherwise they come from `seed`.
    """

    def __init__(
        self,
        harness: Harness | Path | str | dict[str, Any] | None = None,
        leads: Leads | Path | str | dict[int, str] | None = None,
        *,
        cards: int = 1,
        build: str = "full",
        seed: int = 0,
        nominal: bool = False,
        parts: Parts | None = None,
        worst_leakage: bool = False,
        overhead_us: float = 25.0,
        defects: tuple[str, ...] = (),
        store: dict[str, bytes] | None = None,
        app: bool = True,
    ) -> None:
        options = Options(build, cards, None, seed, parts, overhead_us, worst_leakage, defects)
        if nominal:
            options.parts = options.nominal()
        if store is not None:
            options.store = store
        self.board = VirtualBoard(as_harness(harness or {}), as_leads(leads), options)
        self.line = MemoryLine()
        self.hal = VirtualHal(self.board, self.line)
        self.app: Any = None
        if app:
            self.restart()

    def restart(self) -> None:
        """Start the firmware afresh, as after a reset of its processor."""
        from hwspec.firmware.app import App

        self.app = App(self.hal)  # type: ignore[arg-type]

    @property
    def seconds(self) -> float:
        """Virtual time."""
        return self.board.clock.now / 1e9

    def write(self, data: bytes) -> int:
        """Bytes towards the board; they are handled while `read` or `run` lets it poll."""
        self.line.to_board += data
        return len(data)

    def read(self, size: int, timeout: float = 1.0) -> bytes:
        """Up to `size` bytes; fewer when `timeout` virtual seconds pass without all of them."""
        end = self.board.clock.now + int(timeout * 1e9)
        while len(self.line.to_host) < size and self.board.clock.now < end:
            self.app.poll()
            if not self.line.to_board and self.line.to_host and len(self.line.to_host) < size:
                self.board.clock.advance(self.line.rest())
        data = bytes(self.line.to_host[:size])
        del self.line.to_host[:size]
        return data

    def read_some(self, timeout: float = 1.0) -> bytes:
        """Whatever has arrived, at least one byte unless `timeout` virtual seconds pass."""
        first = self.read(1, timeout)
        data = first + bytes(self.line.to_host)
        self.line.to_host.clear()
        return data

    def run(self, seconds: float) -> None:
        """Let the board poll for a span of virtual time (each turn without work is a millisecond)."""
        end = self.board.clock.now + int(seconds * 1e9)
        while self.board.clock.now < end:
            self.app.poll()
            self.board.clock.advance(100_000)

    def ask(self, line: str, timeout: float = 2.0) -> bytes:
        """Send one line, give what comes back: a text line, or a definite-length block with its line end."""
        self.write(line.encode() + b"\n")
        got = self.read(1, timeout)
        if got != b"#":
            while got and not got.endswith(b"\n"):
                more = self.read(1, timeout)
                if not more:
                    break
                got += more
            return got
        digits = self.read(1, timeout)
        size = self.read(int(digits), timeout)
        return got + digits + size + self.read(int(size) + 1, timeout)

    def plug(self, harness: Harness | Path | str | dict[str, Any]) -> None:
        """Another harness on the same leads."""
        self.board.plug(as_harness(harness))

    def touch(self, cavity: str | None, other: str | None = None) -> None:
        """Hold a probe to a cavity; None takes it away."""
        self.board.touch(cavity, other)

    def close(self) -> None:
        """Nothing to close; here so that it can stand in for a port."""
