"""Two scans of one harness: links gone or new, parts and resistances that moved, and whether the job touched them."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable
from dataclasses import dataclass

from tester.harness.cavity import cavity_key, in_order, split_cavity
from tester.harness.netlist import Netlist, Pair, pair
from tester.harness.reading import Measured, PartReading
from tester.judge.explain import overlaps
from tester.judge.isolation import COVERAGE
from tester.judge.parts import near

CHANGES = ("gone", "new", "resistance", "part gone", "part new", "part changed", "not comparable")
EDITED, OPENED, ASIDE = "circuit edited", "connector opened", "not handled"
PART_TOLERANCE = 0.05


@dataclass(frozen=True)
class Change:
    """One difference between an earlier and a later scan.

    kind      of CHANGES
    cavities  concerned: of a link that is gone or new, the parts that no longer (or now) hold together
    sides     those cavities by piece, for "gone" and "new"
    touched   "circuit edited", "connector opened" or "not handled": what the job had to do with it
    before, after  ohms, None where there is no number; `u_ohms` (k = 1) of their difference
    """

    kind: str
    cavities: tuple[str, ...]
    touched: str
    sides: tuple[tuple[str, ...], ...] = ()
    before: float | None = None
    after: float | None = None
    u_ohms: float | None = None


def compare(
    before: Measured, after: Measured, edited: Collection[str] = (), opened: Collection[str] = ()
) -> tuple[Change, ...]:
    """What changed, handled circuits last. `edited`: cavities that steps touched; `opened`: connectors opened.

    Pairs that either scan could not tell (doubtful, not seen) and cavities on leads in one scan only are listed as
    "not comparable", never as changed.
    """
    common = [name for name in before.netlist.cavities if name in after.netlist]
    one, other = before.restricted(common), after.restricted(common)
    unsure = _unsure(one) | _unsure(other)
    found = [*_links(one.netlist, other.netlist, unsure), *_ohms(one, other), *_parts(before, after, set(common))]
    aside = in_order((set(before.netlist.cavities) ^ set(after.netlist.cavities)) | unsure)
    if aside:
        found.append(Change("not comparable", tuple(aside), ""))
    marked = [_marked(change, one.netlist, set(edited), set(opened)) for change in found]
    order = {ASIDE: 0, OPENED: 1, EDITED: 2}
    return tuple(
        sorted(marked, key=lambda c: (order[c.touched], CHANGES.index(c.kind), [cavity_key(n) for n in c.cavities]))
    )


def _unsure(measured: Measured) -> set[str]:
    """Cavities of circuits in doubt, or with a circuit that they were never seen together with."""
    pairs = measured.doubtful | measured.not_seen
    return {name for both in pairs for end in both for name in measured.netlist.circuit_of(end)}


def _links(before: Netlist, after: Netlist, unsure: set[str]) -> Iterable[Change]:
    for earlier, later in overlaps(before, after):
        for kind, wholes, pieces in (("gone", earlier, later), ("new", later, earlier)):
            for whole in wholes:
                sides = [tuple(name for name in piece if name in whole) for piece in pieces]
                sides = sorted((side for side in sides if side), key=lambda side: (len(side), cavity_key(side[0])))
                if len(sides) > 1 and unsure.isdisjoint(whole):
                    yield Change(kind, tuple(name for side in sides for name in side), "", tuple(sides))


def _ohms(before: Measured, after: Measured) -> Iterable[Change]:
    for key in before.ohms.keys() & after.ohms.keys():
        first, second = before.ohms[key], after.ohms[key]
        u = math.hypot(first.u_ohms, second.u_ohms)
        if abs(second.ohms - first.ohms) > COVERAGE * u and all(name in before.netlist for name in key):
            yield Change("resistance", key, "", (), first.ohms, second.ohms, u)


def _parts(before: Measured, after: Measured, common: set[str]) -> Iterable[Change]:
    earlier, later = _by_circuits(before, common), _by_circuits(after, common)
    for key in earlier.keys() | later.keys():
        first, second = earlier.get(key), later.get(key)
        shown = second or first
        if shown is None:
            continue
        kind = "part new" if first is None else "part gone" if second is None else "part changed"
        if first and second and _same(first, second):
            continue
        yield Change(kind, (shown.a, shown.b), "", (), _least(first), _least(second))


def _by_circuits(measured: Measured, common: set[str]) -> dict[Pair, PartReading]:
    """Parts by the first common cavities of their two circuits, and read from the first of these to the second."""
    found: dict[Pair, PartReading] = {}
    for part in measured.parts:
        a, b = (next((n for n in measured.netlist.circuit_of(end) if n in common), "") for end in (part.a, part.b))
        if a and b:
            here, there = part.a if part.a in common else a, part.b if part.b in common else b
            straight = PartReading(here, there, part.ohms_ab, part.ohms_ba)
            turned = PartReading(there, here, part.ohms_ba, part.ohms_ab)
            found[pair(a, b)] = straight if pair(a, b) == (a, b) else turned
    return found


def _same(first: PartReading, second: PartReading) -> bool:
    return all(
        near(earlier, later, PART_TOLERANCE)
        for earlier, later in ((first.ohms_ab, second.ohms_ab), (first.ohms_ba, second.ohms_ba))
    )


def _least(part: PartReading | None) -> float | None:
    values = [value for value in (part.ohms_ab, part.ohms_ba) if value is not None] if part else []
    return min(values, default=None)


def _marked(change: Change, before: Netlist, edited: set[str], opened: set[str]) -> Change:
    """The change with what the job had to do with it; a circuit counts as edited when any cavity of it was."""
    whole = {name for cavity in change.cavities if cavity in before for name in before.circuit_of(cavity)}
    whole |= set(change.cavities)
    connectors = {split_cavity(name)[0] for name in change.cavities if cavity_key(name)[1] >= 0}
    touched = EDITED if whole & edited else OPENED if connectors & opened else ASIDE
    return Change(change.kind, change.cavities, touched, change.sides, change.before, change.after, change.u_ohms)
