"""Restraint and high-voltage circuits: the one rule, in one place.

A plan declares its restraint and high-voltage cavities, or "none" with where that was checked. Undeclared: no use of a
real board. A declared cavity may be in no lead map and no step; the other cavities of its connector may, after a
caution that the person acknowledges by name.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from tester.errors import InputError
from tester.harness.cavity import in_order, split_cavity
from tester.harness.leads import LeadMap
from tester.plan.models import Plan

NOT_DECLARED = "hazards: not declared"


@dataclass(frozen=True)
class Caution:
    """Something that the person acknowledges before the board drives. `id` is stored with the initials."""

    id: str
    says: str


def check_hazards(plan: Plan, leads: Iterable[LeadMap], real_board: bool) -> list[Caution]:
    """Cautions to acknowledge for this plan on these leads. `plan` is the one for its side (`for_side`).

    Raises InputError when a declared cavity is on a lead, or nothing is declared and the board is a real one.
    """
    declared = plan.hazards.cavities
    for one in leads:
        for name in in_order(set(one.channels.values()) & set(declared)):
            raise InputError(
                f"lead map {one.id}: channel {one.channel_of(name)} goes to {name}, "
                f"which plan {plan.id} declares as {declared[name]}",
                "Take that lead out of the lead set and out of its file; such circuits are for qualified people.",
            )
    cautions = []
    if plan.hazards.undeclared:
        words = undeclared_words(plan)
        if real_board:
            raise InputError(f"{words}; a real board does not drive it", _HOW)
        cautions.append(Caution(NOT_DECLARED, f"{words}. Accepted on the virtual board only."))
    for connector in sorted({split_cavity(name)[0] for name in declared}):
        names = in_order(name for name in declared if split_cavity(name)[0] == connector)
        kinds = " and ".join(sorted({declared[name] for name in names}))
        cautions.append(
            Caution(
                f"connector {connector}",
                f"Connector {connector} holds {kinds} cavities ({', '.join(names)}): no lead, no probe and no tool on "
                "them. Their modules must be unplugged, the battery disconnected, the maker's waiting time kept.",
            )
        )
    return cautions


_HOW = (
    "Look the connectors up in the service manual, then write in [hazards]: restraint and high_voltage, "
    'each a list of cavities or "none", and checked = where you looked.'
)


def undeclared_words(plan: Plan) -> str:
    """What is missing in [hazards], in words."""
    what = plan.hazards.undeclared
    if what == ("checked",):
        return f'plan {plan.id}: [hazards] says "none" but not where that was checked'
    names = " and ".join(key.replace("_", "-") for key in what)
    return f"plan {plan.id}: {names} cavities are not declared in [hazards]"


def check_leads(plan: Plan, leads: Iterable[LeadMap]) -> None:
    """Raises InputError when a condition asks about a cavity without lead that no map lists as unreachable."""
    maps = list(leads)
    known = {name for one in maps for name in one.channels.values()} | {n for one in maps for n in one.unreachable}
    for step in plan.step:
        for leaf in step.when.leaves() if step.when is not None else ():
            for name in leaf.cavities():
                if name not in known:
                    raise InputError(
                        f'step "{step.id}" of plan {plan.id} asks whether {leaf.words}, but no lead goes to {name}',
                        f"Add a lead to {name} in the lead map, or list it there under unreachable: "
                        "then it is asked by eye.",
                    )
    unknown = {name for one in maps for name in one.channels.values()} - set(plan.cavities)
    if unknown:
        name = in_order(unknown)[0]
        holder = next(one for one in maps if name in one.channels.values())
        raise InputError(
            f"lead map {holder.id}: channel {holder.channel_of(name)} goes to {name}, "
            f"which no connector of plan {plan.id} has",
            f"The plan's connectors: {', '.join(one.id for one in plan.connector)}.",
        )
