"""A plan for one side of the vehicle: the cavities that differ are exchanged throughout."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from tester.errors import InputError
from tester.harness.cavity import parse_cavity
from tester.harness.tables import near
from tester.plan.models import Plan

_KEYS = frozenset(
    {
        "cavity", "from", "to", "taps", "groups", "occupied", "joined", "lone", "between", "ring", "lead",
        "restraint", "high_voltage", "circuits", "directed", "unsteady", "a", "b",
    }
)  # fmt: skip


def as_written(name: str) -> str:
    """Canonical cavity if the text is one, else the text itself (ring and loose lead names)."""
    try:
        return parse_cavity(name)
    except ValueError:
        return name


def pick_side(plan: Plan, side: str | None) -> str:
    """The side in the plan's own spelling, "" for a plan without sides. Raises InputError."""
    given = (side or "").strip()
    if not plan.sides:
        if given:
            raise InputError(f"plan {plan.id} has no sides, so it has no side {given!r}", "Leave the side out.")
        return ""
    known = {name.lower(): name for name in plan.sides}
    if given.lower() in known:
        return known[given.lower()]
    said = f"plan {plan.id} has no side {given!r}{near(given, plan.sides)}" if given else f"plan {plan.id} has sides"
    raise InputError(f"{said}; say which: {', '.join(plan.sides)}")


def for_side(plan: Plan, side: str | None) -> Plan:
    """The plan with each cavity as it is on that side, and no sides left to choose. Raises InputError."""
    chosen = pick_side(plan, side)
    swap = plan.sides[chosen].cavities if chosen else {}
    if not swap:
        return plan
    data = plan.model_dump(by_alias=True, exclude_defaults=True, exclude={"sides"})
    connectors = data.pop("connector")
    changed = _exchanged(data, swap, False)
    changed["connector"] = connectors
    changed["sides"] = {name: {"note": one.note} for name, one in plan.sides.items()}
    return Plan.model_validate(changed | {"format": 1})


def _exchanged(value: Any, swap: Mapping[str, str], here: bool) -> Any:
    if isinstance(value, dict):
        return {key: _exchanged(one, swap, key in _KEYS) for key, one in value.items()}
    if isinstance(value, list | tuple):
        return [_exchanged(one, swap, here) for one in value]
    if here and isinstance(value, str):
        return swap.get(as_written(value), value)
    return value
