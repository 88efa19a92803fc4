"""The steps of one harness as a person works through them: which can be done now, which must wait, and why."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass

from tester.harness.cavity import split_cavity
from tester.plan.blind import exchange_blind
from tester.plan.models import Plan, Wire
from tester.plan.resolve import Resolved, Todo
from tester.plan.steps import Cut, Insert, Lock, Move, Plug, Remove, SealOff, Splice, TapeBack, Unlock

EMPTYING = (Remove, Move, Cut)
FILLING = (Insert, Move, Plug)
NEVER_BY_BOARD = frozenset({"tug", "lock", "unlock", "look", "route", "tape-back", "plug", "cut"})


@dataclass(frozen=True)
class StepView:
    """One step with what a screen or a sheet shows.

    state    "open" or "done"; `how` it was ticked: "hand", "board" or ""
    blocked  why it cannot be done yet, "" when it can
    eyes     True when no measurement can tick it
    """

    id: str
    number: int
    do: str
    says: str
    cavities: tuple[str, ...]
    state: str
    how: str = ""
    blocked: str = ""
    eyes: bool = False
    note: str = ""
    caution: str = ""
    photo: bool = False
    connector: str = ""
    wire: str = ""
    end: str = ""
    colour: str = ""
    colour_words: str = ""
    size: str = ""

    @property
    def cavity(self) -> str:
        """The cavity that the hand goes to, "" when there is none."""
        return self.cavities[-1] if self.cavities else ""


def views(found: Resolved, ticked: Mapping[str, str]) -> list[StepView]:
    """All steps in the plan's order. `ticked`: step id -> how it was ticked."""
    done = set(ticked)
    begun = _begun(found, done)
    shown = []
    for todo in found.todo:
        step = todo.step
        wire = _wire(found.plan, todo)
        shown.append(
            StepView(
                id=todo.id,
                number=todo.number,
                do=todo.do,
                says=todo.says,
                cavities=todo.cavities,
                state="done" if todo.id in done else "open",
                how=ticked.get(todo.id, ""),
                blocked="" if todo.id in done else blocked(found, todo, done) or _unfinished(todo, begun),
                eyes=todo.do in NEVER_BY_BOARD,
                note=step.note,
                caution=step.caution,
                photo=step.photo,
                connector=step.connector if isinstance(step, Lock | Unlock) else "",
                wire=wire.id if wire else "",
                end=_end(todo),
                colour=wire.colour if wire else "",
                colour_words=wire.paint.words if wire else "",
                size=(f"AWG {wire.awg}" if wire.awg is not None else f"{wire.mm2:g} mm2" if wire.mm2 else "")
                if wire
                else "",
            )
        )
    return shown


def sheet_numbers(steps: Iterable[StepView]) -> dict[str, int]:
    """Step id -> its number on the work sheet, as sentences about faults name it."""
    return {step.id: step.number for step in steps}


def variant_of(found: Resolved) -> str:
    """Which variant of the plan a harness is, by the steps that it does not get: ``all steps``, ``without w2-d``."""
    left_out = [one.step.id for one in found.skipped]
    return f"without {', '.join(left_out)}" if left_out else "all steps"


def _wire(plan: Plan, todo: Todo) -> Wire | None:
    step = todo.step
    id = step.wire if isinstance(step, Insert | SealOff | TapeBack) else None
    return plan.wire_of(id) if id else None


def _end(todo: Todo) -> str:
    step = todo.step
    return (step.end or "") if isinstance(step, Insert | SealOff | TapeBack) else ""


def blocked(found: Resolved, todo: Todo, done: Collection[str]) -> str:
    """Why a step must wait for another, in one sentence; "" when it can be done now.

    A cavity is filled only after it was emptied; a housing is worked on only while unlocked, and locked last; a
    lead is used only after the step that names it.
    """
    earlier = [one for one in found.todo if one.number < todo.number and one.id not in done]
    connectors = {split_cavity(name)[0] for name in todo.cavities}
    for one in earlier:
        if isinstance(one.step, Unlock) and one.step.connector in connectors:
            return f"first step {one.number}: open the lock of connector {one.step.connector}"
        if isinstance(todo.step, FILLING) and isinstance(one.step, EMPTYING) and set(one.cavities) & set(todo.cavities):
            return f"first step {one.number}: the cavity must be emptied"
        if _made(one) & _used(todo):
            return f"first step {one.number}: it makes the lead that this step uses"
    if isinstance(todo.step, Lock):
        for one in earlier:
            if todo.step.connector in {split_cavity(name)[0] for name in one.cavities}:
                return f"first step {one.number}: it still works on connector {todo.step.connector}"
    return ""


def _begun(found: Resolved, done: Collection[str]) -> dict[str, str]:
    """Kit wire -> another wire, with one end in and one end loose, that no scan could tell from it."""
    ends: dict[str, list[bool]] = {}
    for todo in found.todo:
        if isinstance(todo.step, Insert) and todo.step.wire:
            ends.setdefault(todo.step.wire, []).append(todo.id in done)
    half = {wire for wire, states in ends.items() if any(states) and not all(states)}
    found_pairs = [(b.first, b.second) for b in exchange_blind(found.plan)] if half else []
    return {b: a for one, two in found_pairs for a, b in ((one, two), (two, one)) if a in half and b not in half}


def _unfinished(todo: Todo, begun: Mapping[str, str]) -> str:
    step = todo.step
    wire = step.wire if isinstance(step, Insert) else None
    other = begun.get(wire) if wire else None
    return f"first finish wire {other}: no scan would see it exchanged with {wire}" if other else ""


def _made(todo: Todo) -> set[str]:
    step = todo.step
    names = {step.lead} if isinstance(step, Remove) else {step.stub, step.lead} if isinstance(step, Cut) else set()
    return {name for name in names if name}


def _used(todo: Todo) -> set[str]:
    step = todo.step
    if isinstance(step, Splice):
        return set(step.leads)
    name = step.lead if isinstance(step, Insert | SealOff | TapeBack) else None
    return {name} if name else set()
