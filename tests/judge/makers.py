"""Random netlists and injected faults, all from a handed-in generator. For tests only."""

from __future__ import annotations

import random
from collections.abc import Sequence

from tester.harness.cavity import in_order
from tester.harness.netlist import Netlist
from tester.judge.explain import relabelled, swaps_of

SIZES = (1, 1, 2, 2, 2, 2, 2, 3, 4, 6)


def random_netlist(rng: random.Random, cavities: int, connectors: int = 2, sizes: Sequence[int] = SIZES) -> Netlist:
    """Circuits over `cavities` cavities of so many connectors."""
    names = [f"{'ABCDEF'[i % connectors]}-{i // connectors + 1}" for i in range(cavities)]
    rng.shuffle(names)
    circuits = []
    while names:
        size = min(len(names), rng.choice(sizes))
        circuits.append([names.pop() for _ in range(size)])
    return Netlist.of(circuits)


class Injection:
    """Faults put into a netlist one after the other, and what they come to: `measured`, `moved`, `count`."""

    def __init__(self, expected: Netlist) -> None:
        self.expected = expected
        self.measured = expected
        self.moved: dict[str, str] = {}
        self.classes: list[str] = []

    @property
    def count(self) -> int:
        """Elementary faults injected: exchanges, bridges, openings."""
        return swaps_of(self.moved) + sum(name in ("open", "short") for name in self.classes)

    def swap(self, a: str, b: str) -> None:
        """What sits in a and what sits in b change places."""
        exchange = {a: b, b: a}
        self.measured = relabelled(self.measured, exchange)
        names = set(self.moved) | {a, b}
        sits = {name: self.moved.get(name, name) for name in names}
        at = {cavity: terminal for terminal, cavity in sits.items()}
        for cavity in (a, b):
            at.setdefault(cavity, cavity)
        moved = {at[a]: b, at[b]: a}
        self.moved = {t: c for t, c in (sits | moved).items() if t != c}

    def open(self, cut: Sequence[str]) -> None:
        whole = self.measured.circuit_of(cut[0])
        rest = [name for name in whole if name not in cut]
        self.measured = Netlist.of([list(cut), rest, *(c for c in self.measured if c != whole)])
        self.classes.append("open")

    def bridge(self, a: str, b: str) -> None:
        one, other = self.measured.circuit_of(a), self.measured.circuit_of(b)
        self.measured = Netlist.of([[*one, *other], *(c for c in self.measured if c not in (one, other))])
        self.classes.append("short")

    def random(self, rng: random.Random) -> str:
        """One random fault; its class, "" where the netlist allows none of the kind drawn."""
        kind = rng.choice(("swap", "move", "open", "short"))
        cavities = in_order(self.measured.cavities)
        lone = set(self.measured.lone())
        wired = [name for name in cavities if name not in lone]
        if kind == "swap" and len(wired) > 1:
            a, b = rng.sample(wired, 2)
            if self.measured.joined(a, b):
                return ""
            self.swap(a, b)
        elif kind == "move" and wired and lone:
            self.swap(rng.choice(wired), rng.choice(in_order(lone)))
        elif kind == "open" and wired:
            circuit = self.measured.circuit_of(rng.choice(wired))
            self.open(rng.sample(circuit, rng.randint(1, len(circuit) - 1)))
        elif kind == "short" and len(self.measured.circuits) > 1:
            one, other = rng.sample(self.measured.circuits, 2)
            self.bridge(one[0], other[0])
        else:
            return ""
        return kind


def ways(explanations) -> set[frozenset[tuple[str, str]]]:
    """Where terminals sit in each explanation, as (cavity, terminal in it): the form of `naive_diagnosis`."""
    return {frozenset((sits, belongs) for belongs, sits in one.moved) for one in explanations}
