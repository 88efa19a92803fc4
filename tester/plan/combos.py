"""Which answers to a plan's conditions can occur together, and a harness that would give each combination.

A combination says true or false of every single question (`Condition.leaves`). Joined cavities form circuits, so
joined is transitive; what is joined is occupied and not lone; an empty cavity is lone. Taking only what a combination
says to be joined as joined leaves everything else apart, so that a combination can occur exactly if this smallest
harness does not contradict it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from tester.errors import InputError
from tester.harness.netlist import Joiner, Netlist
from tester.harness.reading import Measured
from tester.plan.conditions import Condition
from tester.plan.models import Plan

MOST = 4096
MOST_PAIRED = 24  # questions up to which every two are tried in all ways; beyond, each one by itself
MOST_QUESTIONS = 300
ELSEWHERE = "ELSEWHERE"  # connector of the far ends that no lead reaches

Key = tuple[str, ...]


def leaf_key(leaf: Condition) -> Key:
    """Two leaves with the same key ask the same; () for a question about the side."""
    if leaf.joined is not None:
        return ("joined", *sorted(set(leaf.joined)))
    if leaf.occupied is not None:
        return ("occupied", leaf.occupied)
    if leaf.lone is not None:
        return ("lone", leaf.lone)
    return ("eye", leaf.eye) if leaf.eye is not None else ()


@dataclass(frozen=True)
class Combo:
    """One combination: `holds` by leaf key, the smallest harness that gives it, and the answers by eye."""

    holds: Mapping[Key, bool]
    as_found: Measured
    answers: Mapping[str, bool]


@dataclass(frozen=True)
class Combos:
    """The combinations that were made. `complete`: all that can occur; else every two questions in all ways, or with
    more than `MOST_PAIRED` questions each one by itself."""

    questions: tuple[Condition, ...]
    made: tuple[Combo, ...]
    complete: bool


def questions_of(plan: Plan) -> tuple[Condition, ...]:
    """The different questions that the conditions of the steps ask, without those about the side."""
    found: dict[Key, Condition] = {}
    for step in plan.step:
        for leaf in step.when.leaves() if step.when is not None else ():
            if leaf_key(leaf):
                found.setdefault(leaf_key(leaf), leaf)
    return tuple(found.values())


def fact_values(plan: Plan) -> dict[Key, bool]:
    """What the plan's facts fix. Facts joined by `any` fix nothing and are left out."""
    fixed: dict[Key, bool] = {}
    work = [(fact.that, True) for fact in plan.fact]
    while work:
        that, value = work.pop()
        if that.not_ is not None:
            work.append((that.not_, not value))
        elif (that.all_ is not None and value) or (that.any_ is not None and not value):
            work += [(one, value) for one in that.inner()]
        elif not that.inner() and leaf_key(that):
            fixed[leaf_key(that)] = value
    return fixed


def consistent(holds: Mapping[Key, bool]) -> bool:
    """Can a harness answer like this?"""
    joiner = Joiner(name for key in holds if key[0] != "eye" for name in key[1:])
    for key, value in holds.items():
        if key[0] == "joined" and value:
            for other in key[2:]:
                joiner.join(key[1], other)
    sizes: dict[str, int] = {}
    for group in joiner.circuits():
        sizes |= dict.fromkeys(group, len(group))
    for key, value in holds.items():
        if key[0] == "joined" and not value and all(joiner.joined(key[1], other) for other in key[2:]):
            return False
        if key[0] == "lone" and value and sizes[key[1]] > 1:
            return False
        if key[0] == "occupied" and not value and (sizes[key[1]] > 1 or holds.get(("lone", key[1])) is False):
            return False
    return True


def combos(plan: Plan, most: int = MOST) -> Combos:
    """The combinations that can occur on harnesses for which the plan's facts hold (`plan` for its side).

    Facts that contradict each other fix nothing. Raises InputError beyond `MOST_QUESTIONS`.
    """
    questions = questions_of(plan)
    if len(questions) > MOST_QUESTIONS:
        raise InputError(
            f"plan {plan.id} asks {len(questions)} different questions; at most {MOST_QUESTIONS} can be tried",
            "Split it into several plans.",
        )
    keys = [leaf_key(one) for one in questions]
    fixed = fact_values(plan)
    if not consistent(fixed):
        fixed = {}
    made: list[dict[Key, bool]] = []
    for holds in _grow(keys, fixed, {}):
        made.append(holds)
        if len(made) > most:
            some = _pairs(keys, fixed) if len(keys) <= MOST_PAIRED else _singles(keys, fixed)
            return Combos(questions, tuple(_combo(plan, one) for one in some), False)
    return Combos(questions, tuple(_combo(plan, one) for one in made), True)


def _grow(keys: Sequence[Key], fixed: Mapping[Key, bool], wanted: Mapping[Key, bool]) -> Iterator[dict[Key, bool]]:
    """All consistent ways to answer `keys`, false first; `wanted` are told beforehand."""

    def go(place: int, holds: dict[Key, bool]) -> Iterator[dict[Key, bool]]:
        if place == len(keys):
            yield dict(holds)
            return
        key = keys[place]
        told = fixed.get(key, wanted.get(key))
        for value in (False, True) if told is None else (told,):
            holds[key] = value
            if consistent(holds):
                yield from go(place + 1, holds)
        if key not in fixed and key not in wanted:
            del holds[key]
        else:
            holds[key] = bool(told)

    start = dict(fixed) | dict(wanted)
    if consistent(start):
        yield from go(0, start)


def _pairs(keys: Sequence[Key], fixed: Mapping[Key, bool]) -> list[dict[Key, bool]]:
    """One combination, if there is any, for each two questions and each way to answer the two."""
    found: dict[tuple[bool, ...], dict[Key, bool]] = {}
    for n, one in enumerate(keys):
        for two in keys[n + 1 :]:
            for values in ((False, False), (False, True), (True, False), (True, True)):
                wanted = {one: values[0], two: values[1]}
                if any(fixed.get(key, value) != value for key, value in wanted.items()):
                    continue
                holds = next(_grow(keys, fixed, wanted), None)
                if holds is not None:
                    found.setdefault(tuple(holds[key] for key in keys), holds)
    return list(found.values())


def _singles(keys: Sequence[Key], fixed: Mapping[Key, bool]) -> list[dict[Key, bool]]:
    """One combination, if there is any, for each question and each way to answer it."""
    found: dict[tuple[bool, ...], dict[Key, bool]] = {}
    for key in keys:
        for value in (False, True):
            if fixed.get(key, value) == value:
                holds = next(_grow(keys, fixed, {key: value}), None)
                if holds is not None:
                    found.setdefault(tuple(holds[one] for one in keys), holds)
    return list(found.values())


def _combo(plan: Plan, holds: dict[Key, bool]) -> Combo:
    joiner = Joiner(plan.cavities)
    for key, value in holds.items():
        if key[0] == "joined" and value:
            for other in key[2:]:
                joiner.join(key[1], other)
    beyond = 0
    for key, value in holds.items():
        if key[0] == "lone" and not value and len(next(c for c in joiner.circuits() if key[1] in c)) == 1:
            beyond += 1
            joiner.join(key[1], f"{ELSEWHERE}-{beyond}")
    answers = {f"occupied {key[1]}": value for key, value in holds.items() if key[0] == "occupied"}
    answers |= {f"eye {key[1]}": value for key, value in holds.items() if key[0] == "eye"}
    return Combo(holds, Measured(Netlist.of(joiner.circuits())), answers)
