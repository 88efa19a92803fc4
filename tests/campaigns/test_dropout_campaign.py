"""Dropouts on simulated time: which share of them the watch catches, by length, for openings and for touches."""

from __future__ import annotations

from concurrent.futures import ProcessPoolExecutor
from typing import Any

import pytest

from tester.board.readings import NOT_OVER, WatchEvent
from tester.harness.netlist import Netlist
from tester.job.wiggle import EVERY, plan_watch
from tester.judge import Blip, WatchLog, WatchResult, judge_watch
from tester.judge.dropout import RISE_MS_PER_NF, caught_share
from tests.campaigns.rig import Rig
from tests.campaigns.score import show

pytestmark = pytest.mark.campaign

LENGTHS_MS = (0.2, 0.5, 1.0, 2.0, 5.0, 20.0, 50.0)
SIZES = (64, 128, 256)
TIMES = 16
APART_MS = 87.3  # between two dropouts, no multiple of any cadence
PICO_NF = 0.1


def _harness(kind: str, length_ms: float, channels: int) -> tuple[dict[str, Any], Netlist]:
    """Pairs A-i to B-i; the first opens, or touches the second, for `length_ms` every so often."""
    half = channels // 2
    every = apart(kind, length_ms)
    links = [{"a": f"A-{i}", "b": f"B-{i}", "ohms": 0.05} for i in range(1 if kind == "open" else 0, half)]
    if kind == "open":
        drop = {"a": "A-0", "b": "B-0", "every_ms": every, "open_ms": length_ms}
    else:
        drop = {"a": "A-0", "b": "A-1", "every_ms": every, "open_ms": every - length_ms}
    return {"link": links, "dropout": [drop]}, Netlist.of([f"A-{i}", f"B-{i}"] for i in range(half))


def apart(kind: str, length_ms: float) -> float:
    """Milliseconds from one dropout to the next: touches farther apart than a round of all coded patterns."""
    return max(APART_MS * (3 if kind == "short" else 1), 3 * length_ms + 10)


def watched(kind: str, length_ms: float, channels: int) -> tuple[int, int, WatchResult]:
    """Dropouts caught, dropouts there were, and the result of the watch."""
    tables, netlist = _harness(kind, length_ms, channels)
    leads = {c + 1: f"{'AB'[c % 2]}-{c // 2}" for c in range(channels)}
    rig = Rig(leads, seed=channels)
    rig.bench.plug(tables)
    rig.board.voltage(sorted(leads))
    plan = plan_watch(netlist, rig.leads)
    rig.board.watch_load(plan.read, plan.held, plan.coded)
    rig.bench.run(0.001 * _until_steady(kind, length_ms, rig))
    rig.board.watch_start(EVERY)
    events: dict[int, WatchEvent] = {}
    every = tables["dropout"][0]["every_ms"]
    for _ in range(int(TIMES * every / 200) + 1):
        rig.bench.run(0.2)
        open_still = [number for number, event in events.items() if event.duration_us == NOT_OVER]
        frame = rig.board.watch_log(min(open_still, default=len(events)))
        events |= dict(enumerate(frame.events, frame.first))
    last = rig.board.watch_stop()
    events |= dict(enumerate(last.events, last.first))
    blips = tuple(
        Blip(e.at_us, None if e.duration_us == NOT_OVER else e.duration_us, leads[e.channel], e.pattern, e.what == 1)
        for e in events.values()
    )
    driven = tuple(tuple(leads[c] for c in pattern) for pattern in (plan.held, *plan.coded))
    log = WatchLog(blips, last.total, last.longest_us, last.mean_us, last.elapsed_ms, driven[0], driven[1:], EVERY)
    result = judge_watch(log, netlist, PICO_NF)
    named = {"A-0"} if kind == "open" else {"A-0", "A-1"}  # one side of a short touch may be all that was seen
    wrong = [drop for drop in result.dropouts if drop.kind != kind or named.isdisjoint(drop.cavities)]
    assert not wrong, wrong[:2]
    return len(result.dropouts), round(last.elapsed_ms / every), result


def _until_steady(kind: str, length_ms: float, rig: Rig) -> float:
    """Milliseconds to wait so that the baseline is not taken within a dropout."""
    every = apart(kind, length_ms)
    now = rig.bench.seconds * 1000 % every
    return (every - now) + length_ms + 5 if kind == "open" else every - now + 1


def _one(case: tuple[str, float, int]) -> tuple[int, int, WatchResult]:
    return watched(*case)


def test_the_share_of_dropouts_caught_by_length():
    cases = [(kind, length, size) for kind in ("open", "short") for size in SIZES for length in LENGTHS_MS]
    with ProcessPoolExecutor(max_workers=2) as pool:
        results = dict(zip(cases, pool.map(_one, cases), strict=True))
    lines = [
        f"{'kind':7}{'channels':>9}{'cadence ms':>11}{'surely from':>12}" + "".join(f"{n:>8g}" for n in LENGTHS_MS)
    ]
    for kind in ("open", "short"):
        for size in SIZES:
            some = results[kind, LENGTHS_MS[-1], size][2]
            sure = some.missed_ms if kind == "open" else some.shorts_missed_ms
            assert sure is not None
            cells = []
            for length in LENGTHS_MS:
                caught, there, result = results[kind, length, size]
                cells.append(f"{min(1.0, caught / there):>8.0%}")
                surely = result.missed_ms if kind == "open" else result.shorts_missed_ms or 0.0
                if length > surely:
                    assert caught >= there - 1, (kind, size, length, caught, there)
            lines.append(f"{kind:7}{size:>9}{some.cadence_us / 1000:>11.3f}{sure:>12.2f}" + "".join(cells))
    show(f"share of dropouts caught by length in ms, {TIMES} each, simulated time\n" + "\n".join(lines))
    for size in SIZES:
        caught, there, result = results["open", 1.0, size]
        wanted = caught_share(1.0, result.cadence_us / 1000, RISE_MS_PER_NF * PICO_NF)
        assert caught / there >= 0.5 * wanted
