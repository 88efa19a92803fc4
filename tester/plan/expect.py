"""Expected as left = what was measured as found + the steps that this harness gets."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from tester.errors import InputError
from tester.harness.cavity import cavity_key, in_order, split_cavity
from tester.harness.expected import Expected, ExpectedLink, ExpectedPart, Outcome
from tester.harness.netlist import Netlist, Pair, pair
from tester.harness.reading import Measured
from tester.plan.graph import Node, fitted_cavity, terminal, used_wires
from tester.plan.links import new_links, own_words
from tester.plan.models import Plan, Reference
from tester.plan.resolve import HANDLED, Answers, Resolved, resolve
from tester.plan.steps import Insert, Move, Plug, Remove, Tug, Unlock

_PART_TOLERANCE = 0.05


def expectation(
    plan: Plan, as_found: Measured | None, answers: Answers | None = None, side: str | None = None
) -> Expected:
    """What the finished harness must be. Needs an as-found scan, or a plan with its own expected netlist.

    Raises InputError when a question is open, a step cannot be done, or there is nothing to start from.
    """
    found = resolve(plan, as_found, answers, side)
    if as_found is None and found.plan.expected is None:
        raise InputError(
            f"plan {plan.id} says what changes, not what the harness was: an as-found scan is needed",
            "Scan the untouched harness and give that scan (--as-found), or use a plan with an expected netlist.",
        )
    if as_found is not None:
        _refuse_open(found)
    return _Making(found, as_found).expected()


def _refuse_open(found: Resolved) -> None:
    if found.problems:
        first = found.problems[0]
        more = f"({len(found.problems) - 1} more after this one.)" if len(found.problems) > 1 else ""
        raise InputError(f"step {first.step} of plan {found.plan.id} cannot be done here: {first.says}", more)
    if found.questions:
        asked = "\n".join(f"  {question.id}: {question.says}" for question in found.questions)
        raise InputError(
            f"plan {found.plan.id} needs {len(found.questions)} answer(s) by eye:\n{asked}",
            f'Answer with --answer "{found.questions[0].id}=yes" or "=no".',
        )


def differences(reference: Netlist, other: Netlist) -> list[str]:
    """In words: where two netlists disagree on the cavities that both know."""
    both = set(reference.cavities) & set(other.cavities)
    mine, theirs = reference.restricted(both), other.restricted(both)
    found = []
    for name in mine.cavities:
        here, there = mine.partners(name), theirs.partners(name)
        if here != there:
            found.append(f"{name}: reference {', '.join(here) or 'nothing'}; here {', '.join(there) or 'nothing'}")
    return found


def reference_netlist(reference: Reference) -> Netlist:
    """The netlist that a plan carries."""
    return Netlist.of(reference.circuits, reference.lone)


class _Making:
    def __init__(self, found: Resolved, as_found: Measured | None) -> None:
        self.found, self.plan, self.bench, self.as_found = found, found.plan, found.bench, as_found
        self.steps = [one.step for one in found.todo]
        self.used = used_wires(self.plan, self.steps)
        self.notes: list[str] = []
        self.now = {node: name for name, node in self.bench.inside.items()}

    def expected(self) -> Expected:
        outcomes = self.outcomes()
        steps: dict[str, tuple[str, ...]] = {}
        for one in self.found.todo:
            for name in one.cavities:
                steps[name] = (*steps.get(name, ()), one.id)
        edited = {name for one in self.found.todo if isinstance(one.step, HANDLED) for name in one.cavities}
        parts, diodes, unsteady = self.carried(outcomes)
        return Expected(
            outcomes=outcomes,
            checks=self.plan.checks,
            required=self.plan.required,
            prove_leads=self.plan.prove_leads,
            edited=frozenset(edited),
            opened=frozenset(self.opened()),
            steps=steps,
            wires={wire: self.wire_cavities(wire) for wire in sorted(self.used)},
            links=tuple(self.links(outcomes)),
            parts=parts,
            diodes=diodes,
            by_eye=self.by_eye(outcomes),
            sealed_off=tuple(self.bench.sealed.values()),
            unsteady=unsteady,
            notes=tuple(self.notes),
            limits={
                key: value for key, value in self.plan.limits.model_dump(exclude={"table"}).items() if value is not None
            },
            table=self.plan.limits.table or "",
            faces={one.id: one.face_names for one in self.plan.connector if one.kind == "housing"},
            sealed=self.sealed(),
            grade=self._grade(),
        )

    def sealed(self) -> dict[str, str]:
        """Cavity -> sealed-off lead of its circuit, where every way to wire the harness has it there."""
        unsure = [ways.blob for ways in self.found.ways if len(ways.ways) != 1 or len(ways.ways[0]) != 1]
        found: dict[str, str] = {}
        for node, lead in self.bench.sealed.items():
            names = (n[1] for n in self.bench.reached(node, *unsure) if n[0] == "cavity" and n[1] in self.bench.visible)
            found |= dict.fromkeys(names, lead)
        return {name: found[name] for name in in_order(found)}

    def outcomes(self) -> tuple[Outcome, ...]:
        made = tuple(Outcome(end.netlist, end.note) for end in self.found.ends) if self.as_found else ()
        reference = self.plan.expected
        if reference is None:
            return made
        told = reference_netlist(reference)
        known = set(told.cavities)
        if not made:
            return (Outcome(told, ""),)
        outcomes: list[Outcome] = []
        for outcome in made:
            for said in differences(told, outcome.netlist):
                self.notes.append(f"as found + steps is not the plan's own netlist: {said}")
            beyond = outcome.netlist.restricted(set(outcome.netlist.cavities) - known)
            both = Outcome(Netlist.of([*told.circuits, *beyond.circuits]), outcome.note)
            if both.netlist not in [one.netlist for one in outcomes]:
                outcomes.append(both)
        self.notes = list(dict.fromkeys(self.notes))
        return tuple(outcomes)

    def opened(self) -> set[str]:
        found = {step.connector for step in self.steps if isinstance(step, Unlock)}
        for one in self.found.todo:
            if isinstance(one.step, Remove | Move | Insert):
                found |= {split_cavity(name)[0] for name in one.cavities}
        return found

    def wire_cavities(self, id: str) -> tuple[str, ...]:
        wire = self.plan.wire_of(id)
        places = [self.now.get(("end", id, which)) or fitted_cavity(self.plan, wire.end(which)) for which in "ab"]
        return tuple(name for name in places if name is not None)

    def links(self, outcomes: tuple[Outcome, ...]) -> list[ExpectedLink]:
        """New links and existing ones; of several limits that the plan gives for one, the lowest holds."""
        links = new_links(self.plan, self.bench, self.used) + self.existing_links(outcomes)
        for limit in self.plan.limit:
            if limit.between is None:
                continue
            a, b = pair(*limit.between)
            if not any(pair(link.a, link.b) == (a, b) for link in links):
                if not self.joined(a, b, outcomes):
                    self.notes.append(f"the limit between {a} and {b} is for nothing: they are not joined")
                    continue
                links.append(ExpectedLink(a, b))
            for n, link in enumerate(links):
                if pair(link.a, link.b) == (a, b) and (link.limit_ohms is None or limit.ohms < link.limit_ohms):
                    links[n] = replace(link, limit_ohms=limit.ohms, source=own_words(limit))
        return links

    def joined(self, a: str, b: str, outcomes: tuple[Outcome, ...]) -> bool:
        """Whether two cavities are joined, whatever outcome is true."""
        return all(a in o.netlist and b in o.netlist and o.netlist.joined(a, b) for o in outcomes)

    def existing_links(self, outcomes: tuple[Outcome, ...]) -> list[ExpectedLink]:
        """Links of as-found circuits that the steps left joined, with their as-found reading."""
        found = []
        for reading in self.as_found.ohms.values() if self.as_found else ():
            ends = (self.now.get(terminal(reading.a)), self.now.get(terminal(reading.b)))
            if ends[0] is None or ends[1] is None:
                continue
            a, b = pair(ends[0], ends[1])
            if self.joined(a, b, outcomes):
                link = ExpectedLink(a, b, source="as found", found_ohms=reading.ohms, found_u_ohms=reading.u_ohms)
                found.append(link)
        return found

    def home(self, name: str) -> Node:
        """The node that an as-found circuit is now: its blob, or the terminal of a lone cavity."""
        assert self.as_found is not None
        circuit = self.as_found.netlist.circuit_of(name)
        return ("blob", circuit[0]) if len(circuit) > 1 else terminal(name)

    def seen_at(self, name: str, outcomes: tuple[Outcome, ...]) -> str | None:
        """Cavity that shows the as-found circuit of `name` now, whatever outcome is true; None when there is none."""
        node = self.home(name)
        if any(ways.blob == node and len(ways.ways[0]) + len(ways.ways) > 2 for ways in self.found.ways):
            return None
        unsure = {ways.blob for ways in self.found.ways} - {node}
        names = [n[1] for n in self.bench.reached(node, *unsure) if n[0] == "cavity" and n[1] in self.bench.visible]
        sure = [one for one in names if all(one in outcome.netlist for outcome in outcomes)]
        if self.now.get(terminal(name)) in sure:
            return self.now[terminal(name)]
        return min(sure, key=cavity_key) if sure else None

    def _grade(self) -> str:
        """Grade of the scan that the circuits come from."""
        if self.plan.expected is not None:
            return self.plan.expected.grade
        return self.as_found.grade if self.as_found is not None else ""

    def carried(
        self, outcomes: tuple[Outcome, ...]
    ) -> tuple[tuple[ExpectedPart, ...], frozenset[Pair], frozenset[Pair]]:
        """Parts, one-way pairs and unsteady pairs of as found (or of the reference), where they are now."""
        reference, scan = self.plan.expected, self.as_found
        if reference is not None:
            told = tuple(
                ExpectedPart(p.a, p.b, p.ohms_ab, p.ohms_ba, p.drop_v, _PART_TOLERANCE, source="reference")
                for p in reference.part
            )
            return told, frozenset(reference.directed), frozenset(pair(a, b) for a, b in reference.unsteady)
        if scan is None:
            return (), frozenset(), frozenset()
        parts: dict[frozenset[tuple[str, ...]], ExpectedPart] = {}
        unsteady: set[Pair] = set()
        for part in scan.parts:
            ends = self.both(part.a, part.b, outcomes, "the part")
            if ends is not None and part.stable:
                circuits = frozenset(outcomes[0].netlist.circuit_of(name) for name in ends)
                made = ExpectedPart(*ends, part.ohms_ab, part.ohms_ba, part.drop_v, _PART_TOLERANCE)
                parts.setdefault(circuits, made)
            elif ends is not None:
                unsteady.add(pair(*ends))
        diodes: dict[tuple[tuple[str, ...], tuple[str, ...]], Pair] = {}
        for a, b in sorted(scan.directed, key=lambda ab: (cavity_key(ab[0]), cavity_key(ab[1]))):
            ends = self.both(a, b, outcomes, "the one-way part")
            if ends is not None:
                one, other = (outcomes[0].netlist.circuit_of(name) for name in ends)
                diodes.setdefault((one, other), ends)
        for a, b in scan.doubtful:
            places = (self.now.get(terminal(a), a), self.now.get(terminal(b), b))
            unsteady.add(pair(*places))
        self.notes = list(dict.fromkeys(self.notes))
        return tuple(parts.values()), frozenset(diodes.values()), frozenset(unsteady)

    def both(self, a: str, b: str, outcomes: tuple[Outcome, ...], what: str) -> tuple[str, str] | None:
        x, y = self.seen_at(a, outcomes), self.seen_at(b, outcomes)
        if x is None or y is None:
            self.notes.append(f"{what} between {a} and {b} cannot be seen any more: the steps took one side of it away")
            return None
        if any(outcome.netlist.joined(x, y) for outcome in outcomes):
            self.notes.append(f"{what} between {a} and {b} is bridged by the steps")
            return None
        return x, y

    def by_eye(self, outcomes: tuple[Outcome, ...]) -> dict[str, str]:
        """Cavity -> what no scan can show there."""
        found: dict[str, str] = {}
        was_lone = self.bench.lone
        for one in self.found.todo:
            step = one.step
            for name in one.cavities:
                if isinstance(step, Remove) and name in was_lone:
                    found[name] = f"the terminal is out of {name}"
                elif isinstance(step, Plug):
                    found[name] = f"a plug closes {name}"
                elif isinstance(step, Insert | Move) and _lone_everywhere(name, outcomes):
                    if name in self.bench.inside:
                        found[name] = f"the right terminal sits in {name}"
                elif isinstance(step, Tug):
                    found.setdefault(name, f"the wire in {name} holds when tugged")
        return {name: found[name] for name in in_order(found)}


def _lone_everywhere(name: str, outcomes: Iterable[Outcome]) -> bool:
    return all(name not in o.netlist or len(o.netlist.circuit_of(name)) == 1 for o in outcomes)
