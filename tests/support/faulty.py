"""A line to a virtual board that damages what passes, by a seed.

`Mangler` does the damage; `FaultyLink` is a port on a board in process, on the board's virtual clock; `FaultyPort` (in
faulty_port.py) a pseudo-terminal. Messages are counted in both directions; a `Fault` strikes the message
whose number it carries. `archive` holds replies of another session on another harness, by request line: the worst
stale replies there are, with the same sequence numbers.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from tester.errors import BoardError
from tests.support.virtual import VirtualBench

KINDS = (
    "drop", "flip", "double", "cut", "delay", "swap", "stale", "noise",
    "chatter", "reset", "intruder", "vanish", "lost request", "damaged request",
)  # fmt: skip
TOWARDS_BOARD = ("lost request", "damaged request", "chatter", "intruder")
IDLE_NS = 4_000_000
CHATTER = (b"AT\r\n", b"AT+GCAP\r", b"\x00\xff~\x01", b"*IDN?\n", b"#18", b"\x7e\x00\x78\xf0\x7e", b"SYST:ERR?\n")


@dataclass(frozen=True)
class Fault:
    """What happens to message number `at` (requests and replies counted apart)."""

    kind: str
    at: int


def draw_faults(dice: random.Random, messages: int) -> list[Fault]:
    """One to three faults on a session of so many messages."""
    return [Fault(dice.choice(KINDS), dice.randrange(messages)) for _ in range(dice.choice((1, 1, 1, 2, 3)))]


class Mangler:
    """Strikes the messages of one line. `reset` restarts the board, `vanish` takes the port away."""

    def __init__(
        self,
        dice: random.Random,
        faults: list[Fault],
        archive: Mapping[bytes, bytes],
        reset: Callable[[], None],
        vanish: Callable[[], None],
    ) -> None:
        self.struck: set[str] = set()
        self.requests = self.replies = 0
        self.last_line = b""
        self._dice, self._faults, self._archive = dice, list(faults), archive
        self._reset, self._vanish = reset, vanish
        self._held = b""

    def to_board(self, data: bytes) -> bytes:
        """A request as it arrives."""
        self.last_line = data.strip().split(b"\n")[-1]
        for fault in self._take(True, self.requests):
            data = self._towards_board(fault.kind, data) if data else data
        self.requests += 1
        return data

    def to_host(self, data: bytes) -> tuple[bytes, float]:
        """A reply as it arrives, and how many seconds later."""
        wait = 0.0
        for fault in self._take(False, self.replies):
            data, more = self._towards_host(fault.kind, data) if data else (data, 0.0)
            wait = max(wait, more)
        self.replies += 1
        if self._held and data:
            data, self._held = data + self._held, b""
        return data, wait

    def _take(self, towards_board: bool, number: int) -> list[Fault]:
        due = [f for f in self._faults if f.at <= number and (f.kind in TOWARDS_BOARD) == towards_board]
        for fault in due:
            self._faults.remove(fault)
            self.struck.add(fault.kind)
        return due

    def _towards_board(self, kind: str, data: bytes) -> bytes:
        dice = self._dice
        if kind == "lost request":
            return data[: dice.randrange(len(data))]
        if kind == "damaged request":
            return _flipped(dice, data)
        if kind == "chatter":
            return b"".join(dice.choice(CHATTER) for _ in range(dice.randrange(1, 5))) + data
        if kind == "intruder":
            nonce = dice.getrandbits(32)
            lines = [
                f"SYST:SYNC? {dice.randrange(65536)},{nonce}",
                f"SYST:LEAS? {dice.randrange(65536)},{nonce},{dice.choice((100, 500))}",
                f"OUTP:OFF? {dice.randrange(65536)}",
                "*RST",
                "*IDN?",
                f"SCAN:WALK? {dice.randrange(65536)},(@1:4),(@1:64)",
            ]
            chosen = dice.sample(lines, dice.randrange(1, 4))
            before = "".join(line + "\n" for line in chosen).encode()
            return before + data if dice.random() < 0.5 else data + before
        raise AssertionError(kind)

    def _towards_host(self, kind: str, data: bytes) -> tuple[bytes, float]:
        dice = self._dice
        at = dice.randrange(len(data))
        if kind == "drop":
            return data[:at] + data[at + dice.choice((1, 1, 2, 5)) :], 0.0
        if kind == "flip":
            return _flipped(dice, data), 0.0
        if kind == "double":
            return data[: at + dice.choice((1, 1, 2, 20))] + data[at:], 0.0
        if kind == "cut":
            return data[:at], 0.0
        if kind == "delay":
            return data, dice.choice((0.02, 0.3, 0.6, 0.99, 1.01, 1.5, 3.0))
        if kind == "swap":
            held, self._held = self._held, data
            return held, 0.0
        if kind == "stale":
            old = self._archive.get(self.last_line) or dice.choice([*self._archive.values()] or [b""])
            return dice.choice((old + data, data + old, old)), 0.0
        if kind == "noise":
            return data[:at] + dice.randbytes(dice.choice((1, 3, 50))) + data[at:], 0.0
        if kind == "reset":
            self._reset()
            return data[:at], 0.0
        if kind == "vanish":
            self._vanish()
            return data[:at], 0.0
        raise AssertionError(kind)


class FaultyLink:
    """A Link (write, read, tell, close) to a bench, with faults."""

    def __init__(
        self,
        bench: VirtualBench,
        dice: random.Random,
        faults: list[Fault],
        archive: Mapping[bytes, bytes] | None = None,
    ) -> None:
        self.address = "faulty"
        self.gone = False
        self.mangler = Mangler(dice, faults, archive or {}, self._restart, self.close)
        self._bench = bench
        self._due: list[tuple[float, bytes]] = []  # (virtual time, bytes) still to arrive, in order

    def clock(self) -> float:
        """Virtual seconds."""
        return self._bench.seconds

    def write(self, data: bytes) -> None:
        self._alive()
        self._bench.write(self.mangler.to_board(data))

    def read(self, timeout_s: float) -> bytes:
        self._alive()
        end = self.clock() + timeout_s
        while True:
            self._collect()
            if self._due and self._due[0][0] <= self.clock():
                return self._due.pop(0)[1]
            self._alive()
            if self.clock() >= end:
                return b""
            self._bench.app.poll()
            if not self._bench.line.to_board and not self._bench.line.to_host:
                self._bench.board.clock.advance(min(IDLE_NS, max(1, int((end - self.clock()) * 1e9))))

    def _collect(self) -> None:
        """What the board has said becomes one message on its way."""
        data = bytes(self._bench.line.to_host)
        if data:
            self._bench.line.to_host.clear()
            data, wait = self.mangler.to_host(data)
            if data:
                self._due.append((max([self.clock() + wait, *(due for due, _ in self._due)]), data))

    def _restart(self) -> None:
        self._bench.restart()
        self._bench.line.to_board.clear()

    def _alive(self) -> None:
        if self.gone and not self._due:
            raise BoardError(f"{self.address}: the port failed: gone", code="port")

    def tell(self, *words: str) -> bool:
        return False

    def close(self) -> None:
        self.gone = True


def _flipped(dice: random.Random, data: bytes) -> bytes:
    changed = bytearray(data)
    for _ in range(dice.choice((1, 1, 2, 8))):
        changed[dice.randrange(len(changed))] ^= 1 << dice.randrange(8)
    return bytes(changed)
