"""Two plans compared as a person thinks of them: circuits, kit wires, steps, connectors, rules. Not lines of text."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from tester.harness.cavity import in_order
from tester.harness.netlist import Netlist
from tester.plan.expect import differences, reference_netlist
from tester.plan.models import Plan
from tester.plan.say import say_step
from tester.plan.sides import for_side
from tester.plan.variants import check_plan

NEW, GONE, CHANGED = "new", "gone", "changed"


@dataclass(frozen=True)
class Difference:
    """One difference. `about`: "circuit", "wire", "step", "connector", "fact", "rule"; `what`: new, gone or changed."""

    about: str
    what: str
    name: str
    says: str


def diff_plans(old: Plan, new: Plan) -> list[Difference]:
    """What `new` has that `old` has not, and the other way round. Empty when both say the same."""
    return [
        *_circuits(old, new),
        *_named("wire", old.wire, new.wire, lambda plan, one: f"{one.a.words} to {one.b.words}", old, new),
        *_steps(old, new),
        *_named(
            "connector", old.connector, new.connector, lambda plan, one: f"{len(one.all_numbers)} cavities", old, new
        ),
        *_facts(old, new),
        *_rules(old, new),
    ]


def _made_circuits(plan: Plan) -> dict[str, set[tuple[str, ...]]]:
    """Side -> circuits that the plan makes in any variant of it."""
    found: dict[str, set[tuple[str, ...]]] = {side: set() for side in plan.sides or ("",)}
    for one in check_plan(plan, most=256).variants:
        found[one.side] |= set(one.circuits)
    return found


def _circuits(old: Plan, new: Plan) -> Iterator[Difference]:
    before, after = _made_circuits(old), _made_circuits(new)
    for side in dict.fromkeys([*before, *after]):
        where = f" (side {side})" if side else ""
        gone = sorted(before.get(side, set()) - after.get(side, set()))
        for circuit in sorted(after.get(side, set()) - before.get(side, set())):
            near = next((one for one in gone if set(one) & set(circuit)), None)
            said = " ".join(circuit)
            if near is None:
                yield Difference("circuit", NEW, said, f"circuit {said}{where}")
            else:
                gone.remove(near)
                yield Difference("circuit", CHANGED, said, f"circuit {' '.join(near)} becomes {said}{where}")
        for circuit in gone:
            yield Difference("circuit", GONE, " ".join(circuit), f"circuit {' '.join(circuit)}{where}")
    if old.expected is not None or new.expected is not None:
        yield from _references(old, new)


def _references(old: Plan, new: Plan) -> Iterator[Difference]:
    if old.expected is None or new.expected is None:
        what = NEW if old.expected is None else GONE
        yield Difference("circuit", what, "reference", "expected netlist of a reference harness")
        return
    one, two = reference_netlist(old.expected), reference_netlist(new.expected)
    for said in differences(one, two):
        name = said.split(":")[0]
        yield Difference("circuit", CHANGED, name, said.replace("reference ", "before ").replace("; here ", "; now "))
    for what, names in ((NEW, _only(two, one)), (GONE, _only(one, two))):
        for name in names:
            yield Difference("circuit", what, name, f"cavity {name} in the expected netlist")


def _only(one: Netlist, other: Netlist) -> list[str]:
    return in_order(set(one.cavities) - set(other.cavities))


def _fields(one: Any) -> dict[str, Any]:
    """Every field of a table that is not left at its default, nested ones with a dot."""
    flat: dict[str, Any] = {}

    def add(head: str, value: Any) -> None:
        if isinstance(value, dict) and head.split(".")[-1] != "when":
            for key, inner in value.items():
                add(f"{head}.{key}" if head else key, inner)
        elif value is not None:
            flat[head] = value

    add("", one.model_dump(mode="json", by_alias=True, exclude_defaults=True))
    flat.pop("when", None)
    if getattr(one, "when", None) is not None:
        flat["when"] = one.when.words
    return flat


def _changes(before: Mapping[str, Any], after: Mapping[str, Any]) -> list[str]:
    keys = [key for key in dict.fromkeys([*before, *after]) if before.get(key) != after.get(key)]
    return [f"{key} {_shown(before.get(key))} becomes {_shown(after.get(key))}" for key in keys]


def _shown(value: Any) -> str:
    if value is None:
        return "(not said)"
    if isinstance(value, list):
        return ", ".join(map(_shown, value)) or "none"
    return f"{value:g}" if isinstance(value, float) else str(value)


def _named(
    about: str, old: Sequence[Any], new: Sequence[Any], words: Any, first: Plan, second: Plan
) -> Iterator[Difference]:
    before, after = {one.id: one for one in old}, {one.id: one for one in new}
    for id in dict.fromkeys([*before, *after]):
        if id not in before:
            yield Difference(about, NEW, id, f"{about} {id}: {words(second, after[id])}")
        elif id not in after:
            yield Difference(about, GONE, id, f"{about} {id}: {words(first, before[id])}")
        else:
            changes = _changes(_fields(before[id]), _fields(after[id]))
            if changes:
                yield Difference(about, CHANGED, id, f"{about} {id}: {'; '.join(changes)}")


def _steps(old: Plan, new: Plan) -> Iterator[Difference]:
    yield from _named("step", old.step, new.step, say_step, old, new)
    common = [step.id for step in old.step if any(other.id == step.id for other in new.step)]
    now = [step.id for step in new.step if step.id in common]
    kept = _longest_common(common, now)
    for id in now:
        if id not in kept:
            place = now.index(id)
            after = f"after {now[place - 1]}" if place else "first"
            yield Difference("step", CHANGED, id, f"step {id}: comes in another order, now {after}")


def _longest_common(one: Sequence[str], two: Sequence[str]) -> set[str]:
    """Members of a longest run of ids that keep their order."""
    place = {id: n for n, id in enumerate(two)}
    best: list[list[str]] = []  # best[n]: run of length n + 1 with the smallest last place
    for id in one:
        n = next((n for n, run in enumerate(best) if place[run[-1]] > place[id]), len(best))
        run = [*(best[n - 1] if n else []), id]
        best[n : n + 1] = [run]
    return set(best[-1]) if best else set()


def _facts(old: Plan, new: Plan) -> Iterator[Difference]:
    before, after = ({one.that.words: one for one in plan.fact} for plan in (old, new))
    for words in after.keys() - before.keys():
        yield Difference("fact", NEW, words, f"fact: {words}")
    for words in before.keys() - after.keys():
        yield Difference("fact", GONE, words, f"fact: {words}")


def _rules(old: Plan, new: Plan) -> Iterator[Difference]:
    keys = (
        "id",
        "revision",
        "title",
        "vehicle",
        "note",
        "checks",
        "prove_leads",
        "hazards",
        "limits",
        "advice",
        "limit",
    )
    dumps = [plan.model_dump(mode="json", by_alias=True) for plan in (old, new)]
    for key in keys:
        before, after = (dump[key] for dump in dumps)
        if before == after:
            continue
        if isinstance(before, dict):
            for change in _changes(before, after):
                yield Difference("rule", CHANGED, key, f"{key}: {change}")
        elif key == "limit":
            yield Difference("rule", CHANGED, key, f"limits of their own: {len(before)} before, {len(after)} now")
        else:
            yield Difference("rule", CHANGED, key, f"{key}: {_shown(before)} becomes {_shown(after)}")
    for side in dict.fromkeys([*old.sides, *new.sides]):
        one, two = old.sides.get(side), new.sides.get(side)
        if one is None or two is None:
            yield Difference("rule", NEW if one is None else GONE, f"side {side}", f"side {side}")
        elif one != two:
            changes = _changes(_fields(one), _fields(two))
            yield Difference("rule", CHANGED, f"side {side}", f"side {side}: {'; '.join(changes)}")
    yield from _named("function", old.function, new.function, lambda plan, one: one.do, old, new)


def diff_text(found: Sequence[Difference], width: int = 80) -> str:
    """The differences as text: + new, - gone, * changed."""
    if not found:
        return "The plans say the same.\n"
    marks = {NEW: "+ ", GONE: "- ", CHANGED: "* "}
    lines: list[str] = []
    about = ""
    for one in found:
        if one.about != about:
            lines += ([""] if lines else []) + [f"{one.about.upper()}S"]
            about = one.about
        lines += textwrap.wrap(one.says, width, initial_indent=marks[one.what], subsequent_indent="    ")
    return "\n".join(lines) + "\n"


def same_on_side(plan: Plan, side: str) -> Plan:
    """The plan of one side as a plan without sides, to compare two sides of one plan."""
    return for_side(plan, side).model_copy(update={"sides": {}})
