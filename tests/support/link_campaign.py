"""One seeded session with faults on the line, and what came of it. Used by the campaign and by its short form."""

from __future__ import annotations

import random
from collections import Counter
from dataclasses import dataclass, field
from functools import cache

from tester.board.client import Board
from tester.board.ohms import resistance
from tester.board.recording import Wire
from tester.board.session import CLOSE_S, OPEN_S, SLICE_S
from tester.errors import BoardError
from tests.support.faulty import Fault, FaultyLink, draw_faults
from tests.support.virtual import VirtualBench

LEADS = {1: "D-1", 2: "D-2", 33: "H-1", 34: "H-2", 60: "H-4"}
CHANNELS = tuple(LEADS)
HARNESS = {
    "link": [
        {"a": "D-1", "b": "H-1", "ohms": 0.5},
        {"a": "D-2", "b": "~g", "ohms": 0.1},
        {"a": "H-2", "b": "~g", "ohms": 0.1},
    ]
}
OTHER = {"link": [{"a": "D-1", "b": "H-2"}, {"a": "D-2", "b": "H-4", "ohms": 3.0}, {"a": "H-1", "b": "H-4"}]}
ROWS = (0b00101, 0b01010, 0b00101, 0b01010, 0b10000)
PATTERNS = [(1, 2), (33,), (2, 60)]
PATTERN_ROWS = (0b01111, 0b00101, 0b11010)
MESSAGES = 14  # requests of one session without faults
LOW_NONCE = 0x4321  # every session counts from the same sequence number: stale replies fit as well as they can
MARGIN_S = 0.05


@dataclass
class Outcome:
    """What one seed gave. `wrong`: what was believed and is not so. `late`: seconds beyond a stated time-out."""

    seed: int
    faults: list[Fault]
    struck: set[str] = field(default_factory=set)
    aborted: str = ""
    wrong: list[str] = field(default_factory=list)
    late: float = 0.0
    longest_s: float = 0.0
    driven: list[int] = field(default_factory=list)
    mended: bool = False

    @property
    def kind(self) -> str:
        """One word for the table."""
        return "WRONG" if self.wrong else "aborted" if self.aborted else "mended" if self.mended else "right"


class _Timed:
    """Measures each call on the virtual clock against the time that it may take."""

    def __init__(self, link: FaultyLink, outcome: Outcome) -> None:
        self._link, self._outcome = link, outcome

    def __call__(self, allowed: float, call: object) -> object:
        start = self._link.clock()
        try:
            return call()  # type: ignore[operator]
        finally:
            took = self._link.clock() - start
            self._outcome.longest_s = max(self._outcome.longest_s, took)
            self._outcome.late = max(self._outcome.late, took - allowed - MARGIN_S)


def session(link: FaultyLink, nonce: int, outcome: Outcome) -> None:
    """Open, measure everything, compare with what is plugged in, close. BoardError is noted as an abort."""
    timed = _Timed(link, outcome)
    board: Board | None = None
    try:
        board = timed(OPEN_S, lambda: Board(Wire(link, link.clock, None, lambda: nonce)))  # type: ignore[assignment]
        assert board is not None
        _measure(board, timed, outcome)
    except BoardError as error:
        outcome.aborted = error.message
    if board is not None:
        outcome.mended = board.troubles.any
        timed(CLOSE_S, board.close)


def _measure(board: Board, timed: _Timed, outcome: Outcome) -> None:
    if (board.info.channels, board.info.model) != (64, "Scanboard Full"):
        outcome.wrong.append(f"info {board.info}")
    volts = timed(SLICE_S, lambda: board.voltage(CHANNELS))
    if volts.live() or not all(abs(mv) < 150 for mv in volts.low_mv):  # type: ignore[attr-defined]
        outcome.wrong.append(f"voltage {volts}")
    flags = timed(SLICE_S, lambda: board.drivers(CHANNELS).flags)
    if flags != (3,) * len(CHANNELS):
        outcome.wrong.append(f"drivers {flags}")
    for _ in range(2):
        rows = timed(SLICE_S, lambda: board.walk(CHANNELS, CHANNELS).rows)
        if rows != ROWS:
            outcome.wrong.append(f"walk {rows}")
    rows = timed(SLICE_S, lambda: board.patterns(CHANNELS, PATTERNS).rows)
    if rows != PATTERN_ROWS:
        outcome.wrong.append(f"patterns {rows}")
    if outcome.seed % 4 == 0:
        found = resistance(timed(SLICE_S, lambda: board.resistance(1, 33)))  # type: ignore[arg-type]
        if abs(found.ohms - 0.5) > 0.06:
            outcome.wrong.append(f"1 to 33 reads {found.ohms} ohm, is 0.5")


