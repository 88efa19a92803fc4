"""The work sheet as text, 80 columns: cautions, kit, steps with boxes, function checklist."""

from __future__ import annotations

from collections.abc import Iterator

from tester.plan.blind import exchange_blind
from tester.plan.hazards import check_hazards
from tester.plan.models import Plan
from tester.plan.resolve import Resolved
from tester.plan.say import say_step
from tester.plan.steps import AnyStep, Insert
from tester.plan.wrap import wrapped

SAFETY = (
    "Battery disconnected, the maker's waiting time kept. Harness out of the vehicle, both ends free.",
    "The service manual and local rules come first.",
    "Restraint (air bag, pretensioner) and high-voltage (orange) circuits: qualified people only.",
    "Low-voltage test only: nothing is claimed on insulation, sealing, routing or load.",
)


def sheet_text(plan: Plan, resolved: Resolved | None = None) -> str:
    """The sheet. Without `resolved` every step is shown with its condition; with it, those of this harness.

    Ends with a line feed; no line is longer than 80 characters (a single longer word apart).
    """
    here = resolved.plan if resolved is not None else plan
    lines = [f"{here.title or here.id}", f"plan {here.id}, revision {here.revision}"]
    if here.vehicle:
        lines.append(f"for {here.vehicle}")
    if resolved is not None and resolved.side:
        lines.append(f"side: {resolved.side}")
    lines += ["", "BEFORE YOU START", *_bullets(SAFETY)]
    lines += _bullets(caution.says for caution in check_hazards(here, [], real_board=False))
    lines += ["", "CONNECTORS", *_connectors(here)]
    if here.wire:
        lines += ["", "KIT", *_kit(here)]
    lines += ["", "STEPS" if resolved is not None else "STEPS (all variants)", *_steps(here, resolved)]
    if resolved is not None:
        lines += _not_here(resolved)
    if here.function:
        lines += ["", "AFTER INSTALLING"]
        for one in here.function:
            lines += wrapped("[ ] ", f"{one.do}: {one.see}")
    lines += ["", "Builder: ____________  Tester: ____________  Date: ____________"]
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _bullets(texts: object) -> list[str]:
    return [line for text in texts for line in wrapped("* ", text)]  # type: ignore[attr-defined]


def _connectors(plan: Plan) -> Iterator[str]:
    for one in plan.connector:
        facts = [f"{len(one.all_numbers)} cavities"]
        facts += [one.title] if one.title else []
        facts += ["sealed"] if one.sealed else []
        facts += [f"lock: {one.lock}"] if one.lock else []
        if one.kind == "housing":
            moulded = ", ".join(map(str, sorted(one.moulded)))
            facts.append(f"moulded numbers: {moulded}" if moulded else "no number is moulded: count twice")
        yield from wrapped(f"{one.id}: ", "; ".join(facts))


def _kit(plan: Plan) -> Iterator[str]:
    for wire in plan.wire:
        length = f"{wire.length_mm:g} mm" if wire.length_mm else ""
        facts = [wire.look, length, f"{wire.a.words} to {wire.b.words}", wire.note]
        yield from wrapped(f"{wire.id}: ", ", ".join(fact for fact in facts if fact))
    pairs = [one for one in exchange_blind(plan) if one.differ]
    if pairs:
        names = ", ".join(f"{one.first}/{one.second}" for one in pairs)
        yield from wrapped("! ", f"Finish one wire before you pick up the next: no scan sees these exchanged: {names}.")


def _one(plan: Plan, number: int, step: AnyStep, only: str) -> Iterator[str]:
    if step.caution:
        yield from wrapped("     ! ", step.caution)
    yield from wrapped(f"[ ] {number:>2}. ", only + say_step(plan, step))
    if step.note:
        yield from wrapped("        ", step.note)
    if step.photo:
        yield "        (photo)"


def _steps(plan: Plan, resolved: Resolved | None) -> Iterator[str]:
    wire = ""
    steps = [(n, s, s.when) for n, s in enumerate(plan.step, 1)]
    if resolved is not None:
        steps = [(one.number, one.step, None) for one in resolved.todo]
    for number, step, when in steps:
        now = step.wire if isinstance(step, Insert) and step.wire else ""
        if now and wire and now != wire:
            yield ""
        wire = now or wire
        yield from _one(plan, number, step, f"If {when.words}: " if when is not None else "")
    if not steps:
        yield "(none)"


def _not_here(resolved: Resolved) -> list[str]:
    lines: list[str] = []
    if resolved.questions:
        lines += ["", "TO ANSWER FIRST"]
        for question in resolved.questions:
            lines += wrapped("? ", f"{question.says} ({question.id})")
    if resolved.problems:
        lines += ["", "DOES NOT FIT THIS HARNESS"]
        for problem in resolved.problems:
            lines += wrapped("! ", f"step {problem.step}: {problem.says}")
    if resolved.skipped:
        lines += ["", "NOT ON THIS HARNESS"]
        for one in resolved.skipped:
            lines += wrapped("- ", f"{say_step(resolved.plan, one.step)} ({one.why})")
    return lines
