"""Cautions that must be acknowledged by name before a real board drives. The rule on hazards is in `plan.hazards`."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass

from tester.errors import InputError
from tester.harness.leads import LeadMap
from tester.plan.hazards import NOT_DECLARED, check_hazards
from tester.plan.models import Plan
from tester.words import CAUTIONS


@dataclass(frozen=True)
class Caution:
    """Something to be acknowledged by name before the board drives."""

    id: str
    says: str
    acknowledged: bool


def cautions(plan: Plan, maps: Iterable[LeadMap], acknowledged: Collection[str]) -> list[Caution]:
    """The usual cautions, then those of this plan on these leads. Raises InputError for a lead on a declared cavity."""
    special = [c for c in check_hazards(plan, maps, real_board=False) if c.id != NOT_DECLARED]
    wanted = [*CAUTIONS.items(), *((c.id, c.says) for c in special)]
    return [Caution(id, says, id in acknowledged) for id, says in wanted]


def reasons_not_to_drive(plan: Plan, maps: Iterable[LeadMap], listed: Iterable[Caution]) -> list[str]:
    """Why a real board must not drive yet, in sentences; empty when it may."""
    reasons = [f"Caution not acknowledged: {c.id}." for c in listed if not c.acknowledged]
    try:
        check_hazards(plan, maps, real_board=True)
    except InputError as error:
        reasons.append(f"{error.message}. {error.hint}")
    return reasons


def open_cautions() -> str:
    """The usual cautions, a line each, for work without a plan."""
    return "\n".join(f"  {id}: {says}" for id, says in CAUTIONS.items())
