"""The scope of a verdict: which checks were done, how far they saw, and what stands between the result and PASS."""

from __future__ import annotations

from collections.abc import Iterable

from tester.harness.expected import CHECKS, Expected
from tester.harness.reading import Measured
from tester.harness.verdict import NOT_TESTED, CavityVerdict
from tester.judge.facts import JudgeFacts
from tester.judge.isolation import SURELY_SEEN, reach_of
from tester.judge.look import Look

WIRE_OHMS = 100.0  # with a converter, up to this many ohm counts as joined: hwspec/limits.toml, joined_measured
NOT_ASKED = "not asked for"


def reach(measured: Measured, facts: JudgeFacts, look: Look) -> dict[str, float]:
    """How far the checks saw, as Verdict.reach."""
    found = {
        "joined_ohms": WIRE_OHMS if measured.grade == "wire" else SURELY_SEEN[0][1],
        "isolation_ohms": reach_of(look.got, facts.isolation, facts.isolation_seen_to, facts.isolation_u),
    }
    leaks = [ohms for name, ohms in facts.isolation.items() if ohms is not None and name in look.got]
    if leaks:
        found["leak_ohms"] = min(leaks)
    if facts.watch is not None and facts.watch.complete and not facts.watch_stale:
        found["dropout_ms"] = facts.watch.missed_ms
        if facts.watch.shorts_missed_ms is not None:
            found["touch_ms"] = facts.watch.shorts_missed_ms
        if facts.watch.touch_blind:
            found["touch_blind"] = float(sum(map(len, facts.watch.touch_blind)))
    return found


def scope_of(
    expected: Expected, measured: Measured, facts: JudgeFacts, look: Look
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


def _missing(check: str, expected: Expected, measured: Measured, facts: JudgeFacts, look: Look) -> str:
    """Why a check is not in the scope, "" when it was done."""
    asked = check in expected.checks
    if check not in facts.can:
        return "this board cannot do it" if asked else NOT_ASKED
    if check == "isolation":
        return _isolation(expected, facts, look) if asked else ""
    if check == "direction":
        return "" if asked or expected.diodes or measured.directed else "no diode expected"
    if check == "resistance":
        if any(result.reading for result in look.links):
            return ""
        return _no_resistance(measured) if asked else NOT_ASKED
    if check == "dropout":
        return _dropout(expected, facts) if asked or facts.watch is not None else NOT_ASKED
    return ""


def _isolation(expected: Expected, facts: JudgeFacts, look: Look) -> str:
    limit = expected.limits.get("isolation_ohms")
    seen = reach_of(look.got, facts.isolation, facts.isolation_seen_to, facts.isolation_u)
    if limit is None or limit <= seen:
        return ""
    return f"seen up to {seen:,.0f} ohm only, the plan asks for {limit:,.0f} ohm"


def _no_resistance(measured: Measured) -> str:
    return "not measured" if not measured.ohms else "the plan names no wire and no as-found reading to judge by"


def _dropout(expected: Expected, facts: JudgeFacts) -> str:
    watch = facts.watch
    if watch is None:
        return "not done"
    if facts.watch_stale:
        return "done before the last step"
    if not watch.complete:
        return "broken off"
    least = expected.limits.get("wiggle_s", 0.0)
    if watch.seconds < least:
        return f"watched for {watch.seconds:g} s, the plan asks for {least:g} s"
    longest = expected.limits.get("dropout_ms")
    if longest is not None and watch.missed_ms > longest:
        return f"up to {watch.missed_ms:g} ms could have been missed, the plan asks for {longest:g} ms"
    return ""


def untested_of(
    expected: Expected, facts: JudgeFacts, look: Look, cavities: Iterable[CavityVerdict], missing: dict[str, str]
) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """What stands between this result and PASS, as (reason, names)."""
    found: list[tuple[str, tuple[str, ...]]] = []
    listed = list(cavities)
    found += facts.held
    held = {name for _, names in facts.held for name in names}
    no_lead = [c.cavity for c in listed if c.contact == "none" and c.cavity in expected.required - held]
    if no_lead:
        found.append(("not on a lead", tuple(no_lead)))
    reasons: dict[str, list[str]] = {}
    for one in listed:
        if one.verdict == NOT_TESTED and one.contact != "none" and one.cavity in look.wanted:
            reasons.setdefault(one.why, []).append(one.cavity)
    found += [(why, tuple(names)) for why, names in reasons.items()]
    found += [(f"check not done: {missing[check]}", (check,)) for check in expected.checks if check in missing]
    if facts.steps_open:
        found.append(("steps not ticked", tuple(facts.steps_open)))
    if facts.stale:
        found.append(("the scan is older than the last step", ()))
    if not look.wanted.circuits:
        found.append(("no cavity of the plan is on a lead", ()))
    return tuple(found)
