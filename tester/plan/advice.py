"""Electrical advice on new circuits with a stated load: voltage drop, shared splices, fuse against wire.

Advice, never a verdict: the service manual and local rules come first. Each item names its formula and source.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from tester.harness.copper import AMPERES, ENGINE_SPACE, MM2_PER_CMIL, TABLES, awg_mm2, wire_ohms
from tester.plan.models import Plan, Wire
from tester.plan.steps import Splice

K_COPPER = 10.75  # ohm circular-mil / ft, ABYC E-11
FEET_PER_M = 1 / 0.3048
JOINT_OHMS = 0.005  # one crimp or splice; common practice, no source
# Circular mils of SAE-sized stranded cable: size 12 has 5,833. Other sizes: AWG less 12 percent (5 to 12 percent less).
SAE_CMIL = {12: 5833.0}
SAE_LESS = 0.88
GAUGES = (22, 20, 18, 16, 14, 12, 10, 8, 6)
DEFER = "Advice only. The service manual and local rules come first."


@dataclass(frozen=True)
class Advice:
    """One piece of advice on a kit wire or splice.

    kind     "drop", "size", "splice", "fuse", "missing"
    fine     True: within the rule; False: look at it; None: cannot be worked out
    values   the numbers behind it (ohm, volt, ampere), by name
    """

    kind: str
    about: str
    fine: bool | None
    says: str
    formula: str = ""
    source: str = ""
    values: tuple[tuple[str, float], ...] = ()

    @property
    def numbers(self) -> dict[str, float]:
        return dict(self.values)


def circular_mils(amperes: float, feet: float, drop_v: float) -> float:
    """Wire size for a drop, ABYC E-11: CM = K I L / E, K = 10.75, L = feet out and back, E = allowed drop in volt."""
    return K_COPPER * amperes * feet / drop_v


def awg_cmil(gauge: int, sae: bool = False) -> float:
    """Circular mils of a gauge: solid AWG by its formula, or SAE-sized stranded cable, which has less copper."""
    solid = awg_mm2(gauge) / MM2_PER_CMIL
    return SAE_CMIL.get(gauge, solid * SAE_LESS) if sae else solid


def smallest_gauge(cmil: float, sae: bool = False) -> int | None:
    """The thinnest of the usual gauges with at least so many circular mils; None when even 6 is too thin."""
    return next((gauge for gauge in GAUGES if awg_cmil(gauge, sae) >= cmil), None)


def smallest_mm2(amperes: float, length_m: float, celsius: float, drop_v: float, table: str) -> float | None:
    """The thinnest size of a conductor table whose drop over `length_m` of wire stays within `drop_v`."""
    for size in sorted(TABLES[table]):
        if amperes * wire_ohms(size, length_m, celsius, table)[0] <= drop_v:
            return size
    return None


def ampacity(mm2: float, insulation_c: int, engine_space: bool = False) -> tuple[float, str] | None:
    """Allowable amperes by 33 CFR 183.425 table 5, and the row used. None below 18 AWG: the table has no such row.

    The row is the next thinner gauge, the column the next lower insulation rating; nothing is rounded up.
    """
    gauge = next((g for g in sorted(AMPERES) if awg_mm2(g) <= mm2 * 1.0001), None)
    rating = max((c for c in AMPERES[18] if c <= insulation_c), default=None)
    if gauge is None or rating is None:
        return None
    allowed = AMPERES[gauge][rating] * (ENGINE_SPACE if engine_space else 1)
    place = ", engine space x 0.85" if engine_space else ""
    return allowed, f"33 CFR 183.425 table 5, {gauge} AWG at {rating} degrees C{place} (US boats)"


def advise(plan: Plan) -> list[Advice]:
    """Advice on every kit wire with a stated load, and on every splice that carries several."""
    found: list[Advice] = []
    for name, ends in _splices(plan).items():
        found += _splice(name, ends)
    for wire in plan.wire:
        if wire.amperes is not None:
            found += [*_drop(plan, wire), *_fuse(plan, wire)]
    return found


def _splices(plan: Plan) -> dict[str, list[Wire]]:
    names = dict.fromkeys(step.splice for step in plan.step if isinstance(step, Splice))
    return {name: [w for w in plan.wire if name in (w.a.splice, w.b.splice)] for name in names}


def trunk_of(wires: Iterable[Wire]) -> Wire | None:
    """The wire of a splice that carries what the others bring: to a ring, else the one with the largest load."""
    known = list(wires)
    rings = [wire for wire in known if wire.a.ring is not None or wire.b.ring is not None]
    if len(rings) == 1:
        return rings[0]
    loaded = sorted((wire for wire in known if wire.amperes is not None), key=lambda wire: wire.amperes or 0)
    return loaded[-1] if len(loaded) > 1 else None


def _splice(name: str, wires: list[Wire]) -> Iterator[Advice]:
    """Shared splices add up: the trunk carries at least the sum of the others."""
    trunk = trunk_of(wires)
    if trunk is None:
        return
    total = sum(wire.amperes or 0 for wire in wires if wire is not trunk)
    fine = trunk.amperes is not None and trunk.amperes >= total
    said = f"{trunk.amperes:g} A stated" if trunk.amperes is not None else "no load stated"
    yield Advice(
        "splice",
        name,
        fine,
        f"splice {name}: wire {trunk.id} carries the others together, {total:g} A; {said}",
        "I of the trunk = sum of I of the branches",
        "Kirchhoff's current law",
        (("amperes", total),),
    )


def branch_amperes(plan: Plan, wire: Wire) -> float:
    """Current of a wire: its load, or for the trunk of a splice the sum of the branches if that is more."""
    own = wire.amperes or 0.0
    for wires in _splices(plan).values():
        if wire in wires and trunk_of(wires) is wire:
            own = max(own, sum(other.amperes or 0 for other in wires if other is not wire))
    return own


def _way(plan: Plan, wire: Wire) -> list[Wire]:
    """The wire and, if it ends in a splice that it does not feed alone, the splice's trunk."""
    for wires in _splices(plan).values():
        trunk = trunk_of(wires)
        if wire in wires and trunk is not None and trunk is not wire:
            return [wire, trunk]
    return [wire]


