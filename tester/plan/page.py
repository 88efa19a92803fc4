"""What stands on a work sheet to tape above the bench, as plain values; drawn as HTML and as PDF by others."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass

from tester.harness.leads import LeadMap
from tester.plan.blind import exchange_blind
from tester.plan.face_drawing import FaceDrawing, draw_face
from tester.plan.hazards import check_hazards
from tester.plan.load import write_plan
from tester.plan.models import End, Plan
from tester.plan.resolve import Resolved, touched
from tester.plan.say import say_step
from tester.plan.sheet import SAFETY
from tester.plan.steps import Insert, cavities_of


@dataclass(frozen=True)
class StepRow:
    """One step: number, sentence with its condition if any, remarks, and whether it begins another wire."""

    number: str
    says: str
    caution: str = ""
    note: str = ""
    photo: bool = False
    new_wire: bool = False


@dataclass(frozen=True)
class KitRow:
    """One kit wire: what it looks like, its two ends with terminal, strip length and crimp where given."""

    id: str
    look: str
    length: str
    a: str
    b: str
    note: str


@dataclass(frozen=True)
class WorkPage:
    """The whole sheet. `facts`: lines under the title; `open_items`: what must be answered or does not fit."""

    title: str
    facts: tuple[str, ...]
    cautions: tuple[str, ...]
    connectors: tuple[str, ...]
    faces: tuple[FaceDrawing, ...]
    kit: tuple[KitRow, ...]
    kit_note: str
    steps: tuple[StepRow, ...]
    open_items: tuple[str, ...]
    not_here: tuple[str, ...]
    leads: tuple[tuple[str, tuple[tuple[int, str], ...]], ...]
    functions: tuple[tuple[str, str], ...]
    sha256: str
    code: str

    @property
    def foot(self) -> str:
        """Line for the foot of each page."""
        return f"{self.facts[0]}, SHA-256 {self.sha256[:16]}"


def work_page(
    plan: Plan,
    resolved: Resolved | None = None,
    leads: Sequence[LeadMap] = (),
    plan_text: str | bytes | None = None,
    side: str = "wire",
) -> WorkPage:
    """The sheet of a plan: for all variants, or with `resolved` for one harness or variant.

    plan_text  text of the plan file, hashed; that of `write_plan` if left out
    side       "wire" or "mating": from where the faces are drawn
    """
    here = resolved.plan if resolved is not None else plan
    raw = plan_text if plan_text is not None else write_plan(plan)
    sha256 = hashlib.sha256(raw.encode() if isinstance(raw, str) else raw).hexdigest()
    facts = [f"plan {here.id}, revision {here.revision}"]
    facts += [f"for {here.vehicle}"] if here.vehicle else []
    if resolved is not None and resolved.side:
        facts.append(f"side: {resolved.side}")
    facts += [here.note] if here.note else []
    cautions = [*SAFETY, *(one.says for one in check_hazards(here, [], real_board=False))]
    return WorkPage(
        title=here.title or here.id,
        facts=tuple(facts),
        cautions=tuple(cautions),
        connectors=tuple(_connector_words(here)),
        faces=tuple(draw_face(one, side, _marks(here, resolved)) for one in here.connector if one.kind == "housing"),
        kit=tuple(_kit(here)),
        kit_note=_kit_note(here),
        steps=tuple(_steps(here, resolved)),
        open_items=tuple(_open_items(resolved)),
        not_here=tuple(f"{say_step(here, one.step)} ({one.why})" for one in resolved.skipped) if resolved else (),
        leads=tuple((one.id, tuple(one.channels.items())) for one in leads),
        functions=tuple((one.do, one.see) for one in here.function),
        sha256=sha256,
        code=f"LOOMWRIGHT PLAN {here.id} REV {here.revision} SHA256 {sha256}",
    )


def _numbers(plan: Plan, resolved: Resolved | None) -> list[tuple[str, tuple[str, ...]]]:
    """Number of each step on the sheet, with its cavities."""
    if resolved is not None:
        return [(str(one.number), one.cavities) for one in resolved.todo]
    return [(str(n), touched(plan, step) or cavities_of(step)) for n, step in enumerate(plan.step, 1)]


def _marks(plan: Plan, resolved: Resolved | None) -> dict[str, tuple[str, ...]]:
    marks: dict[str, tuple[str, ...]] = {}
    for number, names in _numbers(plan, resolved):
        for name in names:
            marks[name] = (*marks.get(name, ()), number)
    return marks


def _connector_words(plan: Plan) -> list[str]:
    found = []
    for one in plan.connector:
        facts = [f"{one.id}: {one.title}" if one.title else one.id, f"{len(one.all_numbers)} cavities"]
        facts += ["sealed"] if one.sealed else []
        facts += [f"lock: {one.lock}"] if one.lock else []
        if one.kind == "housing":
            moulded = ", ".join(map(str, sorted(one.moulded)))
            facts.append(f"moulded numbers: {moulded}" if moulded else "no number is moulded: count twice")
        facts += [one.note] if one.note else []
        found.append("; ".join(facts))
    return found


def _end_words(end: End) -> str:
    facts = [end.words, end.terminal, f"strip {end.strip_mm:g} mm" if end.strip_mm else "", end.crimp]
    return ", ".join(fact for fact in facts if fact) + (", comes fitted" if end.fitted else "")


def _kit(plan: Plan) -> list[KitRow]:
    return [
        KitRow(
            wire.id,
            wire.look,
            f"{wire.length_mm:g} mm" if wire.length_mm else "",
            _end_words(wire.a),
            _end_words(wire.b),
            wire.note,
        )
        for wire in plan.wire
    ]


def _kit_note(plan: Plan) -> str:
    pairs = [f"{one.first}/{one.second}" for one in exchange_blind(plan) if one.differ]
    if not pairs:
        return ""
    return f"Finish one wire before you pick up the next: no scan sees these exchanged: {', '.join(pairs)}."


def _steps(plan: Plan, resolved: Resolved | None) -> list[StepRow]:
    steps = [(str(n), step, step.when) for n, step in enumerate(plan.step, 1)]
    if resolved is not None:
        steps = [(str(one.number), one.step, None) for one in resolved.todo]
    rows, wire = [], ""
    for number, step, when in steps:
        now = step.wire if isinstance(step, Insert) and step.wire else ""
        only = f"If {when.words}: " if when is not None else ""
        fresh = bool(now and wire and now != wire)
        rows.append(StepRow(number, only + say_step(plan, step), step.caution, step.note, step.photo, fresh))
        wire = now or wire
    return rows


def _open_items(resolved: Resolved | None) -> list[str]:
    if resolved is None:
        return []
    found = [f"{question.says} ({question.id})" for question in resolved.questions]
    return found + [f"step {problem.step} does not fit this harness: {problem.says}" for problem in resolved.problems]
