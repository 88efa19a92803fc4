"""The result of `check_plan` as text for 80 columns."""

from __future__ import annotations

from collections.abc import Iterable

from tester.plan.models import Plan
from tester.plan.variants import PlanReport, Variant
from tester.plan.wrap import wrapped

INDENT = 4
_COLUMNS = "{:>3}  {:<10}{:>6}  {:>8}  {:>9}  {:<}"


def report_text(plan: Plan, report: PlanReport) -> str:
    """Table of variants, each variant in full, then what concerns the whole plan."""
    lines = [_COLUMNS.format("No", "side", "steps", "circuits", "left over", "result")]
    for one in report.variants:
        result = "fits" if not one.findings else f"CONTRADICTS ITSELF ({len(one.findings)})"
        lines.append(
            _COLUMNS.format(
                one.number, one.side or "-", len(one.steps), len(one.circuits), len(one.left_over) or "-", result
            )
        )
    for one in report.variants:
        lines += ["", *_variant(one)]
    lines += ["", *_whole(plan, report)]
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _variant(one: Variant) -> Iterable[str]:
    side = f" ({one.side})" if one.side else ""
    yield from wrapped(f"Variant {one.number}{side}: ", "; ".join(one.holds) or "always", INDENT)
    if one.combinations > 1:
        yield f"  {one.combinations} combinations come out like this"
    yield from wrapped("  steps: ", ", ".join(one.steps) or "none", INDENT)
    many = f" (or one of {one.outcomes} ways to come out)" if one.outcomes > 1 else ""
    yield from wrapped("  new circuits: ", (" | ".join(" ".join(c) for c in one.circuits) or "none") + many, INDENT)
    if one.left_over:
        yield from wrapped("  kit wires left over: ", ", ".join(one.left_over), INDENT)
    for finding in one.findings:
        yield from wrapped("  ! ", f"step {finding.step}: {finding.says}", INDENT)


def _whole(plan: Plan, report: PlanReport) -> Iterable[str]:
    yield f"{report.possible} combinations of answers tried; {len(report.variants)} variants."
    if report.not_tried:
        yield from wrapped("! ", report.not_tried, INDENT)
    for finding in report.findings:
        yield from wrapped("! ", f"step {finding.step}: {finding.says}", INDENT)
    whens = {step.id: step.when.words for step in plan.step if step.when is not None}
    for id in report.dead:
        yield from wrapped("Mind: ", f'step {id} is never done: "{whens[id]}" cannot occur', INDENT)
    for id in report.always:
        yield from wrapped("Mind: ", f'step {id} is always done: "{whens[id]}" always holds', INDENT)
    if report.taken_empty:
        names = ", ".join(report.taken_empty)
        yield from wrapped(
            "Mind: ", f"taken for granted to be empty as found, no condition or fact asks: {names}", INDENT
        )
    for wire in report.never_used:
        yield f"Mind: kit wire {wire} is never used."
    for blind in report.blind:
        yield from wrapped("Mind: ", blind.words, INDENT)
    if plan.hazards.undeclared:
        yield from wrapped("Mind: ", "hazards are not declared: a real board refuses this plan", INDENT)
