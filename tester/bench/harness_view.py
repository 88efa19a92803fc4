"""Faces and cavity list of one job, filled from a reading, an expectation or a verdict."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING

from tester.bench.cavities import CavityLine
from tester.bench.face import FacePlan
from tester.bench.marks import Mark
from tester.harness.cavity import in_order

if TYPE_CHECKING:
    from tester.harness.leads import LeadMap
    from tester.harness.reading import Measured
    from tester.plan.models import Connector, Plan

VERDICT_MARKS = {"PASS": Mark.RIGHT, "FAIL": Mark.WRONG, "NOT TESTED": Mark.NOT_TESTED}


def face_plan(connector: Connector) -> FacePlan:
    """What is drawn of a connector."""
    notes = []
    if connector.lock:
        notes.append(f"lock: {connector.lock}")
    if connector.sealed:
        notes.append("sealed: a seal on each wire, a plug in each empty cavity")
    return FacePlan(
        connector.id,
        connector.face,
        connector.title,
        frozenset(connector.moulded),
        tuple(notes),
    )


def face_plans(plan: Plan, only: Iterable[str] = ()) -> list[FacePlan]:
    """Faces of all housings of the plan, or of these connectors only."""
    wanted = set(only)
    return [face_plan(one) for one in plan.connector if (one.id in wanted if wanted else one.kind == "housing")]


def channels_of(maps: Iterable[LeadMap]) -> dict[str, str]:
    """Cavity -> its channel as text; with several rounds the round stands before it, such as ``2:17``."""
    rounds = list(maps)
    found: dict[str, str] = {}
    for number, leads in enumerate(rounds, 1):
        for channel, name in leads.channels.items():
            found.setdefault(name, f"{number}:{channel}" if len(rounds) > 1 else str(channel))
    return found


def cavity_lines(plan: Plan, maps: Iterable[LeadMap]) -> list[CavityLine]:
    """A line for each cavity of the plan or on a lead."""
    channels = channels_of(maps)
    names = in_order({*plan.cavities, *channels})
    return [
        CavityLine(name, channels.get(name, ""), Mark.UNKNOWN if name in channels else Mark.NO_LEAD) for name in names
    ]


def reading_marks(measured: Measured) -> dict[str, Mark]:
    """Lone, in a circuit, or doubtful, for each cavity of a reading."""
    doubtful = {name for pair in measured.doubtful for name in pair}
    return {
        name: Mark.DOUBT if name in doubtful else Mark.JOINED if len(circuit) > 1 else Mark.LONE
        for circuit in measured.netlist
        for name in circuit
    }


def reading_fields(measured: Measured) -> dict[str, dict[str, object]]:
    """For the cavity list: mark and partners of each cavity of a reading."""
    marks = reading_marks(measured)
    return {name: {"mark": mark, "joined": measured.netlist.partners(name)} for name, mark in marks.items()}


def verdict_marks(verdict: Mapping[str, object]) -> dict[str, Mark]:
    """Right, wrong or not tested, for each cavity of a stored verdict."""
    cavities = verdict["cavities"]
    assert isinstance(cavities, list)
    return {one["cavity"]: VERDICT_MARKS[one["verdict"]] for one in cavities}


def verdict_fields(verdict: Mapping[str, object]) -> dict[str, dict[str, object]]:
    """For the cavity list: mark, measured partners, and what was expected where that differs."""
    cavities = verdict["cavities"]
    assert isinstance(cavities, list)
    fields: dict[str, dict[str, object]] = {}
    for one in cavities:
        note = ""
        if one["verdict"] == "FAIL" and one["expected"] != one["measured"]:
            note = "should be with " + ", ".join(one["expected"]) if one["expected"] else "should be joined to nothing"
        elif one["why"]:
            note = one["why"]
        fields[one["cavity"]] = {
            "mark": VERDICT_MARKS[one["verdict"]],
            "joined": tuple(one["measured"]) if one["contact"] != "none" else None,
            "note": note,
        }
    return fields
