"""A harness rebuilt from scratch as physical wires, and random work on it: the slow second opinion on `plan`.

Nothing here is taken from the product but its file models: terminals and wires are kept one by one, steps are
carried out on them, and networkx says what is joined.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from random import Random
from typing import Any

import networkx as nx

from tester.harness.netlist import Netlist
from tester.harness.reading import Measured


@dataclass
class Rough:
    """Terminals in cavities, and wires between terminals (and buried joints), by name."""

    cavities: list[str]
    sits: dict[str, str] = field(default_factory=dict)
    wires: list[tuple[str, str]] = field(default_factory=list)
    leads: dict[str, str] = field(default_factory=dict)
    sealed: set[str] = field(default_factory=set)
    used: set[str] = field(default_factory=set)
    fresh: int = 0

    def netlist(self) -> Netlist:
        graph: nx.Graph[str] = nx.Graph()
        graph.add_nodes_from("cavity " + name for name in self.cavities)
        graph.add_edges_from(("cavity " + name, terminal) for name, terminal in self.sits.items())
        graph.add_edges_from(self.wires)
        circuits = [
            [node.removeprefix("cavity ") for node in group if node.startswith("cavity ")]
            for group in nx.connected_components(graph)
        ]
        return Netlist.of(circuit for circuit in circuits if circuit)

    def wires_at(self, terminal: str) -> list[tuple[str, str]]:
        return [wire for wire in self.wires if terminal in wire]

    def new(self, what: str) -> str:
        self.fresh += 1
        return f"{what} {self.fresh}"

    def loosen(self, terminal: str) -> None:
        """Each wire of a terminal gets an end of its own."""
        for wire in self.wires_at(terminal):
            self.wires.remove(wire)
            other = wire[0] if wire[1] == terminal else wire[1]
            self.wires.append((other, self.new("end")))


def random_harness(random: Random, most: int) -> Rough:
    """Cavities of two connectors, some wired: chains, trees over terminals, buried joints."""
    first = random.randint(2, most // 2)
    names = [f"A-{n}" for n in range(1, first + 1)] + [f"B-{n}" for n in range(1, random.randint(2, most // 2) + 1)]
    rough = Rough(names)
    rest = names[:]
    random.shuffle(rest)
    while rest:
        size = random.choice((1, 1, 1, 2, 2, 2, 3, 3, 4, 5))
        circuit, rest = rest[:size], rest[size:]
        if len(circuit) == 1:
            continue
        for name in circuit:
            rough.sits[name] = f"terminal {name}"
        if random.random() < 0.3:
            joint = rough.new("joint")
            rough.wires += [(f"terminal {name}", joint) for name in circuit]
            continue
        for place in range(1, len(circuit)):
            free = [c for c in circuit[:place] if len(rough.wires_at(f"terminal {c}")) < 2]
            rough.wires.append((f"terminal {circuit[place]}", f"terminal {random.choice(free)}"))
    return rough


@dataclass
class Work:
    """A random plan as file tables, the scan as found, and the harness as it really is afterwards.

    `wrong`: kind of the problem that the product must name, "" when the plan can be done.
    """

    tables: dict[str, Any]
    as_found: Measured
    after: Rough
    answers: dict[str, bool]
    wrong: str = ""


class _Worker:
    def __init__(self, random: Random, rough: Rough) -> None:
        self.random, self.rough = random, rough
        self.found = rough.netlist()
        self.steps: list[dict[str, Any]] = []
        self.kit: list[dict[str, Any]] = []
        self.emptied: set[str] = set()
        self.answers: dict[str, bool] = {}
        self.spliced: list[str] = []

    def full(self) -> list[str]:
        """Occupied cavities whose terminal holds at most two wires: what the product's model knows of."""
        return [c for c, t in self.rough.sits.items() if len(self.rough.wires_at(t)) <= 2]

    def vacant(self) -> list[str]:
        return [name for name in self.rough.cavities if name not in self.rough.sits]

    def tell(self, step: dict[str, Any], terminal: str) -> None:
        """Sometimes the plan says whether a terminal was a junction, sometimes eyes do, sometimes nobody."""
        double = len(self.rough.wires_at(terminal)) == 2
        how = self.random.random()
        if how < 0.3:
            step["junction"] = double
        elif how < 0.5:
            self.answers[f"junction {step['id']}"] = double

    def remove(self) -> None:
        if not self.full():
            return
        name = self.random.choice(self.full())
        terminal = self.rough.sits.pop(name)
        step: dict[str, Any] = {"id": f"step {len(self.steps)}", "do": "remove", "cavity": name}
        self.steps.append(step)
        if self.random.random() < 0.4 and self.vacant():
            lead = self.rough.new("lead")
            step["lead"] = lead
            into = self.random.choice([c for c in self.vacant() if c != name] or [name])
            self.rough.sits[into] = terminal
            self.steps.append({"do": "insert", "lead": lead, "cavity": into})
            return
        self.tell(step, terminal)
        self.rough.loosen(terminal)

    def move(self) -> None:
        if not self.rough.sits or not self.vacant():
            return
        name, to = self.random.choice(list(self.rough.sits)), self.random.choice(self.vacant())
        self.rough.sits[to] = self.rough.sits.pop(name)
        self.steps.append({"do": "move", "from": name, "to": to})

    def cut(self) -> None:
        usable = [c for c in self.full() if self.rough.wires_at(self.rough.sits[c])]
        if not usable:
            return
        name = self.random.choice(usable)
        terminal = self.rough.sits[name]
        step: dict[str, Any] = {"id": f"step {len(self.steps)}", "do": "cut", "cavity": name}
        self.tell(step, terminal)
        self.steps.append(step)
        wire = self.random.choice(self.rough.wires_at(terminal))
        self.rough.wires.remove(wire)
        self.rough.wires += [(wire[0], self.rough.new("end")), (wire[1], self.rough.new("end"))]

    def kit_wire(self) -> None:
        if len(self.vacant()) < 2:
            return
        id = f"W{len(self.kit) + 1}"
        a, b = self.random.sample(self.vacant(), 2)
        self.kit.append({"id": id, "colour": "RD", "a": {"cavity": a}, "b": {"cavity": b}})
        if self.random.random() < 0.15:
            self.steps.append({"do": "seal-off", "wire": id})
            return
        self.rough.wires.append((f"{id} a", f"{id} b"))
        for end, name in (("a", a), ("b", b)):
            self.rough.sits[name] = f"{id} {end}"
            self.steps.append({"do": "insert", "wire": id, "end": end})

    def splice(self) -> None:
        count = self.random.randint(2, 3)
        if len(self.vacant()) < count:
            return
        id = f"S{len(self.spliced) + 1}"
        self.spliced.append(id)
        step: dict[str, Any] = {"do": "splice", "splice": id}
        ways = count
        if self.random.random() < 0.4 and self.rough.sits:
            tap = self.random.choice(list(self.rough.sits))
            step["taps"] = [tap]
            self.tap(f"joint {id}", self.rough.sits[tap])
            ways += 1
        for name in self.random.sample(self.vacant(), count):
            wire = f"W{len(self.kit) + 1}"
            self.kit.append({"id": wire, "colour": "BN", "a": {"cavity": name}, "b": {"splice": id}})
            self.rough.sits[name] = f"{wire} a"
            self.rough.wires.append((f"{wire} a", f"joint {id}"))
            self.steps.append({"do": "insert", "wire": wire, "end": "a"})
        step["ways"] = ways
        self.steps.append(step)

    def tap(self, joint: str, terminal: str) -> None:
        """A joint comes into one of the wires of a terminal."""
        around = self.rough.wires_at(terminal)
        if not around:
            self.rough.wires.append((joint, terminal))
            return
        wire = self.random.choice(around)
        self.rough.wires.remove(wire)
        self.rough.wires += [(wire[0], joint), (joint, wire[1])]

    def plug(self) -> None:
        if self.vacant():
            self.steps.append({"do": "plug", "cavity": self.random.choice(self.vacant())})


