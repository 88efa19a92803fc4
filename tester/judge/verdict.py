"""The verdict: each cavity and the whole, never PASS for what was not seen. FAIL over NOT TESTED over PASS."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace

from tester.harness.cavity import in_order
from tester.harness.expected import CHECKS, Expected, Outcome
from tester.harness.netlist import Joiner, Netlist
from tester.harness.reading import Measured
from tester.harness.verdict import FAIL, NOT_TESTED, PASS, CavityVerdict, Fault, Verdict
from tester.judge.diagnosis import diagnose
from tester.judge.explain import distance
from tester.judge.facts import JudgeFacts
from tester.judge.faults import faults_of, likeliest, steps_of
from tester.judge.limits import judge_links
from tester.judge.parts import judge_parts


@dataclass
class _Look:
    """One outcome beside the measurement.

    wanted, got  both over the cavities that are known and on leads; `got` gives unknown pairs the benefit of doubt
    why          cavity -> first reason why it is not tested
    faults       of parts, resistance and watch; netlist faults come from the diagnosis
    """

    outcome: Outcome
    wanted: Netlist
    got: Netlist
    why: dict[str, str] = field(default_factory=dict)
    faults: list[Fault] = field(default_factory=list)

    def not_tested(self, cavities: Iterable[str], reason: str) -> None:
        for name in cavities:
            self.why.setdefault(name, reason)

    @property
    def wrong(self) -> set[str]:
        right = set(self.wanted.circuits) & set(self.got.circuits)
        return {name for circuit in self.wanted if circuit not in right for name in circuit}


def judge(expected: Expected, measured: Measured, facts: JudgeFacts | None = None) -> Verdict:
    """The verdict on a reading, by the outcome of the expectation that fits it best.

    PASS needs every cavity that is known and on a lead, and every required one, to be right; each check in
    `expected.checks` done and within its limits; all steps ticked; the scan made after the last of them.
    """
    facts = facts or JudgeFacts()
    looks = [_look(outcome, expected, measured, facts) for outcome in expected.outcomes]
    if not looks:
        raise ValueError("an expectation needs at least one outcome")
    best = min(looks, key=_fit)
    explanations, faults, exact, complete, at_least = 0, list(best.faults), True, True, 0
    if best.wrong:
        found = diagnose(best.wanted, best.got, expected)
        explanations, exact, complete = len(found.explanations), found.exact, found.complete
        at_least = found.at_least
        named = [faults_of(one, n, best.wanted, expected) for n, one in enumerate(found.explanations)]
        faults = [fault for group in named for fault in group] + faults
    elif any(fault.kind != "doubtful" for fault in faults):
        explanations = 1
    scope, not_in_scope = _scope(expected, measured, facts, best)
    cavities = tuple(_cavity(name, best, expected, measured, faults) for name in _listed(best, expected, measured))
    untested = _untested(expected, facts, best, cavities, dict(not_in_scope))
    overall = _overall(cavities, faults, untested)
    unproven = tuple(c.cavity for c in cavities if c.contact == "unproven")
    return Verdict(
        overall, scope, not_in_scope, cavities, tuple(faults), explanations, exact, best.outcome.note, unproven,
        untested=untested, grade=measured.grade, complete=complete, at_least=at_least,
    )  # fmt: skip


def _fit(look: _Look) -> tuple[bool, int, int, int]:
    hard = [fault for fault in look.faults if fault.kind != "doubtful"]
    far = distance(look.wanted, look.got) if look.wrong else 0
    return bool(look.wrong or hard), far + len(hard), len(look.wrong), len(look.why)


def _look(outcome: Outcome, expected: Expected, measured: Measured, facts: JudgeFacts) -> _Look:
    on_leads = measured.netlist
    known = [name for name in outcome.netlist.cavities if name in on_leads]
    wanted = outcome.netlist.restricted(known)
    wanted = _as_seen_by_scan(wanted, expected, measured)
    look = _Look(outcome, wanted, _benefit(wanted, measured.restricted(known)))
    _reasons(look, expected, measured, facts)
    blocked = look.wrong | {name for name, why in look.why.items() if why.startswith("readings")}
    found = judge_parts(expected, wanted, measured.restricted(known), blocked)
    look.faults += found.faults
    for name, why in found.untested:
        look.not_tested([name], why)
    limits = judge_links(expected, wanted, measured, blocked)
    look.faults += limits.faults
    for name, why in limits.untested:
        look.not_tested([name], why)
    if facts.watch is not None and not facts.watch_stale:
        for drop in facts.watch.dropouts:
            cavities = likeliest((name for name in drop.cavities if name in wanted), expected)
            values = {"ms": drop.lasted_ms, "at_ms": drop.at_ms}
            look.faults.append(
                Fault("dropout", cavities, 0, f"{drop.kind} for a moment", (), (), steps_of(cavities, expected), values)
            )
    return look


def _as_seen_by_scan(wanted: Netlist, expected: Expected, measured: Measured) -> Netlist:
    """Without a converter a part of tens of kilohm may read as wire: circuits that it joins count as one."""
    if measured.grade == "wire":
        return wanted
    joiner = Joiner(wanted.cavities)
    for circuit in wanted:
        for name in circuit[1:]:
            joiner.join(circuit[0], name)
    for part in expected.parts:
        both = part.ohms_ab is not None and part.ohms_ba is not None
        if both and part.a in wanted and part.b in wanted and measured.netlist.joined(part.a, part.b):
            joiner.join(part.a, part.b)
    return Netlist.of(joiner.circuits())


def _benefit(wanted: Netlist, measured: Measured) -> Netlist:
    """Measured circuits, with pieces of one expected circuit joined where their pair is doubtful or was not seen."""
    unknown = {
        (measured.netlist.circuit_of(a), measured.netlist.circuit_of(b))
        for a, b in measured.doubtful | measured.not_seen
    }
    if not unknown:
        return measured.netlist
    unknown |= {(b, a) for a, b in unknown}
    joiner = Joiner(measured.netlist.cavities)
    for circuit in measured.netlist:
        for name in circuit[1:]:
            joiner.join(circuit[0], name)
    for circuit in wanted:
        pieces = list(dict.fromkeys(measured.netlist.circuit_of(name) for name in circuit))
        for n, one in enumerate(pieces):
            for other in pieces[n + 1 :]:
                if (one, other) in unknown:
                    joiner.join(one[0], other[0])
    return Netlist.of(joiner.circuits())


def _reasons(look: _Look, expected: Expected, measured: Measured, facts: JudgeFacts) -> None:
    """Cavities of this outcome that are not tested, with the reason, strongest reason first."""
    netlist = measured.netlist
    for a, b in sorted(measured.doubtful):
        both = {*netlist.circuit_of(a), *netlist.circuit_of(b)}
        look.not_tested([name for name in both if name in look.wanted], f"readings of {a} and {b} disagree")
        cavities = likeliest([name for name in (a, b) if name in look.wanted], expected)
        if cavities:
            look.faults.append(Fault("doubtful", cavities, 0, "", (a,), (b,), steps_of(cavities, expected)))
    for a, b in sorted(measured.not_seen):
        if a in look.wanted and b in look.wanted:
            look.not_tested(netlist.circuit_of(a), f"never on leads together with {b}")
            look.not_tested(netlist.circuit_of(b), f"never on leads together with {a}")
    for circuit in netlist:
        strangers = [name for name in circuit if name not in look.wanted]
        if strangers and len(circuit) > len(strangers):
            look.not_tested(
                [name for name in circuit if name in look.wanted],
                f"joined to {strangers[0]}, of which the plan says nothing",
            )
    for name in look.wanted.cavities:
        absent = [p for p in look.outcome.netlist.partners(name) if p not in netlist and p in expected.required]
        if absent:
            look.not_tested([name], f"its partner {in_order(absent)[0]} is not on a lead")
        if expected.prove_leads and name in expected.required and name not in measured.proven:
            look.not_tested([name], "its lead is not proven")


def _listed(look: _Look, expected: Expected, measured: Measured) -> list[str]:
    return in_order(set(look.outcome.netlist.cavities) | set(measured.netlist.cavities) | expected.required)


def _cavity(name: str, look: _Look, expected: Expected, measured: Measured, faults: list[Fault]) -> CavityVerdict:
    partners = look.outcome.netlist.partners(name) if name in look.outcome.netlist else ()
    if name not in measured.netlist:
        return CavityVerdict(name, NOT_TESTED, partners, (), "not on a lead", "none")
    seen = measured.netlist.partners(name)
    contact = "proven" if name in measured.proven or seen else "unproven"
    if name not in look.wanted:
        return CavityVerdict(name, NOT_TESTED, (), seen, "the plan says nothing about it", contact)
    hard = {cavity for fault in look.faults if fault.kind != "doubtful" for cavity in fault.cavities}
    if name in look.wrong or name in hard:
        return CavityVerdict(name, FAIL, partners, seen, "", contact)
    if name in look.why:
        return CavityVerdict(name, NOT_TESTED, partners, seen, look.why[name], contact)
    return CavityVerdict(name, PASS, partners, seen, "", contact)


def _scope(
    expected: Expected, measured: Measured, facts: JudgeFacts, look: _Look
) -> tuple[tuple[str, ...], tuple[tuple[str, str], ...]]:
    """Checks done, and the others each with the reason."""
    done: list[str] = []
    missing: list[tuple[str, str]] = []
    for check in CHECKS:
        reason = _missing(check, expected, measured, facts, look)
        if reason:
            missing.append((check, reason))
        else:
            done.append(check)
    return tuple(done), tuple(missing)


def _missing(check: str, expected: Expected, measured: Measured, facts: JudgeFacts, look: _Look) -> str:
    """Why a check is not in the scope, "" when it was done."""
    asked = check in expected.checks
    if check not in facts.can:
        return "this board cannot do it" if asked else "not asked for"
    if check == "direction" and not (asked or expected.diodes or measured.directed):
        return "no diode expected"
    if check == "resistance":
        wanted = [link for link in expected.links if link.a in look.wanted and link.b in look.wanted]
        if not measured.ohms:
            return "not measured" if asked else "not asked for"
        if not wanted:
            return "the plan gives no wire to measure"
    if check == "dropout":
        if facts.watch is None:
            return "not done" if asked else "not asked for"
        if facts.watch_stale:
            return "done before the last step"
        if not facts.watch.complete:
            return "broken off"
    return ""


def _untested(
    expected: Expected, facts: JudgeFacts, look: _Look, cavities: tuple[CavityVerdict, ...], missing: dict[str, str]
) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """What stands between this result and PASS, as (reason, names)."""
    found: list[tuple[str, tuple[str, ...]]] = []
    no_lead = [c.cavity for c in cavities if c.contact == "none" and c.cavity in expected.required]
    if no_lead:
        found.append(("not on a lead", tuple(no_lead)))
    reasons: dict[str, list[str]] = {}
    for one in cavities:
        if one.verdict == NOT_TESTED and one.contact != "none" and one.cavity in look.wanted:
            reasons.setdefault(one.why, []).append(one.cavity)
    found += [(why, tuple(names)) for why, names in reasons.items()]
    for check in expected.checks:
        if check in missing and missing[check] not in ("no diode expected", "the plan gives no wire to measure"):
            found.append((f"check not done: {missing[check]}", (check,)))
    if facts.steps_open:
        found.append(("steps not ticked", tuple(facts.steps_open)))
    if facts.stale:
        found.append(("the scan is older than the last step", ()))
    if not look.wanted.cavities:
        found.append(("no cavity of the plan is on a lead", ()))
    return tuple(found)


def _overall(cavities: Iterable[CavityVerdict], faults: Iterable[Fault], untested: tuple[object, ...]) -> str:
    if any(c.verdict == FAIL for c in cavities) or any(fault.kind != "doubtful" for fault in faults):
        return FAIL
    return NOT_TESTED if untested else PASS


def restate(verdict: Verdict, faults: Iterable[Fault]) -> Verdict:
    """The same verdict with other faults: for views that show one explanation only."""
    return replace(verdict, faults=tuple(faults))
