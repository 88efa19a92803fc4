"""A line to a virtual board that damages what passes: seeded, in process, on the board's virtual clock.

`FaultyLink` stands where a serial port would. Messages are counted in both directions; a `Fault` strikes the message
whose number it carries. `archive` holds replies of another session on another harness, by request line: the worst
stale replies there are, with the same sequence numbers.
"""

from __future__ import annotations

import random
from collections.abc import Mapping
from dataclasses import dataclass

from tester.errors import BoardError
from tests.support.virtual import VirtualBench

KINDS = (
    "drop", "flip", "double", "cut", "delay", "swap", "stale", "noise",
    "chatter", "reset", "intruder", "vanish", "lost request", "damaged request",
)  # fmt: skip
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
        self.struck: set[str] = set()
        self._bench, self._dice = bench, dice
        self._faults = list(faults)
        self._archive = archive or {}
        self._due: list[tuple[float, bytes]] = []  # (virtual time, bytes) still to arrive, in order
        self._held = b""
        self.requests = self.replies = 0
        self._last_line = b""

    def clock(self) -> float:
        """Virtual seconds."""
        return self._bench.seconds

    # -- towards the board --------------------------------------------------------------------------------------------

    def write(self, data: bytes) -> None:
        self._alive()
        for fault in self._take("write", self.requests):
            data = self._towards_board(fault.kind, data)
        self.requests += 1
        self._last_line = data.strip().split(b"\n")[-1]
        self._bench.write(data)

    def _towards_board(self, kind: str, data: bytes) -> bytes:
        dice = self._dice
        if not data:
            return data
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

    # -- towards the host ---------------------------------------------------------------------------------------------

    def read(self, timeout_s: float) -> bytes:
        self._alive()
        end = self.clock() + timeout_s
        while True:
            self._collect()
            if self._due and self._due[0][0] <= self.clock():
                return self._due.pop(0)[1]
            if self.clock() >= end:
                return b""
            self._bench.app.poll()
            if not self._bench.line.to_board and not self._bench.line.to_host:
                self._bench.board.clock.advance(min(IDLE_NS, max(1, int((end - self.clock()) * 1e9))))
            self._alive()

    def _collect(self) -> None:
        """What the board has said becomes one message on its way."""
        data = bytes(self._bench.line.to_host)
        if not data:
            return
        self._bench.line.to_host.clear()
        wait = 0.0
        for fault in self._take("read", self.replies):
            data, more = self._towards_host(fault.kind, data)
            wait = max(wait, more)
        self.replies += 1
        if self._held and data:
            data, self._held = data + self._held, b""
        if data:
            at = max([self.clock() + wait, *(due for due, _ in self._due)])
            self._due.append((at, data))

    def _towards_host(self, kind: str, data: bytes) -> tuple[bytes, float]:
        dice = self._dice
        if not data:
            return data, 0.0
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
            self._held = data
            return b"", 0.0
        if kind == "stale":
            old = self._archive.get(self._last_line) or dice.choice([*self._archive.values()] or [b""])
            return dice.choice((old + data, data + old, old)), 0.0
        if kind == "noise":
            return data[:at] + dice.randbytes(dice.choice((1, 3, 50))) + data[at:], 0.0
        if kind == "reset":
            self._bench.restart()
            self._bench.line.to_board.clear()
            return data[:at], 0.0
        if kind == "vanish":
            self.gone = True
            return data[:at], 0.0
        raise AssertionError(kind)

    def _take(self, direction: str, number: int) -> list[Fault]:
        towards_board = ("lost request", "damaged request", "chatter", "intruder")
        due = [f for f in self._faults if f.at <= number and (f.kind in towards_board) == (direction == "write")]
        for fault in due:
            self._faults.remove(fault)
            self.struck.add(fault.kind)
        return due

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