def random_work(random: Random, most: int = 12) -> Work:
    """A random harness, a random plan that can be done on it (mostly), and the harness after it."""
    rough = random_harness(random, most)
    as_found = Measured(rough.netlist())
    worker = _Worker(random, rough)
    for _ in range(random.randint(1, 6)):
        random.choice(
            (worker.remove, worker.remove, worker.move, worker.cut, worker.kit_wire, worker.splice, worker.plug)
        )()
    wrong = ""
    seen_full = [name for name, terminal in rough.sits.items() if len(as_found.netlist.circuit_of(name)) > 1]
    untouched = [name for name in seen_full if rough.sits[name] == f"terminal {name}"]
    if untouched and random.randint(1, 8) == 8:
        name = random.choice(untouched)
        partners = [c for c in as_found.netlist.partners(name) if c in untouched]
        there = bool(partners) and random.random() < 0.5 and rough.netlist().joined(name, partners[0])
        other = partners[0] if there else random.choice(worker.vacant() or [name])
        worker.kit.append({"id": "X", "colour": "GN", "a": {"cavity": name}, "b": {"cavity": other}})
        worker.steps.append({"do": "insert", "wire": "X", "end": "a"})
        wrong = "already there" if other != name and rough.netlist().joined(name, other) else "occupied"
    connectors = [
        {"id": letter, "cavities": sum(name.startswith(letter) for name in rough.cavities)} for letter in "AB"
    ]
    tables: dict[str, Any] = {"format": 1, "id": "random", "revision": "1", "connector": connectors}
    tables |= {"wire": worker.kit, "step": worker.steps}
    return Work(tables, as_found, rough, worker.answers, wrong)