@cache
def archive() -> dict[bytes, bytes]:
    """Replies of a session with the same sequence numbers on another harness, by request line."""
    bench = VirtualBench(OTHER, LEADS)
    kept: dict[bytes, bytes] = {}

    class Keeper(FaultyLink):
        def _collect(self) -> None:
            if self._bench.line.to_host:
                kept[self.mangler.last_line] = bytes(self._bench.line.to_host)
            super()._collect()

    session(Keeper(bench, random.Random(0), []), 0x7777_0000 | LOW_NONCE, Outcome(0, []))
    return kept


def run(seed: int) -> Outcome:
    """One session with the faults of this seed; after a vanished port, a second one under another name."""
    dice = random.Random(f"link {seed}")
    outcome = Outcome(seed, draw_faults(dice, MESSAGES))
    bench = VirtualBench(HARNESS, LEADS, seed=seed % 7)
    link = FaultyLink(bench, dice, outcome.faults, archive())
    if dice.random() < 0.3:
        bench.write(dice.randbytes(dice.randrange(1, 60)))  # another program probed the port before
    session(link, dice.getrandbits(16) << 16 | LOW_NONCE, outcome)
    outcome.struck = link.mangler.struck
    if "vanish" in outcome.struck:
        bench.restart()
        bench.line.to_board.clear()
        again = Outcome(seed, [])
        session(FaultyLink(bench, dice, [], archive()), dice.getrandbits(16) << 16 | LOW_NONCE, again)
        outcome.wrong += again.wrong + ([f"second session: {again.aborted}"] if again.aborted else [])
        outcome.late = max(outcome.late, again.late)
    bench.run(1.0)
    outcome.driven = sorted(bench.board.trace.driven()) + [channel for channel in range(64) if _drives(bench, channel)]
    if bench.board.pump.armed:
        outcome.driven.append(0)
    return outcome


def _drives(bench: VirtualBench, channel: int) -> bool:
    return bool(bench.board.circuit.drive[channel])


def table(outcomes: list[Outcome]) -> str:
    """Counts by kind of fault, as text."""
    by_kind: dict[str, Counter[str]] = {}
    for outcome in outcomes:
        for kind in outcome.struck or {"none struck"}:
            by_kind.setdefault(kind, Counter())[outcome.kind] += 1
    total = Counter(outcome.kind for outcome in outcomes)
    lines = [f"{'fault':18}{'runs':>7}{'right':>8}{'mended':>8}{'aborted':>9}{'WRONG':>7}"]
    for kind, counts in [*sorted(by_kind.items()), ("all runs", total)]:
        cells = "".join(
            f"{counts[word]:>{w}}" for word, w in (("right", 8), ("mended", 8), ("aborted", 9), ("WRONG", 7))
        )
        lines.append(f"{kind:18}{counts.total():>7}{cells}")
    longest = max(outcomes, key=lambda outcome: outcome.longest_s)
    late = [outcome.seed for outcome in outcomes if outcome.late > 0]
    driven = [outcome.seed for outcome in outcomes if outcome.driven]
    lines.append(
        f"longest wait {longest.longest_s:.2f} s (seed {longest.seed}); stated: open {OPEN_S}, slice {SLICE_S}"
    )
    lines.append(f"beyond the stated time: {late or 'none'}; channels driven at the end: {driven or 'none'}")
    return "\n".join(lines)
