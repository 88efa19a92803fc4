"""A whole bench in this process: virtual board, firmware, client, the product's measuring sequence and verdict."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from tester.board.client import Board
from tester.board.recording import Wire
from tester.harness.leads import LeadMap
from tester.harness.reading import Measured
from tester.job.measure import isolation_of, take_scan
from tester.judge import JudgeFacts, checks_of
from tests.support.virtual import VirtualBench


class QuietLink:
    """A port on a board in process that loses nothing; its clock is the board's."""

    address = "in process"

    def __init__(self, bench: VirtualBench) -> None:
        self._bench = bench

    def clock(self) -> float:
        return self._bench.seconds

    def write(self, data: bytes) -> None:
        self._bench.write(data)

    def read(self, timeout_s: float) -> bytes:
        return self._bench.read_some(timeout_s)

    def tell(self, *_words: str) -> bool:
        return False

    def close(self) -> None:
        pass


class Rig:
    """One board with one lead map; harnesses are plugged in one after the other and measured.

    `wired`: where the leads really go, if not where the map says.
    """

    def __init__(
        self,
        leads: dict[int, str],
        *,
        seed: int = 0,
        build: str = "full",
        wired: dict[int, str] | None = None,
        worst_leakage: bool = False,
    ) -> None:
        cards = (max(leads) + 63) // 64
        self.bench = VirtualBench({}, wired or leads, cards=cards, seed=seed, build=build, worst_leakage=worst_leakage)
        self.leads = LeadMap("rig", leads)
        link = QuietLink(self.bench)
        self.board = Board(Wire(link, link.clock, None, lambda: 0x10000 + seed))
        self.facts = JudgeFacts(can=checks_of(self.board.info.can))

    def measure(self, harness: dict[str, Any], also: Iterable[tuple[str, str]] = ()) -> tuple[Measured, JudgeFacts]:
        """Plug in, run the product's measuring sequence, give the reading and what judge must know."""
        self.bench.plug(harness)
        run = take_scan(self.board, [self.leads], also=tuple(also))
        facts = JudgeFacts(can=self.facts.can, isolation=isolation_of(run.rounds), isolation_seen_to=3e6)
        return run.measured, facts

    def close(self) -> None:
        self.board.close()
