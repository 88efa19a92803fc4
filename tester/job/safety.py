"""Safety at the bench: hazards that a plan declares, cautions that must be acknowledged before the board drives."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass

from tester.errors import InputError
from tester.harness.cavity import split_cavity
from tester.harness.leads import LeadMap, on_leads
from tester.plan.models import Plan
from tester.words import CAUTIONS, connector_caution, listed


@dataclass(frozen=True)
class Caution:
    """Something to be acknowledged by name before the board drives."""

    id: str
    says: str
    acknowledged: bool


def cautions(plan: Plan, maps: tuple[LeadMap, ...], acknowledged: Collection[str]) -> list[Caution]:
    """The usual cautions, and one for each connector with declared cavities that a lead reaches elsewhere."""
    wanted = dict(CAUTIONS)
    declared = plan.hazards.cavities
    reached = {split_cavity(name)[0] for name in on_leads(maps)}
    for connector in sorted({split_cavity(name)[0] for name in declared} & reached):
        names = [name for name in declared if split_cavity(name)[0] == connector]
        wanted[f"connector {connector}"] = connector_caution(connector, listed(names))
    return [Caution(id, says, id in acknowledged) for id, says in wanted.items()]


def reasons_not_to_drive(plan: Plan, listed_cautions: Iterable[Caution]) -> list[str]:
    """Why a real board must not drive yet, in sentences; empty when it may."""
    reasons = [f"Caution not acknowledged: {c.id}." for c in listed_cautions if not c.acknowledged]
    undeclared = plan.hazards.undeclared
    if undeclared:
        reasons.append(
            f"The plan does not declare its hazards ({listed(undeclared)}): fill in [hazards] with the restraint and "
            "high-voltage cavities, or none, and where that was checked."
        )
    return reasons


def refuse_hazards(plan: Plan, maps: Iterable[LeadMap]) -> None:
    """Refuse a lead on a cavity that the plan declares as restraint or high voltage. Raises InputError."""
    for leads in maps:
        for channel, cavity in leads.channels.items():
            if cavity in plan.hazards.cavities:
                raise InputError(
                    f"lead map {leads.id}: channel {channel} goes to {cavity}, "
                    f"a {plan.hazards.cavities[cavity]} cavity",
                    "No lead may touch it: take it out of the lead map and unplug what it leads to. "
                    "These circuits are for qualified people.",
                )
