"""Lead planning for a plan, and what it prints: the plan of rounds, wiring lists, labels for building the lead set."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping

from tester.harness.cavity import split_cavity
from tester.harness.leads import LeadMap
from tester.harness.netlist import Joiner, Netlist, Pair
from tester.harness.reading import Measured
from tester.plan.expect import expectation
from tester.plan.leadplan import LeadPlan, plan_leads
from tester.plan.models import Plan
from tester.plan.resolve import touched
from tester.plan.sides import for_side, pick_side
from tester.plan.wrap import wrapped


def leads_for_plan(
    plan: Plan,
    channels: int,
    id: str = "",
    as_found: Measured | None = None,
    answers: Mapping[str, bool] | None = None,
    side: str | None = None,
) -> LeadPlan:
    """Lead maps for everything that the plan's checks need.

    Without an as-found scan, and for a plan without its own netlist, every two cavities meet: that serves for the
    as-found scan itself, and names faults as exactly as one round would. With known circuits one cavity of each is
    enough to judge, in fewer rounds. Raises InputError.
    """
    chosen = pick_side(plan, side) if side or as_found is not None else ""
    here = for_side(plan, chosen) if chosen or not plan.sides else plan
    needed = set(here.required)
    if plan.sides and not chosen:
        needed |= {name for one in plan.sides for name in for_side(plan, one).required}
    known, together = None, set()
    if as_found is not None or here.expected is not None:
        expected = expectation(plan, as_found, answers, side)
        known = _common([outcome.netlist for outcome in expected.outcomes])
        if "resistance" in here.checks:
            together = {(link.a, link.b) for link in expected.links}
    return plan_leads(id or f"{plan.id}-leads", needed, channels, known, together, again=_joined_by_fact(here, needed))


def _joined_by_fact(plan: Plan, needed: set[str]) -> Pair | None:
    """Two cavities that the plan knows to be joined in the untouched harness, and that no step touches."""
    handled = {name for step in plan.step for name in touched(plan, step)}
    for fact in plan.fact:
        names = [name for name in fact.that.joined or () if name in needed and name not in handled]
        if len(names) > 1:
            return (names[0], names[1])
    return None


def _common(netlists: list[Netlist]) -> Netlist:
    """What is joined in all of several netlists."""
    first = netlists[0]
    groups: dict[tuple[int, ...], list[str]] = {}
    for name in first.cavities:
        key = tuple(one.circuits.index(one.circuit_of(name)) for one in netlists)
        groups.setdefault(key, []).append(name)
    joiner = Joiner(first.cavities)
    for group in groups.values():
        for name in group[1:]:
            joiner.join(group[0], name)
    return Netlist.of(joiner.circuits())


def lead_plan_text(plan: LeadPlan) -> str:
    """Rounds, moves, the bound, what fewer rounds would leave NOT TESTED; 80 columns."""
    count = len(plan.rounds)
    most = max(len(one.channels) for one in plan.rounds)
    lines = [f"{count} round{'s' if count > 1 else ''}, up to {most} leads each."]
    better = "no lead plan has fewer" if count == plan.bound else "fewer may exist, none was found"
    lines += wrapped("", f"Bound: at least {plan.bound} ({plan.bound_source}); {better}.", 2)
    if plan.again:
        lines.append(f"In every round again, against misplugging: {' and '.join(plan.again)}.")
    for number, one in enumerate(plan.rounds, 1):
        moved = f", {plan.moved[number - 2]} leads moved" if number > 1 else ""
        lines += ["", f"Round {number}: {one.id}{moved}"]
        lines += wrapped("  ", "  ".join(f"{channel}={name}" for channel, name in one.channels.items()))
    if plan.unseen:
        lines += ["", "With fewer rounds this stays NOT TESTED:"]
    for left in plan.unseen:
        never = f"; never on a lead: {', '.join(left.cavities)}" if left.cavities else ""
        lines += wrapped(f"  {left.rounds:>2}: ", f"{left.pairs} pairs of circuits not seen{never}")
    return "\n".join(line.rstrip() for line in lines) + "\n"


def wiring_list(leads: LeadMap) -> str:
    """CSV for building a lead set: channel, cavity, connector, number, label."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["channel", "cavity", "connector", "number", "label"])
    for channel, name in leads.channels.items():
        connector, number = split_cavity(name)
        writer.writerow([channel, name, connector, number, f"{channel} {name}"])
    for group in leads.identity:
        writer.writerow(["+".join(map(str, group)), "", "", "", "joined in the lead set"])
    return out.getvalue()


def lead_labels(leads: LeadMap, columns: int = 5) -> str:
    """Labels to print, cut and wrap round the leads: each twice, for both ends."""
    cells = [f"{channel}>{name}" for channel, name in leads.channels.items() for _ in range(2)]
    width = max(map(len, cells)) + 2
    rows = [cells[n : n + columns] for n in range(0, len(cells), columns)]
    return f"{leads.id}\n" + "\n".join("|".join(cell.center(width) for cell in row) for row in rows) + "\n"
