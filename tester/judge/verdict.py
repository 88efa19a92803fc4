"""The verdict: each cavity and the whole, never PASS for what was not seen. FAIL over NOT TESTED over PASS."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from tester.harness.cavity import in_order
from tester.harness.expected import Expected
from tester.harness.reading import Measured
from tester.harness.verdict import FAIL, NOT_TESTED, PASS, CavityVerdict, Fault, LinkVerdict, Verdict
from tester.judge.diagnosis import Diagnosis, diagnose
from tester.judge.facts import JudgeFacts
from tester.judge.faults import faults_of
from tester.judge.geometry import Geometry
from tester.judge.limits import LinkResult
from tester.judge.look import Look, look_at
from tester.judge.scope import reach, scope_of, untested_of


def judge(expected: Expected, measured: Measured, facts: JudgeFacts | None = None) -> Verdict:
    """The verdict on a reading, by the outcome of the expectation that fits it best.

    PASS needs every cavity that is known and on a lead, and every required one, to be right; each check in
    `expected.checks` done and within its limits; all steps ticked; the scan made after the last of them.
    Raises ValueError for an expectation without outcome.
    """
    facts = facts or JudgeFacts()
    looks = [look_at(outcome, expected, measured, facts) for outcome in expected.outcomes]
    if not looks:
        raise ValueError("an expectation needs at least one outcome")
    best = min(looks, key=lambda look: look.fit) if len(looks) > 1 else looks[0]
    found, named = Diagnosis(()), []
    if best.wrong:
        geometry = Geometry(expected.faces, best.wanted.cavities)
        found = diagnose(best.wanted, best.got, expected, geometry)
        named = [faults_of(one, n, best.wanted, expected, geometry) for n, one in enumerate(found.explanations)]
    faults = (*(_across(fault, measured) for group in named for fault in group), *best.faults)
    scope, not_in_scope = scope_of(expected, measured, facts, best)
    everything = {*best.outcome.netlist.cavities, *measured.netlist.cavities, *expected.required}
    failed = best.wrong | {cavity for fault in best.hard for cavity in fault.cavities}
    cavities = tuple(_cavity(name, best, measured, failed, facts) for name in in_order(everything))
    untested = untested_of(expected, facts, best, cavities, dict(not_in_scope))
    return Verdict(
        verdict=FAIL if best.wrong or best.hard else NOT_TESTED if untested else PASS,
        scope=scope,
        not_in_scope=not_in_scope,
        cavities=cavities,
        faults=faults,
        explanations=len(found.explanations) or int(bool(best.hard)),
        exact=found.exact,
        outcome=best.outcome.note,
        unproven=tuple(c.cavity for c in cavities if c.contact == "unproven"),
        untested=untested,
        grade=measured.grade,
        complete=found.complete,
        at_least=found.at_least,
        links=tuple(_link(result) for result in best.links),
        reach=reach(measured, facts, best),
    )


def _across(fault: Fault, measured: Measured) -> Fault:
    """An opening with the ohms that the converter read across it, if it did; both ways where they differ."""
    home = measured.netlist.circuit_of
    for part in measured.parts if fault.kind == "open" and fault.sits and fault.belongs else ():
        ends = {home(part.a), home(part.b)}
        if ends != {home(fault.sits[0]), home(fault.belongs[0])} or len(ends) < 2:
            continue
        ohms = sorted(value for value in (part.ohms_ab, part.ohms_ba) if value is not None)
        if len(ohms) == 2:
            return replace(fault, values={"ohms": ohms[0], "ohms_back": ohms[1]})
        return replace(fault, values={"ohms": ohms[0], "one_way": 1.0}) if ohms else fault
    return fault


def _cavity(name: str, look: Look, measured: Measured, failed: Iterable[str], facts: JudgeFacts) -> CavityVerdict:
    partners = look.outcome.netlist.partners(name) if name in look.outcome.netlist else ()
    if name not in measured.netlist:
        known = facts.no_lead_why.get(name)
        return CavityVerdict(
            name, NOT_TESTED, partners, (), f"not on a lead: {known}" if known else "not on a lead", "none"
        )
    seen = measured.netlist.partners(name)
    contact = "proven" if name in measured.proven or seen else "unproven"
    if name not in look.wanted:
        return CavityVerdict(name, NOT_TESTED, (), seen, "the plan says nothing about it", contact)
    if name in failed:
        return CavityVerdict(name, FAIL, partners, seen, "", contact)
    if name in look.why:
        return CavityVerdict(name, NOT_TESTED, partners, seen, look.why[name], contact)
    return CavityVerdict(name, PASS, partners, seen, "", contact)


def _link(result: LinkResult) -> LinkVerdict:
    reading = result.reading
    return LinkVerdict(
        result.link.a,
        result.link.b,
        reading.ohms if reading else None,
        reading.u_ohms if reading else None,
        result.limit.ohms,
        result.limit.source,
        result.result,
    )
