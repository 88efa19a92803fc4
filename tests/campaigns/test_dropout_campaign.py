"""Dropouts on simulated time, through the whole watch: which share of them is caught, by length, openings and touches.

The host asks for the log five times a second and so keeps the lease, and the board looks for openings and touches at
the same time, as `wiggle` and the bench do. Each dropout is on a circuit of its own and begins at a random moment.
"""

from __future__ import annotations

import gc
import random
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass

import pytest

from tester.board.readings import NOT_OVER, WatchEvent
from tester.harness.netlist import Netlist
from tester.job.wiggle import EVERY, TURN_S, plan_watch
from tester.judge import Blip, Dropout, WatchLog, WatchResult, judge_watch
from tester.judge.dropout import CAPACITANCE_NF
from tester.scan import let_go_steps
from tests.campaigns.rig import Rig
from tests.campaigns.score import show

pytestmark = pytest.mark.campaign

SEED = 40517
LENGTHS_MS = (0.2, 0.5, 1.0, 2.0, 5.0, 20.0, 50.0)
SIZES = (64, 128, 256)
LAYOUTS = ("side by side", "connector by connector")
"""Both ends of a circuit on neighbouring channels, so that every expander is read; or first ends on the first half."""
TIMES = 16
RUNS = 5
APART_MS = {"open": 12.0, "short": 110.0}
"""Between two dropouts, and as much more at random: touches farther apart than a round of the steps."""
ANSWER_MS = 6.0  # from the beginning of the watch until the host has the answer to its start
GOAL_MS, GOAL_CHANNELS = 1.0, 128
SURELY_MS = {"side by side": {64: 0.9, 128: 1.0, 256: 1.3}, "connector by connector": {64: 0.85, 128: 0.9, 256: 1.0}}
"""Openings of these lengths are all caught, with 0.4 nF on what comes loose: stated in hwspec/accuracy.md."""
SOURCE = "virtual board, worst leakage, 25 us a bus call; never measured on a built board"


@dataclass(frozen=True)
class Case:
    """Dropouts of one kind and length. `nf`: capacitance to ground at the end that comes loose."""

    kind: str
    length_ms: float
    channels: int
    layout: str = LAYOUTS[0]
    nf: float = 0.1
    times: int = TIMES
    run: int = 0


