"""The bench as a small graph: cavities, terminals, leads, splices, and as-found circuits as blobs.

A blob stands for all the metal of one as-found circuit: nobody knows how it is wired inside. Steps take terminals
off it, put wires on, and may make it fall apart.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from tester.harness.reading import Measured
from tester.plan.models import End, Plan
from tester.plan.sides import as_written
from tester.plan.steps import AnyStep, Cut, Insert, Move, Plug, Remove, SealOff, Splice

Node = tuple[str, ...]


def cavity_node(name: str) -> Node:
    return ("cavity", name)


def terminal(name: str) -> Node:
    """The terminal that sat in this cavity as found."""
    return ("terminal", name)


def wire_end(wire: str, which: str) -> Node:
    return ("end", wire, which)


@dataclass(frozen=True)
class Split:
    """A step that takes a terminal or its wire off a blob, and may make the rest fall apart.

    blob, node   the blob, and the terminal that came off it (remove) or whose wire was cut (cut)
    known        True: it was a junction; False: not; None: nobody said
    groups       cavities that stay together, if the plan or the person says so
    """

    step: str
    kind: str
    cavity: str
    blob: Node
    node: Node
    known: bool | None
    groups: tuple[tuple[str, ...], ...] = ()


@dataclass(frozen=True)
class Problem:
    """Why a step cannot be done on this harness.

    kind: "already there" (the wanted circuit is there), "occupied" (another wire is there), "empty", "used twice",
    "sealed off", "splice", "junction".
    """

    step: str
    kind: str
    says: str
    cavities: tuple[str, ...] = ()


@dataclass
class Bench:
    """Working state while steps are applied, in order."""

    edges: dict[Node, set[Node]] = field(default_factory=dict)
    inside: dict[str, Node] = field(default_factory=dict)
    empty: set[str] = field(default_factory=set)
    lone: frozenset[str] = frozenset()
    leads: dict[str, Node] = field(default_factory=dict)
    placed: dict[Node, str] = field(default_factory=dict)
    sealed: dict[Node, str] = field(default_factory=dict)
    splits: list[Split] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    visible: set[str] = field(default_factory=set)
    blind: set[str] = field(default_factory=set)

    def link(self, a: Node, b: Node) -> None:
        self.edges.setdefault(a, set()).add(b)
        self.edges.setdefault(b, set()).add(a)

    def unlink(self, a: Node, b: Node) -> None:
        self.edges.get(a, set()).discard(b)
        self.edges.get(b, set()).discard(a)

    def put(self, cavity: str, node: Node) -> None:
        """A terminal goes into a cavity."""
        self.inside[cavity] = node
        self.empty.discard(cavity)
        self.visible.add(cavity)
        self.link(cavity_node(cavity), node)

    def take(self, cavity: str) -> Node:
        """The terminal that was in a cavity; a lone one whose presence the scan could not see if none is known."""
        node = self.inside.pop(cavity, terminal(cavity))
        self.edges.setdefault(node, set())
        self.unlink(cavity_node(cavity), node)
        self.placed.pop(node, None)
        self.empty.add(cavity)
        self.visible.add(cavity)
        return node

    def blob_of(self, node: Node) -> Node | None:
        """The blob that a node hangs on directly, if any."""
        return next((other for other in self.edges.get(node, ()) if other[0] == "blob"), None)

    def reached(self, start: Node, *without: Node) -> set[Node]:
        """All nodes joined to `start` by metal, not passing through `without`."""
        seen = {start}
        work = [start]
        while work:
            for other in self.edges.get(work.pop(), ()):
                if other not in seen and other not in without:
                    seen.add(other)
                    work.append(other)
        return seen


def start(plan: Plan, as_found: Measured | None, occupied: Mapping[str, bool]) -> Bench:
    """The bench before the first step: as-found circuits, and the kit beside it.

    `occupied` holds what eyes said of cavities that the scan sees joined to nothing.
    """
    bench = Bench()
    if as_found is not None:
        conducting = {name for part in as_found.parts for name in (part.a, part.b)}
        conducting |= {name for pair in as_found.directed for name in pair}
        for circuit in as_found.netlist:
            bench.visible.update(circuit)
            blob: Node = ("blob", circuit[0])
            for name in circuit:
                if len(circuit) > 1:
                    bench.put(name, terminal(name))
                    bench.link(terminal(name), blob)
                elif name in conducting or occupied.get(name):
                    bench.put(name, terminal(name))
                elif occupied.get(name) is False:
                    bench.empty.add(name)
        bench.lone = frozenset(as_found.netlist.lone())
    for wire in plan.wire:
        bench.link(wire_end(wire.id, "a"), wire_end(wire.id, "b"))
        for which in ("a", "b"):
            fitted = fitted_cavity(plan, wire.end(which))
            if fitted in bench.inside:
                bench.link(cavity_node(fitted), wire_end(wire.id, which))
            elif fitted is not None:
                bench.put(fitted, wire_end(wire.id, which))
    bench.visible -= {name for one in plan.connector if one.kind == "splice" for name in one.names}
    return bench


def fitted_cavity(plan: Plan, end: End) -> str | None:
    """Cavity that an end comes fitted in, None if it is loose or no lead can ever reach it."""
    if end.cavity is not None:
        return end.cavity if end.fitted else None
    given = end.ring if end.ring is not None else end.lead
    name = as_written(given) if given is not None else ""
    return name if name and any(one.id == name.rpartition("-")[0] for one in plan.connector) else None


def used_wires(plan: Plan, steps: Iterable[AnyStep]) -> set[str]:
    """Kit wires that these steps put in. A wire that no step of the plan ever inserts is always used."""
    inserted = {step.wire for step in plan.step if isinstance(step, Insert) and step.wire is not None}
    now = {step.wire for step in steps if isinstance(step, Insert) and step.wire is not None}
    return {wire.id for wire in plan.wire if wire.id in now or wire.id not in inserted}


class Apply:
    """Applies the steps that a variant has to the bench. Collects problems instead of stopping."""

    def __init__(self, plan: Plan, bench: Bench, steps: list[AnyStep], answers: Mapping[str, bool]) -> None:
        self.plan, self.bench, self.steps, self.answers = plan, bench, steps, answers
        self.used = used_wires(plan, steps)
        self.used_leads = {step.lead for step in steps if isinstance(step, Insert) and step.lead is not None}
        self.used_leads |= {name for step in steps if isinstance(step, Splice) for name in step.leads}
        self.sealed_ends = {
            wire_end(step.wire, which)
            for step in steps
            if isinstance(step, SealOff) and step.wire is not None
            for which in ([step.end] if step.end else self.loose_ends(step.wire))
        }

    def loose_ends(self, wire: str) -> list[str]:
        return [which for which in ("a", "b") if self.plan.wire_of(wire).end(which).loose]

    def all(self) -> None:
        """Apply each step in turn."""
        for step in self.steps:
            if isinstance(step, Remove):
                self.remove(step)
            elif isinstance(step, Move):
                self.move(step)
            elif isinstance(step, Insert):
                self.insert(step)
            elif isinstance(step, Cut):
                self.cut(step)
            elif isinstance(step, Splice):
                self.splice(step)
            elif isinstance(step, SealOff):
                self.seal_off(step)
            elif isinstance(step, Plug):
                self.plug(step)

    def wrong(self, step: AnyStep, kind: str, says: str, *cavities: str) -> None:
        self.bench.problems.append(Problem(step.id, kind, says, cavities))

    def remove(self, step: Remove) -> None:
        if step.cavity in self.bench.empty:
            self.wrong(step, "empty", f"there is no terminal in {step.cavity} to pull out", step.cavity)
            return
        node = self.bench.take(step.cavity)
        if step.lead is not None:
            self.bench.leads[step.lead] = node
        blob = self.bench.blob_of(node)
        if blob is None or step.lead in self.used_leads:
            return
        known = self.known(step)
        self.bench.splits.append(Split(step.id, "remove", step.cavity, blob, node, known, step.groups))
        if step.lead is None:
            self.bench.unlink(node, blob)

    def known(self, step: Remove | Cut) -> bool | None:
        if step.groups:
            return True
        return step.junction if step.junction is not None else self.answers.get(f"junction {step.id}")

    def move(self, step: Move) -> None:
        if step.from_ in self.bench.empty:
            self.wrong(step, "empty", f"there is no terminal in {step.from_} to move", step.from_)
            return
        if self.free(step, step.to, set()):
            self.bench.put(step.to, self.bench.take(step.from_))

    def insert(self, step: Insert) -> None:
        bench = self.bench
        if step.lead is not None:
            node, into = bench.leads.get(step.lead), step.cavity
            what = f"lead {step.lead}"
            if node is None:
                self.wrong(step, "empty", f"lead {step.lead} does not exist in this variant: no step made it")
                return
        else:
            end = self.plan.wire_of(step.wire or "").end(step.end or "a")
            node, into = wire_end(step.wire or "", step.end or "a"), step.cavity or end.cavity
            what = f"end {step.end} of wire {step.wire}"
        if node in bench.sealed:
            self.wrong(step, "sealed off", f"{what} was sealed off before", into or "")
        elif node in bench.placed:
            self.wrong(step, "used twice", f"{what} is already in {bench.placed[node]}", into or "")
        elif into is not None and self.free(step, into, self.targets(step)):
            bench.put(into, node)
            bench.placed[node] = into

    def targets(self, step: Insert) -> set[str]:
        """Cavities that the other end of the wire is meant to reach."""
        if step.wire is None:
            return set()
        other = self.plan.wire_of(step.wire).end("b" if step.end == "a" else "a")
        if other.splice is None:
            return {other.cavity} if other.cavity is not None else set()
        ends = [(w.id, w.end(k), w.end("b" if k == "a" else "a")) for w in self.plan.wire for k in ("a", "b")]
        found = {far.cavity for id, near, far in ends if near.splice == other.splice and id != step.wire}
        taps = [s.taps for s in self.steps if isinstance(s, Splice) and s.splice == other.splice]
        return {name for name in found if name is not None} | {name for tap in taps for name in tap}

    def free(self, step: AnyStep, into: str, wanted: set[str]) -> bool:
        """True when a terminal can go into the cavity; else a problem is noted."""
        there = self.bench.inside.get(into)
        if there is None:
            return True
        joined = {node[1] for node in self.bench.reached(there) if node[0] == "cavity"} - {into}
        if wanted & joined:
            names = ", ".join(sorted(wanted & joined))
            says = f"{into} is already joined to {names}: the wanted circuit is there before this step"
            self.wrong(step, "already there", says, into, *sorted(wanted & joined))
        else:
            to = f", joined to {', '.join(sorted(joined))}" if joined else ""
            says = f"{into} is occupied: another wire is there{to}; no step before this one empties it"
            self.wrong(step, "occupied", says, into, *sorted(joined))
        return False

    def cut(self, step: Cut) -> None:
        bench = self.bench
        if step.cavity in bench.empty:
            self.wrong(step, "empty", f"there is no wire in {step.cavity} to cut", step.cavity)
            return
        if step.cavity not in bench.inside:
            bench.put(step.cavity, terminal(step.cavity))
        node = bench.inside[step.cavity]
        blob = bench.blob_of(node)
        rest: Node = ("rest", step.cavity, step.id)
        reused = bool({step.stub, step.lead} & self.used_leads)
        known = False if reused else self.known(step)
        if reused and self.known(step):
            says = (
                f"two wires share the terminal in {step.cavity} and one of them is cut and used again: what it is "
                "joined to is not known; make this two jobs, with a scan after the cut"
            )
            self.wrong(step, "junction", says, step.cavity)
        if blob is not None:
            bench.splits.append(Split(step.id, "cut", step.cavity, blob, node, known, step.groups))
        if blob is None or known is False:
            for other in list(bench.edges.get(node, ())):
                if other != cavity_node(step.cavity):
                    bench.unlink(node, other)
                    bench.link(rest, other)
        if step.stub is not None:
            bench.leads[step.stub] = node
        if step.lead is not None:
            bench.leads[step.lead] = rest
            bench.edges.setdefault(rest, set())

    def splice(self, step: Splice) -> None:
        joint: Node = ("splice", step.splice)
        members = self.members(step)
        if step.ways is not None and len(members) != step.ways:
            says = f"splice {step.splice} should join {step.ways} leads, but {len(members)} come to it here"
            self.wrong(step, "splice", says)
        elif len(members) < 2:
            self.wrong(step, "splice", f"splice {step.splice} has {len(members)} lead here; at least two are needed")
        for node in members:
            self.bench.link(joint, node)
            if node[0] != "blob":
                self.bench.placed[node] = f"splice {step.splice}"

    def members(self, step: Splice) -> list[Node]:
        found: list[Node] = []
        for wire in self.plan.wire:
            for which in ("a", "b"):
                node = wire_end(wire.id, which)
                wanted = wire.end(which).splice == step.splice and wire.id in self.used
                if wanted and node not in self.sealed_ends:
                    found.append(node)
        for name in step.leads:
            lead = self.bench.leads.get(name)
            if lead is None:
                self.wrong(step, "empty", f"lead {name} does not exist in this variant: no step made it")
            elif lead in self.bench.sealed:
                self.wrong(step, "sealed off", f"lead {name} was sealed off before")
            else:
                found.append(lead)
        for name in step.taps:
            if name in self.bench.empty:
                self.wrong(step, "empty", f"there is no wire in {name} to splice into", name)
                continue
            if name not in self.bench.inside:
                self.bench.put(name, terminal(name))
            node = self.bench.inside[name]
            found.append(self.bench.blob_of(node) or node)
        return found

    def seal_off(self, step: SealOff) -> None:
        if step.lead is not None:
            node = self.bench.leads.get(step.lead)
            if node is None:
                self.wrong(step, "empty", f"lead {step.lead} does not exist in this variant: no step made it")
                return
            ends = {node: f"lead {step.lead}"}
        else:
            wire = step.wire or ""
            which = [step.end] if step.end else self.loose_ends(wire)
            ends = {wire_end(wire, one): f"{wire} end {one}" for one in which}
        for node, name in ends.items():
            if node in self.bench.placed:
                says = f"{name} is already in {self.bench.placed[node]}, so it cannot be sealed off"
                self.wrong(step, "used twice", says)
            else:
                self.bench.sealed[node] = name

    def plug(self, step: Plug) -> None:
        if step.cavity in self.bench.inside:
            self.wrong(step, "occupied", f"a terminal is in {step.cavity}; a plug needs it empty", step.cavity)
        self.bench.empty.add(step.cavity)
        self.bench.visible.add(step.cavity)
