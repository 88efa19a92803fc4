"""Kit wires whose exchange no scan can see: finished one before the next is picked up."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

from tester.plan.graph import fitted_cavity
from tester.plan.models import End, Plan, Wire


@dataclass(frozen=True)
class Blind:
    """Two kit wires that can be exchanged unseen.

    how: "both ends" (whole wires exchanged: same circuits) or "a" / "b" (only the ends a, or b: the others are
    on no lead). differ: in what the two wires differ, so what an exchange would harm; () when they are alike.
    """

    first: str
    second: str
    how: str
    differ: tuple[str, ...]

    @property
    def words(self) -> str:
        """One sentence."""
        what = "at both ends" if self.how == "both ends" else f"at their end {self.how}"
        harm = f"; they differ in {', '.join(self.differ)}" if self.differ else "; the two are alike"
        return f"Wires {self.first} and {self.second} exchanged {what} give the same circuits{harm}."


def exchange_blind(plan: Plan) -> list[Blind]:
    """Pairs of kit wires whose exchange gives the same circuits on all cavities that a lead can reach."""
    found = []
    for one, two in combinations(plan.wire, 2):
        how = _how(plan, one, two)
        if how is not None:
            found.append(Blind(one.id, two.id, how, _differ(one, two)))
    return found


def _how(plan: Plan, one: Wire, two: Wire) -> str | None:
    for which, far in (("a", "b"), ("b", "a")):
        near = (one.end(which), two.end(which))
        hidden = all(_hidden(plan, wire.end(far)) for wire in (one, two))
        if hidden and all(end.cavity is not None and end.loose for end in near):
            return which
    loose = all(end.loose for wire in (one, two) for end in (wire.a, wire.b))
    if not loose:
        return None
    kinds = [tuple(sorted("cavity" if end.cavity is not None else "splice" for end in (w.a, w.b))) for w in (one, two)]
    return "both ends" if kinds[0] == kinds[1] else None


def _hidden(plan: Plan, end: End) -> bool:
    """A fitted end that no lead can ever reach."""
    return not end.loose and fitted_cavity(plan, end) is None


def _differ(one: Wire, two: Wire) -> tuple[str, ...]:
    found = []
    if one.mm2 != two.mm2:
        found.append("size")
    if one.length_mm != two.length_mm:
        found.append("length")
    if one.amperes != two.amperes:
        found.append("load")
    if one.paint != two.paint:
        found.append("colour")
    if {one.a.terminal, one.b.terminal} != {two.a.terminal, two.b.terminal}:
        found.append("terminal")
    return tuple(found)
