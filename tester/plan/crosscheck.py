"""Does a plan fit together? Names that exist, cavities that the connector has, leads made before they are used."""

from __future__ import annotations

from collections.abc import Iterator

from tester.harness.cavity import split_cavity
from tester.harness.tables import Path, near
from tester.plan.conditions import Condition
from tester.plan.models import End, Plan
from tester.plan.sides import as_written
from tester.plan.steps import (
    AnyStep,
    Cut,
    Insert,
    Lock,
    Move,
    Remove,
    Route,
    SealOff,
    Splice,
    TapeBack,
    Unlock,
    cavities_of,
)

Wrong = tuple[Path, str]


def wrongs(plan: Plan) -> list[Wrong]:
    """Everything that does not fit, as (path in the file, words), in the order of the file."""
    return list(_Cross(plan).all())


class _Cross:
    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self.connectors = {one.id: one for one in plan.connector}
        self.wires = {wire.id: wire for wire in plan.wire}
        self.leads: set[str] = set()

    def all(self) -> Iterator[Wrong]:
        yield from self.twice()
        yield from self.hazards()
        yield from self.sides()
        for n, wire in enumerate(self.plan.wire):
            for which in ("a", "b"):
                yield from self.end(("wire", n, which), wire.end(which))
        for n, fact in enumerate(self.plan.fact):
            yield from self.condition(("fact", n, "that"), fact.that)
        for n, step in enumerate(self.plan.step):
            yield from self.step(("step", n), step)
        yield from self.limits()
        yield from self.reference()

    def twice(self) -> Iterator[Wrong]:
        tables = (
            ("connector", [one.id for one in self.plan.connector]),
            ("wire", [one.id for one in self.plan.wire]),
            ("step", [one.id for one in self.plan.step]),
            ("function", [one.id for one in self.plan.function]),
        )
        for table, ids in tables:
            seen: set[str] = set()
            for n, id in enumerate(ids):
                if id in seen:
                    yield (table, n, "id"), f'the id "{id}" is used twice; each {table} needs its own'
                seen.add(id)

    def cavity(self, path: Path, name: str) -> Iterator[Wrong]:
        connector, number = split_cavity(name)
        known = self.connectors.get(connector)
        if known is None:
            choices = ", ".join(self.connectors)
            yield (
                path,
                f"{name}: there is no connector {connector}; the plan has {choices}{near(connector, self.connectors)}",
            )
        elif number not in known.all_numbers:
            numbers = known.all_numbers
            span = f"{numbers[0]} to {numbers[-1]}" if len(numbers) > 1 else str(numbers[0])
            gaps = "" if len(numbers) == numbers[-1] - numbers[0] + 1 else " (with gaps)"
            yield path, f"connector {connector} has no cavity {number}; its cavities are {span}{gaps}"

    def condition(self, path: Path, when: Condition) -> Iterator[Wrong]:
        for leaf in when.leaves():
            for name in leaf.cavities():
                yield from self.cavity(path, name)
            if leaf.side is not None and leaf.side not in self.plan.sides:
                known = ", ".join(self.plan.sides) or "none; add [sides.left] and [sides.right]"
                yield path, f'there is no side "{leaf.side}"; the plan has {known}'

    def end(self, path: Path, end: End) -> Iterator[Wrong]:
        if end.cavity is not None:
            yield from self.cavity((*path, "cavity"), end.cavity)
        for key in ("ring", "lead"):
            given = getattr(end, key)
            name = as_written(given) if given is not None else ""
            connector = name.rpartition("-")[0]
            if connector in self.connectors:
                yield from self.cavity((*path, key), name)
        if end.splice is not None and not any(isinstance(s, Splice) and s.splice == end.splice for s in self.plan.step):
            made = [s.splice for s in self.plan.step if isinstance(s, Splice)]
            yield (
                (*path, "splice"),
                f'no step makes splice "{end.splice}"{near(end.splice, made)}'
                f'; add a [[step]] with do = "splice" and splice = "{end.splice}"',
            )

    def hazards(self) -> Iterator[Wrong]:
        for key in ("restraint", "high_voltage"):
            given = getattr(self.plan.hazards, key)
            for name in given if isinstance(given, tuple) else ():
                yield from self.cavity(("hazards", key), name)

    def sides(self) -> Iterator[Wrong]:
        for name, side in self.plan.sides.items():
            path: Path = ("sides", name, "cavities")
            for given, here in side.cavities.items():
                yield from self.cavity((*path, given), given)
                yield from self.cavity((*path, given), here)
            ends = [side.cavities.get(one, one) for one in self.used() | set(self.plan.hazards.cavities)]
            both = sorted({one for one in ends if ends.count(one) > 1})
            if both:
                yield path, f"two cavities of the plan would both be {both[0]} on side {name}; exchange them both"

    def used(self) -> set[str]:
        """Cavities that wires and steps name."""
        found = {name for step in self.plan.step for name in cavities_of(step)}
        found |= {
            name for step in self.plan.step if step.when for leaf in step.when.leaves() for name in leaf.cavities()
        }
        ends = [end for wire in self.plan.wire for end in (wire.a, wire.b)]
        return found | {end.cavity for end in ends if end.cavity is not None}

    def step(self, path: Path, step: AnyStep) -> Iterator[Wrong]:
        hazards = self.plan.hazards.cavities
        for name in cavities_of(step):
            yield from self.cavity(path, name)
            if name in hazards:
                yield path, f"{name} is declared as {hazards[name]} in [hazards]; no step may touch it"
        if step.when is not None:
            yield from self.condition((*path, "when"), step.when)
        if isinstance(step, Unlock | Lock) and step.connector not in self.connectors:
            known = ", ".join(self.connectors)
            yield (*path, "connector"), f'there is no connector "{step.connector}"; the plan has {known}'
        if isinstance(step, Insert | SealOff | TapeBack | Route) and step.wire is not None:
            yield from self.wire(path, step.wire)
        if isinstance(step, Insert):
            yield from self.insert(path, step, hazards)
        if isinstance(step, Splice):
            yield from self.known_leads((*path, "leads"), step.leads)
            yield from self.ways(path, step)
        elif isinstance(step, Insert | SealOff | TapeBack) and step.lead is not None:
            yield from self.known_leads((*path, "lead"), (step.lead,))
        if isinstance(step, Move) and step.from_ == step.to:
            yield path, f"from and to are both {step.to}"
        yield from self.named(path, step)

    def wire(self, path: Path, wire: str) -> Iterator[Wrong]:
        if wire not in self.wires:
            known = ", ".join(self.wires) or "none"
            yield (*path, "wire"), f'there is no kit wire "{wire}"; the plan has {known}{near(wire, self.wires)}'

    def insert(self, path: Path, step: Insert, hazards: dict[str, str]) -> Iterator[Wrong]:
        if step.lead is not None and step.cavity is None:
            yield path, f'into which cavity? add cavity = "..." for lead {step.lead}'
        if step.wire is None or step.wire not in self.wires or step.end is None:
            return
        end = self.wires[step.wire].end(step.end)
        if end.fitted or end.ring is not None or end.lead is not None:
            yield path, f"end {step.end} of wire {step.wire} is {end.words}, which comes fitted; no step inserts it"
        elif end.cavity is None and step.cavity is None:
            yield path, f'end {step.end} of wire {step.wire} is {end.words}; add cavity = "..."'
        elif end.cavity is not None and step.cavity is not None and end.cavity != step.cavity:
            yield (
                (*path, "cavity"),
                f"this step puts end {step.end} of wire {step.wire} into {step.cavity}, but the wire says "
                f"{end.cavity}; leave one of the two out or make them agree",
            )
        elif end.cavity in hazards:
            yield path, f"{end.cavity} is declared as {hazards[end.cavity]} in [hazards]; no step may touch it"

    def ways(self, path: Path, step: Splice) -> Iterator[Wrong]:
        ends = [end for wire in self.plan.wire for end in (wire.a, wire.b) if end.splice == step.splice]
        count = len(ends) + len(step.leads) + len(step.taps)
        if count < 2:
            yield (
                path,
                f'splice "{step.splice}" joins {count} lead; at least two are needed '
                f'(a wire end with splice = "{step.splice}", leads, taps)',
            )
        elif step.ways is not None and step.ways > count:
            yield (*path, "ways"), f'splice "{step.splice}" should join {step.ways} leads, but only {count} name it'

    def known_leads(self, path: Path, names: tuple[str, ...]) -> Iterator[Wrong]:
        for name in names:
            if name not in self.leads:
                known = ", ".join(sorted(self.leads)) or "none"
                yield path, f'no earlier step names a lead "{name}"{near(name, self.leads)}; named before: {known}'

    def named(self, path: Path, step: AnyStep) -> Iterator[Wrong]:
        if isinstance(step, Remove):
            self.leads |= {step.lead} if step.lead else set()
        if isinstance(step, Cut):
            self.leads |= {name for name in (step.stub, step.lead) if name}
        if isinstance(step, Remove | Cut):
            for group in step.groups:
                for name in group:
                    yield from self.cavity((*path, "groups"), name)
            if step.groups and step.junction is False:
                yield (*path, "groups"), "groups say how the circuit falls apart, but junction = false says it does not"

    def limits(self) -> Iterator[Wrong]:
        for n, limit in enumerate(self.plan.limit):
            if limit.wire is not None:
                yield from self.wire(("limit", n), limit.wire)
            for name in limit.between or ():
                yield from self.cavity(("limit", n, "between"), name)

    def reference(self) -> Iterator[Wrong]:
        reference = self.plan.expected
        if reference is None:
            return
        seen: set[str] = set()
        for n, circuit in enumerate(reference.circuits):
            for name in circuit:
                yield from self.cavity(("expected", "circuits", n), name)
                if name in seen:
                    yield ("expected", "circuits", n), f"{name} is in two circuits"
                seen.add(name)
        for name in reference.lone:
            yield from self.cavity(("expected", "lone"), name)
            if name in seen:
                yield ("expected", "lone"), f"{name} is in a circuit, so it is not lone"
            seen.add(name)
