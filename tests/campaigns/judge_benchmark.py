"""Verdict and diagnosis against networkx on one graph in one run: ``python -m tests.campaigns.judge_benchmark``.

Prints ratios; nothing here asserts a time. `verdict`: which circuits are wrong, from two netlists as values. `judge`:
the whole Verdict with a line for each cavity. `diagnosis`: the verdict and the tied smallest explanations. The measure
is `networkx.connected_components` on the graph of the measured links (a tree for each circuit), as a list of sets. All
are timed in turns, with garbage collection off, and the shortest time of each counts.
"""

from __future__ import annotations

import gc
import math
import random
import time
from collections.abc import Callable, Iterator

import networkx as nx

from tester.harness.expected import Expected, Outcome
from tester.harness.netlist import Netlist
from tester.harness.reading import Measured
from tester.judge import diagnose, judge
from tester.judge.look import wrong_cavities
from tests.judge.makers import Injection, random_netlist

SIZES = (64, 256, 1024, 4096)
BATCH = 1024  # cavities timed together in one turn, so that a small netlist is called several times
FAULTS = (0, 1, 2, 3, 4)
SIZES_OF_CIRCUITS = (1, 2, 2, 2, 2, 2, 3, 4, 6)
VERDICT_GOAL = 0.25
DIAGNOSIS_GOAL = 30


def best_of(calls: dict[str, Callable[[], object]], repeats: int, batch: int) -> dict[str, float]:
    """Shortest time of one call of each, seconds: `repeats` turns, in each a batch of every call one after the other.

    What slows the machine for a while then slows all of them; garbage is collected between turns only.
    """
    best = dict.fromkeys(calls, math.inf)
    collecting = gc.isenabled()
    gc.disable()
    try:
        for _ in range(repeats):
            gc.collect()
            for name, call in calls.items():
                start = time.perf_counter()
                for _ in range(batch):
                    call()
                best[name] = min(best[name], (time.perf_counter() - start) / batch)
    finally:
        if collecting:
            gc.enable()
    return best


def case(size: int, faults: int, seed: int = 1) -> tuple[Netlist, Netlist]:
    """A netlist and the same one with so many faults, no two of them in the same circuits."""
    rng = random.Random(f"{size} {faults} {seed}")
    wanted = random_netlist(rng, size, 6, SIZES_OF_CIRCUITS)
    while True:
        injected = Injection(wanted)
        while injected.count < faults:
            injected.random(rng)
        if injected.count == faults:
            return wanted, injected.measured


def fresh(netlist: Netlist) -> Netlist:
    """A copy that shares neither circuits nor cached answers."""
    return Netlist(tuple((*circuit[:1], *circuit[1:]) for circuit in netlist.circuits))


def copies(netlist: Netlist, number: int) -> Iterator[Netlist]:
    """So many copies, made beforehand so that copying is not timed."""
    return iter([fresh(netlist) for _ in range(number)])


def measure(size: int, faults: int, repeats: int, seed: int = 1) -> dict[str, float]:
    """Seconds of each."""
    wanted, got = case(size, faults, seed)
    graph = nx.Graph()
    graph.add_nodes_from(got.cavities)
    graph.add_edges_from((circuit[0], name) for circuit in got for name in circuit[1:])
    expected = Expected((Outcome(wanted),))
    reading = Measured(got, proven=frozenset(got.cavities))
    batch = max(1, BATCH // size)
    one, other = fresh(wanted), fresh(got)  # walked again and again, as the graph is; no answer is kept in them
    few = max(1, batch // 4)
    third, fourth = copies(wanted, repeats * few), copies(got, repeats * few)
    quick: dict[str, Callable[[], object]] = {
        "networkx": lambda: list(nx.connected_components(graph)),
        "verdict": lambda: wrong_cavities(one, other),
    }
    slow: dict[str, Callable[[], object]] = {
        "diagnosis": lambda: diagnose(next(third), next(fourth)),
        "judge": lambda: judge(expected, reading),
    }
    return best_of(quick, repeats, batch) | best_of(slow, repeats, few)


def report(repeats: int = 20) -> str:
    """The table, with growth exponents over the sizes."""
    head = f"{'cavities':>8}{'faults':>7}{'networkx ms':>12}{'verdict':>9}{'diagnosis':>10}{'judge':>7}"
    lines = [f"{head}   (ratio to networkx)"]
    times: dict[tuple[int, int], dict[str, float]] = {}
    for size in SIZES:
        for faults in FAULTS:
            found = times[size, faults] = measure(size, faults, repeats)
            columns = (("verdict", 9), ("diagnosis", 10), ("judge", 7))
            ratios = "".join(f"{found[name] / found['networkx']:>{width}.2f}" for name, width in columns)
            lines.append(f"{size:>8}{faults:>7}{found['networkx'] * 1000:>12.3f}{ratios}")
    span = math.log(SIZES[-1] / SIZES[0])
    for name in ("networkx", "verdict", "diagnosis", "judge"):
        grown = math.log(times[SIZES[-1], 2][name] / times[SIZES[0], 2][name]) / span
        lines.append(f"growth exponent of {name}, two faults, {SIZES[0]} to {SIZES[-1]} cavities: {grown:.2f}")
    worst = max(t["verdict"] / t["networkx"] for t in times.values())
    two = times[256, 2]["diagnosis"] / times[256, 2]["networkx"]
    lines.append(f"goal: verdict at most {VERDICT_GOAL} of it; worst here {worst:.2f}")
    lines.append(f"goal: diagnosis of two faults in 256 cavities at most {DIAGNOSIS_GOAL} times it; here {two:.2f}")
    return "\n".join(lines)


if __name__ == "__main__":
    print(report())
