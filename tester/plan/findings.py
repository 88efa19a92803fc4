"""What is wrong with a plan on one variant: contradictions that no file check can see."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from tester.harness.cavity import split_cavity
from tester.plan.graph import Node, used_wires, wire_end
from tester.plan.resolve import Resolved
from tester.plan.steps import Cut, Insert, Lock, Move, Plug, Remove, Unlock


@dataclass(frozen=True)
class Finding:
    """One contradiction. kind: "already there", "occupied", "empty", "used twice", "sealed off", "splice", "junction",
    "unplugged", "not sealed off", "loose end", "lock", "sides"."""

    kind: str
    step: str
    says: str


def findings(found: Resolved) -> list[Finding]:
    """Everything that contradicts itself on this variant, in the order of the steps."""
    made = [Finding(problem.kind, problem.step, problem.says) for problem in found.problems]
    made += [*_emptied(found), *_bare(found), *_loose(found), *_locks(found)]
    order = {one.id: one.number for one in found.todo}
    return sorted(made, key=lambda one: order.get(one.step, len(order) + 1))


def left_over(found: Resolved) -> list[str]:
    """Kit wires that this variant neither uses nor seals off."""
    used = used_wires(found.plan, [one.step for one in found.todo])
    sealed = {node[1] for node in found.bench.sealed if node[0] == "end"}
    return [wire.id for wire in found.plan.wire if wire.id not in used | sealed]


def _emptied(found: Resolved) -> Iterator[Finding]:
    sealed = {one.id for one in found.plan.connector if one.sealed}
    plugged = {one.step.cavity for one in found.todo if isinstance(one.step, Plug)}
    for one in found.todo:
        name = one.step.cavity if isinstance(one.step, Remove) else one.step.from_ if isinstance(one.step, Move) else ""
        if name and split_cavity(name)[0] in sealed and name not in found.bench.inside and name not in plugged:
            says = (
                f"{name} is emptied and neither filled again nor plugged, and connector {split_cavity(name)[0]} is "
                f'sealed; add a step with do = "plug" and cavity = "{name}"'
            )
            yield Finding("unplugged", one.id, says)


def _bare(found: Resolved) -> Iterator[Finding]:
    """Lead ends that came off and are left as they are."""
    safe = set(found.bench.sealed) | set(found.bench.placed)
    for one in found.todo:
        step = one.step
        if isinstance(step, Remove):
            ends = {"lead": step.lead}
        elif isinstance(step, Cut):
            ends = {"stub": step.stub, "lead": step.lead}
        else:
            continue
        for key, name in ends.items():
            if name is None:
                what = "terminal pulled out of" if isinstance(step, Remove) else f"{key} end of the wire cut behind"
                says = (
                    f"the {what} {step.cavity} is not sealed off: give it a name ({key} = ...), then add a step "
                    'with do = "seal-off" and that lead'
                )
                yield Finding("not sealed off", one.id, says)
            elif found.bench.leads.get(name) not in safe:
                says = f'lead {name} is left bare: add a step with do = "seal-off" and lead = "{name}", or use it'
                yield Finding("not sealed off", one.id, says)


def _loose(found: Resolved) -> Iterator[Finding]:
    """Ends of kit wires in use that no step puts anywhere."""
    steps = [one.step for one in found.todo]
    used = used_wires(found.plan, steps)
    safe: set[Node] = set(found.bench.sealed) | set(found.bench.placed)
    tried = {(s.wire, s.end) for s in steps if isinstance(s, Insert) and s.wire is not None}
    for wire in found.plan.wire:
        for which in ("a", "b"):
            end = wire.end(which)
            hanging = wire.id in used and end.loose and wire_end(wire.id, which) not in safe
            if hanging and (wire.id, which) not in tried:
                last = next((o.id for o in reversed(found.todo) if getattr(o.step, "wire", None) == wire.id), "")
                says = f"end {which} of wire {wire.id} ({end.words}) is put nowhere; insert, splice or seal it off"
                yield Finding("loose end", last, says)


def _locks(found: Resolved) -> Iterator[Finding]:
    locked = {one.id for one in found.plan.connector if one.lock}
    opened: dict[str, str] = {}
    said: set[str] = set()
    for one in found.todo:
        step = one.step
        if isinstance(step, Unlock):
            opened[step.connector] = one.id
        elif isinstance(step, Lock):
            opened.pop(step.connector, None)
        elif isinstance(step, Remove | Move | Insert):
            for connector in {split_cavity(name)[0] for name in one.cavities} & locked - set(opened) - said:
                said.add(connector)
                says = (
                    f"works on connector {connector} while its lock is closed; add a step with "
                    f'do = "unlock" and connector = "{connector}" before it'
                )
                yield Finding("lock", one.id, says)
    for connector, step_id in opened.items():
        says = (
            f'connector {connector} is left open; add a step with do = "lock" and connector = "{connector}" at the end'
        )
        yield Finding("lock", step_id, says)