class Bench:
    """A board whose circuits are pairs A-i to B-i."""

    def __init__(self, case: Case) -> None:
        self.case = case
        self.rng = random.Random(f"{SEED} {case}")
        half = case.channels // 2
        beside = case.layout == LAYOUTS[0]
        at = [(c % 2, c // 2) if beside else (c // half, c % half) for c in range(case.channels)]
        self.leads = {c + 1: f"{'AB'[side]}-{number}" for c, (side, number) in enumerate(at)}
        self.netlist = Netlist.of([f"A-{i}", f"B-{i}"] for i in range(half))
        self.rig = Rig(self.leads, seed=case.channels, worst_leakage=True)
        self.touched = self.rng.sample(range(half), 2 * case.times if case.kind == "short" else case.times)
        self.starts_ms: list[float] = []

    def plug(self) -> float:
        """Plug in a harness whose dropouts lie ahead, each on its own circuit; when the last is over, in seconds."""
        case = self.case
        links = {n: {"a": f"A-{n}", "b": f"B-{n}"} for n in range(case.channels // 2)}
        drops, at = [], self.rig.bench.seconds * 1000 + 200
        for n in range(case.times):
            at += APART_MS[case.kind] * (1 + self.rng.random())
            self.starts_ms.append(at)
            if case.kind == "open":
                ends = links.pop(self.touched[n])
                timing = {"every_ms": 1e6, "open_ms": case.length_ms, "phase_ms": at}
            else:
                ends = {"a": f"A-{self.touched[2 * n]}", "b": f"A-{self.touched[2 * n + 1]}"}
                timing = {"every_ms": 1e6, "open_ms": 1e6 - case.length_ms, "phase_ms": at + case.length_ms}
            drops.append(ends | timing)
            at += case.length_ms
        loose = [{"at": f"B-{n}", "nf": case.nf} for n in self.touched]
        self.rig.bench.plug({"link": list(links.values()), "dropout": drops, "capacitor": loose})
        return (at + APART_MS[case.kind]) / 1000

    def watch(self) -> WatchResult:
        """The watch as `wiggle` runs it, and what it says of itself."""
        bench, board = self.rig.bench, self.rig.board
        board.voltage(sorted(self.leads))
        end = self.plug()
        plan = plan_watch(self.netlist, self.rig.leads)
        board.watch_load(plan.read, plan.held, plan.let_go)
        board.watch_start(EVERY, let_go=True)
        self.began_ms = bench.seconds * 1000
        assert self.began_ms < self.starts_ms[0]
        events: dict[int, WatchEvent] = {}
        while bench.seconds < end:
            bench.run(TURN_S)
            frame = board.watch_log(
                min((n for n, e in events.items() if e.duration_us == NOT_OVER), default=len(events))
            )
            events |= dict(enumerate(frame.events, frame.first))
        last = board.watch_stop()
        blips = tuple(
            Blip(
                e.at_us,
                None if e.duration_us == NOT_OVER else e.duration_us,
                self.leads[e.channel],
                e.pattern,
                e.what == 1,
            )
            for e in events.values()
        )
        driven = tuple(tuple(self.leads[c] for c in pattern) for pattern in (plan.held, *plan.let_go))
        cadence = (last.longest_us, last.mean_us, last.elapsed_ms)
        steps = let_go_steps(plan.let_go)
        log = WatchLog(blips, last.total, *cadence, driven[0], driven[1:], EVERY, True, steps)
        return judge_watch(log, self.netlist, self.case.nf)

    def caught(self, result: WatchResult) -> int:
        """Dropouts that were reported at their time and place; raises when one was reported that never was."""
        late = (result.missed_ms if self.case.kind == "open" else result.shorts_missed_ms or 0.0) + ANSWER_MS
        left = list(result.dropouts)
        for n, start in enumerate(self.starts_ms):
            for drop in left:
                since = drop.at_ms - (start - self.began_ms)
                if drop.kind == self.case.kind and -1 < since < self.case.length_ms + late and self._is(drop, n):
                    left.remove(drop)
                    break
        assert not left, (self.case, left[:2])
        return len(result.dropouts)

    def _is(self, drop: Dropout, n: int) -> bool:
        """One side of a touch may be all that was seen, when it was over within a round."""
        if self.case.kind == "open":
            return set(drop.cavities) == {f"A-{self.touched[n]}", f"B-{self.touched[n]}"}
        return not set(drop.cavities).isdisjoint({f"A-{k}" for k in self.touched[2 * n : 2 * n + 2]})


def watched(case: Case) -> tuple[int, WatchResult]:
    """How many of the dropouts were caught, and what the watch says of itself."""
    bench = Bench(case)
    result = bench.watch()
    return bench.caught(result), result


def _all(cases: list[Case]) -> dict[Case, tuple[int, WatchResult]]:
    with ProcessPoolExecutor(max_workers=2, initializer=gc.freeze) as pool:
        return dict(zip(cases, pool.map(watched, cases), strict=True))


def test_the_share_of_dropouts_caught_by_length() -> None:
    cases = [Case(kind, length, size) for kind in ("open", "short") for size in SIZES for length in LENGTHS_MS]
    results = _all(cases)
    lines = [
        f"{'kind':7}{'channels':>9}{'cadence ms':>11}{'surely from':>12}" + "".join(f"{n:>8g}" for n in LENGTHS_MS)
    ]
    for kind in ("open", "short"):
        for size in SIZES:
            cells = []
            for length in LENGTHS_MS:
                caught, result = results[Case(kind, length, size)]
                cells.append(f"{caught / TIMES:>8.0%}")
                surely = result.missed_ms if kind == "open" else result.shorts_missed_ms
                assert surely is not None
                if length > surely:
                    assert caught == TIMES, (kind, size, length, caught)
            line = f"{kind:7}{size:>9}{result.cadence_us / 1000:>11.3f}{surely:>12.2f}"
            lines.append(line + "".join(cells))
    title = f"share of dropouts caught by length in ms, {TIMES} each, seed {SEED}, 0.1 nF on what comes loose; {SOURCE}"
    show(title + "\n" + "\n".join(lines))


def test_openings_of_the_stated_length_are_all_caught_with_four_metres_of_wire_on_what_comes_loose() -> None:
    """While touches are looked for too and the host asks for the log; of those a third as long some are missed."""
    cases = {
        (layout, size, part): [
            Case("open", surely * part, size, layout, CAPACITANCE_NF, 30, run) for run in range(1 if part < 1 else RUNS)
        ]
        for layout, sizes in SURELY_MS.items()
        for size, surely in sizes.items()
        for part in (0.3, 1.0)
    }
    results = _all([case for runs in cases.values() for case in runs])
    lines = [f"{'channels on leads':24}{'channels':>9}{'cadence ms':>11}{'says ms':>9}{'opening ms':>11}{'caught':>13}"]
    for (layout, size, part), runs in cases.items():
        caught, there = sum(results[case][0] for case in runs), sum(case.times for case in runs)
        cadence = max(results[case][1].cadence_us for case in runs) / 1000
        says = max(results[case][1].missed_ms for case in runs)
        assert says <= SURELY_MS[layout][size], "it says more than is stated"
        assert caught == there if part == 1.0 else caught < there, (layout, size, part, caught)
        lines.append(
            f"{layout:24}{size:>9}{cadence:>11.3f}{says:>9.3f}{runs[0].length_ms:>11.3f}{caught:>6} of {there}"
        )
    show(f"openings at random moments, {CAPACITANCE_NF:g} nF, seed {SEED}; {SOURCE}\n" + "\n".join(lines))
    assert all(sizes[GOAL_CHANNELS] <= GOAL_MS for sizes in SURELY_MS.values())
