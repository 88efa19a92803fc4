"""One sentence a step, as the person at the bench reads it."""

from __future__ import annotations

from tester.plan.models import End, Plan
from tester.plan.steps import (
    AnyStep,
    Cut,
    Insert,
    Lock,
    Look,
    Move,
    Plug,
    Remove,
    Route,
    SealOff,
    Splice,
    TapeBack,
    Tug,
    Unlock,
)


def say_wire(plan: Plan, id: str) -> str:
    """Such as ``wire W1 (BU/RD blue with a red stripe, 0.5 mm2)``."""
    look = plan.wire_of(id).look
    return f"wire {id} ({look})" if look else f"wire {id}"


def _far(end: End) -> str:
    return f"; its other end is {end.words}"


def _title(plan: Plan, id: str) -> str:
    found = next((one for one in plan.connector if one.id == id), None)
    return f"connector {id}" + (f" ({found.title})" if found is not None and found.title else "")


def say_step(plan: Plan, step: AnyStep) -> str:
    """The step in one sentence, without its note and caution."""
    if isinstance(step, Unlock):
        lock = next((one.lock for one in plan.connector if one.id == step.connector), "")
        return f"Open the lock of {_title(plan, step.connector)}" + (f": {lock}" if lock else "") + "."
    if isinstance(step, Lock):
        return f"Close the lock of {_title(plan, step.connector)}."
    if isinstance(step, Remove):
        return f"Pull the terminal out of {step.cavity}" + (f" (lead {step.lead})" if step.lead else "") + "."
    if isinstance(step, Move):
        return f"Move the terminal from {step.from_} to {step.to}."
    if isinstance(step, Insert):
        return _insert(plan, step)
    if isinstance(step, Tug):
        return f"Tug at the wire in {step.cavity}: it must hold."
    if isinstance(step, Cut):
        names = " and ".join(f"lead {name}" for name in (step.stub, step.lead) if name)
        return f"Cut the wire close behind {step.cavity}" + (f" ({names})" if names else "") + "."
    if isinstance(step, Splice):
        return _splice(plan, step)
    if isinstance(step, SealOff):
        return f"Seal off {_what(plan, step)}: cap it, no bare metal may touch anything."
    if isinstance(step, TapeBack):
        return f"Tape back {_what(plan, step)} along the bundle."
    if isinstance(step, Plug):
        return f"Push a blanking plug into the empty cavity {step.cavity}."
    if isinstance(step, Route):
        return f"Lay {say_wire(plan, step.wire) if step.wire else 'the bundle'}: {step.way}."
    return _look(step)


def _look(step: Look) -> str:
    return f"Look{f' at {step.cavity}' if step.cavity else ''}: {step.see}."


def _insert(plan: Plan, step: Insert) -> str:
    if step.lead is not None:
        return f"Push lead {step.lead} into {step.cavity} until it clicks."
    wire = plan.wire_of(step.wire or "")
    end = step.end or "a"
    into = step.cavity or wire.end(end).cavity
    return (
        f"Push end {end} of {say_wire(plan, wire.id)} into {into} until it clicks"
        f"{_far(wire.end('b' if end == 'a' else 'a'))}."
    )


def _splice(plan: Plan, step: Splice) -> str:
    ends = [
        f"{wire.id} end {which}" for wire in plan.wire for which in ("a", "b") if wire.end(which).splice == step.splice
    ]
    ends += [f"lead {name}" for name in step.leads] + [f"the wire of {name}" for name in step.taps]
    ways = f" ({step.ways} leads)" if step.ways else ""
    return f"Splice {step.splice}{ways}: join {', '.join(ends)}."


def _what(plan: Plan, step: SealOff | TapeBack) -> str:
    if step.lead is not None:
        return f"lead {step.lead}"
    what = say_wire(plan, step.wire or "")
    return f"end {step.end} of {what}" if step.end else what
