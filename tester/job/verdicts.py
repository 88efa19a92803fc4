"""A verdict as JSON values for outside tools and for the record, and back."""

from __future__ import annotations

from typing import Any

from tester.harness.verdict import CavityVerdict, Fault, Verdict
from tester.words import says, verdict_lines


def verdict_object(verdict: Verdict) -> dict[str, Any]:
    """The verdict as JSON values; the shape that outside tools rely on."""
    return {
        "verdict": verdict.verdict,
        "scope": list(verdict.scope),
        "not_in_scope": [{"check": check, "why": why} for check, why in verdict.not_in_scope],
        "cavities": [
            {
                "cavity": c.cavity,
                "verdict": c.verdict,
                "expected": list(c.expected),
                "measured": list(c.measured),
                "why": c.why,
                "contact": c.contact,
            }
            for c in verdict.cavities
        ],
        "faults": [
            {
                "kind": f.kind,
                "cavities": list(f.cavities),
                "explanation": f.explanation,
                "says": says(f) + ".",
                "action": f.action,
                "sits": list(f.sits),
                "belongs": list(f.belongs),
                "steps": list(f.steps),
                "values": dict(f.values),
            }
            for f in verdict.faults
        ],
        "explanations": verdict.explanations,
        "exact": verdict.exact,
        "complete": verdict.complete,
        "at_least": verdict.at_least,
        "outcome": verdict.outcome,
        "untested": [{"why": why, "names": list(names)} for why, names in verdict.untested],
        "unproven": list(verdict.unproven),
        "grade": verdict.grade,
        "reach": dict(verdict.reach),
        "says": verdict_lines(verdict),
    }


def verdict_of(stored: dict[str, Any]) -> Verdict:
    """The verdict that `verdict_object` made. KeyError or TypeError when it is damaged."""
    return Verdict(
        verdict=stored["verdict"],
        scope=tuple(stored["scope"]),
        not_in_scope=tuple((one["check"], one["why"]) for one in stored["not_in_scope"]),
        cavities=tuple(
            CavityVerdict(
                c["cavity"], c["verdict"], tuple(c["expected"]), tuple(c["measured"]), c["why"], c["contact"]
            )
            for c in stored["cavities"]
        ),
        faults=tuple(
            Fault(
                f["kind"], tuple(f["cavities"]), f["explanation"], f["action"], tuple(f["sits"]), tuple(f["belongs"]),
                tuple(f["steps"]), dict(f["values"]),
            )
            for f in stored["faults"]
        ),
        explanations=stored["explanations"],
        exact=stored["exact"],
        outcome=stored["outcome"],
        unproven=tuple(stored["unproven"]),
        untested=tuple((one["why"], tuple(one["names"])) for one in stored["untested"]),
        grade=stored["grade"],
        complete=stored.get("complete", stored["exact"]),
        at_least=stored.get("at_least", 0),
        reach=dict(stored.get("reach", {})),
    )  # fmt: skip
