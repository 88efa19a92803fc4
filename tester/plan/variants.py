"""Every variant of a plan tried: which steps it gets, which circuits come out, what contradicts itself."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field

from tester.errors import InputError
from tester.harness.cavity import in_order
from tester.harness.netlist import Netlist
from tester.plan.blind import Blind, exchange_blind
from tester.plan.combos import ELSEWHERE, MOST, MOST_PAIRED, Combo, Combos, combos, leaf_key
from tester.plan.conditions import Condition
from tester.plan.findings import Finding, findings, left_over
from tester.plan.models import Plan
from tester.plan.resolve import Resolved, resolve, touched
from tester.plan.sides import for_side
from tester.plan.steps import Insert, Move, Remove


@dataclass(frozen=True)
class Variant:
    """Combinations of answers that get the same steps and come out alike.

    number, side   from 1; "" for a plan without sides
    holds          in words: what is the same in all its combinations, () when nothing is asked
    combinations   how many there are
    steps          ids; circuits: the new ones, each in order; outcomes: how many ways it may come out
    left_over      kit wires neither used nor sealed off
    findings       contradictions; () when the variant fits
    """

    number: int
    side: str
    holds: tuple[str, ...]
    combinations: int
    steps: tuple[str, ...]
    circuits: tuple[tuple[str, ...], ...]
    outcomes: int
    left_over: tuple[str, ...]
    findings: tuple[Finding, ...]
    example: Combo | None = field(default=None, compare=False, repr=False)


@dataclass(frozen=True)
class PlanReport:
    """What `check_plan` found.

    possible     combinations that can occur, all sides together (those that were tried if not `complete`)
    not_tried    in words, when not all were tried; "" otherwise
    dead         steps whose condition never holds; always: steps whose condition always holds
    never_used   kit wires that no variant uses or seals off
    taken_empty  cavities that a step fills and that no condition, fact or earlier step makes sure are empty
    """

    variants: tuple[Variant, ...]
    possible: int
    not_tried: str
    dead: tuple[str, ...] = ()
    always: tuple[str, ...] = ()
    never_used: tuple[str, ...] = ()
    blind: tuple[Blind, ...] = ()
    findings: tuple[Finding, ...] = field(default=())
    taken_empty: tuple[str, ...] = ()

    @property
    def fits(self) -> bool:
        """True when nothing contradicts itself in any variant tried."""
        return not self.findings and not any(one.findings for one in self.variants)


def check_plan(plan: Plan, most: int = MOST) -> PlanReport:
    """Try each combination of conditions that can occur, on the smallest harness that gives it."""
    tried: list[_Tried] = []
    asked: dict[str, Combos] = {}
    for side in plan.sides or ("",):
        here = for_side(plan, side or None)
        asked[side] = combos(here, most)
        tried += [_try(here, side, combo) for combo in asked[side].made]
    groups: dict[object, list[_Tried]] = defaultdict(list)
    for one in tried:
        groups[one.key].append(one)
    variants = tuple(_variant(n, group, asked) for n, group in enumerate(groups.values(), 1))
    conditional = [step.id for step in plan.step if step.when is not None]
    some = {id for one in tried for id in one.steps}
    every = set(conditional).intersection(*(set(one.steps) for one in tried))
    return PlanReport(
        variants,
        len(tried),
        _not_tried(asked, len(tried)),
        tuple(id for id in conditional if id not in some),
        tuple(id for id in conditional if id in every),
        _never_used(plan, some),
        tuple(exchange_blind(plan)),
        tuple(_sides_differ(plan, tried)),
        _taken_empty(plan),
    )


@dataclass(frozen=True)
class _Tried:
    side: str
    combo: Combo
    steps: tuple[str, ...]
    circuits: tuple[tuple[str, ...], ...]
    outcomes: int
    left_over: tuple[str, ...]
    findings: tuple[Finding, ...]

    @property
    def key(self) -> object:
        return (self.side, self.steps, self.circuits, self.outcomes, self.findings)


def _try(plan: Plan, side: str, combo: Combo) -> _Tried:
    found = resolve(plan, combo.as_found, combo.answers, side or None, words=False)
    return _Tried(
        side,
        combo,
        tuple(one.id for one in found.todo),
        _new_circuits(found, combo.as_found.netlist),
        len(found.ends),
        tuple(left_over(found)),
        tuple(findings(found)),
    )


def _new_circuits(found: Resolved, before: Netlist) -> tuple[tuple[str, ...], ...]:
    if not found.ends:
        return ()
    old = set(before.circuits)
    made = (c for c in found.ends[0].netlist if len(c) > 1 and c not in old)
    shown = (tuple(n for n in circuit if not n.startswith(ELSEWHERE + "-")) for circuit in made)
    return tuple(circuit for circuit in shown if circuit)


def _variant(number: int, group: list[_Tried], asked: dict[str, Combos]) -> Variant:
    one = group[0]
    return Variant(
        number,
        one.side,
        tuple(_holds(asked[one.side].questions, [each.combo for each in group])),
        len(group),
        one.steps,
        one.circuits,
        one.outcomes,
        one.left_over,
        one.findings,
        one.combo,
    )


def variant_resolved(plan: Plan, number: int) -> Resolved:
    """The plan resolved for one of the variants that `check_plan` counts, for its work sheet. Raises InputError."""
    variants = check_plan(plan).variants
    if not 1 <= number <= len(variants):
        raise InputError(
            f"plan {plan.id} has variants 1 to {len(variants)}, not {number}", "`plan check` shows what each one is."
        )
    one = variants[number - 1]
    assert one.example is not None
    return resolve(plan, one.example.as_found, one.example.answers, one.side or None)


def _holds(questions: Iterable[Condition], group: list[Combo]) -> list[str]:
    """What all combinations of a group have in common, in words."""
    said = []
    for question in questions:
        values = {combo.holds[leaf_key(question)] for combo in group}
        if values == {True}:
            said.append(question.words)
        elif values == {False}:
            said.append(Condition(not_=question).words)
    return said


def _not_tried(asked: dict[str, Combos], tried: int) -> str:
    if all(one.complete for one in asked.values()):
        return ""
    count = max(len(one.questions) for one in asked.values())
    how = (
        "every two questions answered in each way that can occur. Not tried: combinations where three or more answers "
        "matter together."
        if count <= MOST_PAIRED
        else "each question answered both ways by itself. Not tried: combinations where two or more answers matter "
        "together."
    )
    return f"{count} questions give up to 2^{count} combinations; {tried} were tried, {how}"


def _never_used(plan: Plan, some: set[str]) -> tuple[str, ...]:
    told = {step.wire for step in plan.step if getattr(step, "wire", None) is not None and step.id in some}  # type: ignore[union-attr]
    inserted = {step.wire for step in plan.step if isinstance(step, Insert)}
    fixed = {wire.id for wire in plan.wire if wire.id not in inserted and not (wire.a.loose and wire.b.loose)}
    spliced = {wire.id for wire in plan.wire if wire.a.splice is not None and wire.b.splice is not None}
    return tuple(wire.id for wire in plan.wire if wire.id not in told | fixed | spliced)


def _taken_empty(plan: Plan) -> tuple[str, ...]:
    conditions = [step.when for step in plan.step if step.when is not None] + [fact.that for fact in plan.fact]
    sure = {name for one in conditions for leaf in one.leaves() for name in leaf.cavities()}
    found: set[str] = set()
    for step in plan.step:
        if isinstance(step, Remove):
            sure.add(step.cavity)
        filled = touched(plan, step)[-1:] if isinstance(step, Insert | Move) else ()
        found |= set(filled) - sure
        sure |= {step.from_} if isinstance(step, Move) else set()
    return tuple(in_order(found))


def _sides_differ(plan: Plan, tried: list[_Tried]) -> Iterable[Finding]:
    """Steps that only some sides ever get, where no side's note says so."""
    if len(plan.sides) < 2 or any(side.note for side in plan.sides.values()):
        return
    by_side = {side: {id for one in tried if one.side == side for id in one.steps} for side in plan.sides}
    for step in plan.step:
        having = [side for side, ids in by_side.items() if step.id in ids]
        if having and len(having) < len(by_side):
            says = (
                f"only side {' and '.join(having)} gets this step, and no side says that the sides differ; "
                f'write it down: [sides.{having[0]}] with note = "..."'
            )
            yield Finding("sides", step.id, says)