def _drop(plan: Plan, wire: Wire) -> Iterator[Advice]:
    rule, table = plan.advice, plan.limits.table or "IEC 60228 class 5"
    way = _way(plan, wire)
    lacking = [one.id for one in way if one.mm2 is None or one.length_m is None]
    if lacking:
        what = "size_mm2 or awg, and length_mm"
        yield Advice(
            "missing", wire.id, None, f"wire {wire.id}: no voltage drop without {what} of {', '.join(lacking)}"
        )
        return
    allowed = rule.volts * rule.drop_percent / 100
    shared = len(way) > 1
    back = 2 if rule.return_path and not shared else 1
    drop, sources = 0.0, []
    for one in way:
        ohms, source = wire_ohms(one.mm2 or 0, (one.length_m or 0) * back, rule.celsius, table)
        drop += ohms * branch_amperes(plan, one)
        sources.append(source)
    joint = plan.limits.joint_ohms if plan.limits.joint_ohms is not None else JOINT_OHMS
    drop += branch_amperes(plan, way[-1]) * joint * (1 if shared else 0)
    fine = drop <= allowed
    over = " over its splice and trunk" if shared else (" out and back" if back == 2 else "")
    says = (
        f"wire {wire.id}: {drop:.3f} V of {rule.volts:g} V lost{over} at {branch_amperes(plan, wire):g} A; "
        f"the plan allows {allowed:.3f} V ({rule.drop_percent:g} %)"
    )
    yield Advice(
        "drop",
        wire.id,
        fine,
        says,
        "U = sum of I R, R = R20 (1 + 0.00393 (T - 20))" + (f", {joint:g} ohm a splice" if shared else ""),
        "; ".join(sources),
        (("volts", drop), ("allowed", allowed)),
    )
    yield _size(wire, branch_amperes(plan, wire), back, allowed, rule.celsius, table)


def _size(wire: Wire, amperes: float, back: int, allowed: float, celsius: float, table: str) -> Advice:
    length = (wire.length_m or 0) * back
    size = smallest_mm2(amperes, length, celsius, allowed, table)
    cmil = circular_mils(amperes, length * FEET_PER_M, allowed)
    gauge, sae = smallest_gauge(cmil), smallest_gauge(cmil, sae=True)
    words = [f"{size:g} mm2" if size is not None else f"more than {max(TABLES[table]):g} mm2"]
    words.append(f"{gauge} AWG ({sae} in SAE-sized cable)" if gauge and sae else "thicker than 6 AWG")
    fine = size is not None and (wire.mm2 or 0) >= size
    return Advice(
        "size",
        wire.id,
        fine,
        f"wire {wire.id}: smallest size that would do alone: {words[0]}, or {words[1]}",
        f"I R(size) <= U; CM = K I L / E = {cmil:.1f}, K = 10.75, L in feet",
        f"{table}; ABYC E-11 (marine)",
        (("cmil", cmil), ("mm2", size if size is not None else float("nan"))),
    )


def _fuse(plan: Plan, wire: Wire) -> Iterator[Advice]:
    if wire.fuse_a is None:
        return
    allowed = ampacity(wire.mm2, wire.insulation_c, plan.advice.engine_space) if wire.mm2 is not None else None
    if allowed is None:
        yield Advice(
            "fuse",
            wire.id,
            None,
            f"wire {wire.id}: fuse {wire.fuse_a:g} A not held against the wire: the table has no row under 18 AWG",
            source="33 CFR 183.425 table 5",
        )
        return
    fine = (wire.amperes or 0) <= wire.fuse_a <= allowed[0]
    why = (
        ""
        if fine
        else ("; the fuse is below the load" if (wire.amperes or 0) > wire.fuse_a else "; the fuse is too big")
    )
    yield Advice(
        "fuse",
        wire.id,
        fine,
        f"wire {wire.id}: fuse {wire.fuse_a:g} A, load {wire.amperes:g} A, wire allows {allowed[0]:g} A{why}",
        "load <= fuse <= allowable amperes of the wire",
        allowed[1],
        (("allowed", allowed[0]),),
    )


def advice_text(found: Iterable[Advice], width: int = 80) -> str:
    """The advice as text; what is not fine comes first and is marked."""
    marks = {True: "  ok ", False: "  !! ", None: "  ?? "}
    lines = [DEFER]
    for one in sorted(found, key=lambda one: {False: 0, None: 1, True: 2}[one.fine]):
        lines += textwrap.wrap(one.says, width, initial_indent=marks[one.fine], subsequent_indent="     ")
        basis = "; ".join(part for part in (one.formula, one.source) if part)
        if basis:
            lines += textwrap.wrap(basis, width, initial_indent="       = ", subsequent_indent="         ")
    if len(lines) == 1:
        lines.append("  No kit wire has a stated load (amperes), so there is nothing to work out.")
    return "\n".join(lines) + "\n"
