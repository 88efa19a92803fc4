"""Counting a fault campaign: detected, located, ties, and the bound on what may have escaped."""

from __future__ import annotations

import sys
from collections import Counter
from dataclasses import dataclass, field

from tester.harness.expected import Expected
from tester.harness.reading import Measured
from tester.harness.verdict import FAIL, PASS, Verdict
from tester.judge import diagnose
from tester.judge.explain import apply, swaps_of
from tests.campaigns.harnesses import Broken, Harness

CONFIDENCE = 0.95


def show(text: str) -> None:
    """Print a figure where a person sees it also when the tests run in several processes."""
    sys.stderr.write(f"\n{text}\n")
    sys.stderr.flush()


@dataclass
class Score:
    """One class of faults. `located`: named (or among the ties) where the injected set is of smallest size."""

    injected: int = 0
    detected: int = 0
    not_tested: int = 0
    passed: int = 0
    minimal: int = 0
    located: int = 0
    first_three: int = 0
    undone: int = 0
    ties: Counter[int] = field(default_factory=Counter)

    def __iadd__(self, other: Score) -> Score:
        for name in ("injected", "detected", "not_tested", "passed", "minimal", "located", "first_three", "undone"):
            setattr(self, name, getattr(self, name) + getattr(other, name))
        self.ties += other.ties
        return self


def count(broken: Broken, good: Harness, expected: Expected, measured: Measured, verdict: Verdict, into: Score) -> str:
    """Add one case. Returns what went wrong, "" when all is as it must be."""
    same = broken.harness.netlist == good.netlist
    if broken.moved is not None and same and broken.harness.ends == good.ends:
        into.undone += 1  # the faults of this set undo each other
        return "" if verdict.verdict != FAIL else f"FAIL although the circuits are right: {verdict.faults}"
    into.injected += 1
    into.detected += verdict.verdict == FAIL
    into.passed += verdict.verdict == PASS
    into.not_tested += verdict.verdict not in (PASS, FAIL)
    if verdict.verdict == PASS:
        return "PASS"
    if broken.moved is None:
        into.minimal += 1
        named = {name for fault in verdict.faults for name in fault.cavities}
        circuits = [set(good.netlist.circuit_of(name)) for name in broken.at] or [named]
        hit = all(named & circuit for circuit in circuits)
        into.located += hit
        into.first_three += hit
        into.ties[1] += 1
        return "" if hit else f"not located: {broken.at}, faults {verdict.faults}"
    if verdict.verdict != FAIL:
        return ""  # in doubt and said so: counted, neither detected nor escaped
    if broken.harness.one_way_mix or same:
        return ""  # detected; where it lies a scan cannot tell from the levels, or only a diode is elsewhere
    if measured.netlist != broken.harness.netlist:
        return f"the scan saw {measured.netlist.circuits}, not {broken.harness.netlist.circuits}"
    return _explained(broken, good, expected, measured, into)


def _explained(broken: Broken, good: Harness, expected: Expected, measured: Measured, into: Score) -> str:
    found = diagnose(good.netlist, measured.netlist, expected)
    if any(apply(good.netlist, one) != measured.netlist for one in found.explanations):
        return "an explanation does not give the measurement"
    cost = found.explanations[0].cost
    into.ties[len(found.explanations)] += 1
    injected = swaps_of(broken.moved or {}) + broken.others
    if cost > injected:
        return f"{cost} faults explain what {injected} made"
    if cost < injected or not found.complete:
        return ""
    into.minimal += 1
    moves = [dict(one.moved) for one in found.explanations]
    wanted = {a: b for a, b in (broken.moved or {}).items() if a != b}
    if wanted not in moves:
        return f"injected {wanted} is not among {moves}"
    into.located += 1
    into.first_three += moves.index(wanted) < 3
    return ""


def bound(escapes: int, trials: int) -> str:
    """95 % upper bound on the share that escapes, when none did: exact 1 - 0.05^(1/n).

    Rule of three, Jovanovic and Levy 1997, "A look at the rule of three" (about 3/n).
    """
    if escapes:
        return f"{escapes} escaped"
    return f"{1 - (1 - CONFIDENCE) ** (1 / trials):.2e}" if trials else "-"


def table(scores: dict[str, Score]) -> str:
    """class, injected, detected, located, ties, bound."""
    head = (
        f"{'class':24}{'injected':>9}{'detected':>9}{'not tested':>11}{'PASS':>6}"
        f"{'smallest':>9}{'located':>8}{'first 3':>8}{'ties mean/most':>16}{'escape <':>11}"
    )
    lines = [head]
    whole = Score()
    for name, s in [*scores.items(), ("all", whole)]:
        if name != "all":
            whole += s
        n = sum(s.ties.values())
        ties = f"{sum(k * v for k, v in s.ties.items()) / n:.2f}/{max(s.ties)}" if n else "-"
        lines.append(
            f"{name:24}{s.injected:>9}{s.detected:>9}{s.not_tested:>11}{s.passed:>6}"
            f"{s.minimal:>9}{s.located:>8}{s.first_three:>8}{ties:>16}{bound(s.passed, s.injected):>11}"
        )
    if whole.undone:
        lines.append(f"{whole.undone} more sets undid themselves and left a right harness: none failed")
    return "\n".join(lines)
