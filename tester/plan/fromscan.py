"""A plan from a reference harness: the whole netlist must come out the same."""

from __future__ import annotations

import re
from collections import defaultdict

from tester.errors import InputError
from tester.harness.cavity import cavity_key, split_cavity
from tester.harness.reading import Measured
from tester.harness.tables import checked
from tester.plan.load import write_plan
from tester.plan.models import Connector, Hazards, Part, Plan, Reference

_HEADING = """Plan made from a scan of a reference harness.
Before a real board may use it: fill in [hazards] (lists of cavities, or "none", and where that was checked).

"""


def plan_from_scan(measured: Measured, id: str, note: str = "") -> Plan:
    """A plan that expects exactly this netlist: no steps, no limits, hazards not declared. Raises InputError."""
    if not measured.netlist.cavities:
        raise InputError(f"{id}: the scan holds no cavity, so there is nothing to expect")
    unsteady = set(measured.doubtful) | {(p.a, p.b) for p in measured.parts if not p.stable}
    reference = Reference(
        circuits=tuple(circuit for circuit in measured.netlist if len(circuit) > 1),
        lone=measured.netlist.lone(),
        directed=_representatives(measured),
        unsteady=tuple(sorted(unsteady, key=lambda ab: (cavity_key(ab[0]), cavity_key(ab[1])))),
        part=_parts(measured),
        grade="wire" if measured.grade == "wire" else "scan",
        note=note,
    )
    tables = {
        "format": 1,
        "id": id,
        "revision": "1",
        "checks": ("continuity",),
        "prove_leads": False,
        "hazards": Hazards(restraint="not declared", high_voltage="not declared"),
        "connector": _connectors(measured),
        "expected": reference,
    }
    return checked(Plan, tables, "plan from a scan", {})


def from_scan(measured: Measured, id: str, note: str = "") -> str:
    """File text of `plan_from_scan`."""
    plan = plan_from_scan(measured, id, note)
    text = write_plan(plan, _HEADING)
    declared = '[hazards]\nrestraint = "not declared"\nhigh_voltage = "not declared"\nchecked = ""\n\n'
    return re.sub(r"^(?=\[\[connector\]\])", lambda _: declared, text, count=1, flags=re.MULTILINE)


def _representatives(measured: Measured) -> tuple[tuple[str, str], ...]:
    """One pair for each pair of circuits with a one-way part between."""
    found: dict[tuple[str, str], tuple[str, str]] = {}
    for a, b in sorted(measured.directed, key=lambda ab: (cavity_key(ab[0]), cavity_key(ab[1]))):
        key = (measured.netlist.circuit_of(a)[0], measured.netlist.circuit_of(b)[0])
        found.setdefault(key, (a, b))
    return tuple(found.values())


def _parts(measured: Measured) -> tuple[Part, ...]:
    """One part for each two circuits with a steady one between."""
    found: dict[frozenset[str], Part] = {}
    for p in measured.parts:
        if p.stable:
            key = frozenset(measured.netlist.circuit_of(name)[0] for name in (p.a, p.b))
            found.setdefault(key, Part(a=p.a, b=p.b, ohms_ab=p.ohms_ab, ohms_ba=p.ohms_ba, drop_v=p.drop_v))
    return tuple(found.values())


def _connectors(measured: Measured) -> tuple[Connector, ...]:
    numbers: dict[str, list[int]] = defaultdict(list)
    for name in measured.netlist.cavities:
        connector, number = split_cavity(name)
        numbers[connector].append(number)
    found = []
    for connector, given in numbers.items():
        if sorted(given) == list(range(1, len(given) + 1)):
            found.append(Connector(id=connector, cavities=len(given)))
        else:
            found.append(Connector(id=connector, numbers=tuple(sorted(given))))
    return tuple(found)
