"""Limits: which resistance a link may have, where the limit comes from, and what a reading says against it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from tester.harness.expected import Expected
from tester.harness.netlist import Netlist, pair
from tester.harness.reading import Measured
from tester.harness.verdict import Fault
from tester.judge.faults import likeliest, steps_of

COVERAGE = 2.0  # U = k u with k = 2: JCGM 100:2008 6.2.1, from memory


@dataclass(frozen=True)
class LinkFindings:
    """Faults, and cavities whose resistance could not be judged with the reason."""

    faults: tuple[Fault, ...]
    untested: tuple[tuple[str, str], ...]


def decide(ohms: float, u_ohms: float, limit_ohms: float) -> str:
    """ "pass", "fail" or "too close to call": reading + U within the limit, reading - U beyond it, or neither.

    `u_ohms` is a standard uncertainty; U = 2 u. Rule: JCGM 106 (guard bands), from memory.
    """
    spread = COVERAGE * u_ohms
    if ohms + spread <= limit_ohms:
        return "pass"
    return "fail" if ohms - spread > limit_ohms else "too close to call"


def judge_links(expected: Expected, wanted: Netlist, measured: Measured, blocked: Iterable[str]) -> LinkFindings:
    """Readings of expected links against their limits. Circuits that are wrong or in doubt are left out."""
    skip = set(blocked)
    faults: list[Fault] = []
    untested: list[tuple[str, str]] = []
    for link in expected.links:
        both = (link.a, link.b)
        if link.limit_ohms is None or skip & set(both) or not all(name in wanted for name in both):
            continue
        reading = measured.ohms.get(pair(*both))
        if reading is None:
            if "resistance" in expected.checks:
                untested += [(name, f"resistance of {link.a} to {link.b} not measured") for name in both]
            continue
        result = decide(reading.ohms, reading.u_ohms, link.limit_ohms)
        if result == "fail":
            cavities = likeliest(both, expected)
            values = {"ohms": reading.ohms, "u_ohms": reading.u_ohms, "limit_ohms": link.limit_ohms}
            faults.append(
                Fault("high-resistance", cavities, 0, "", (link.a,), (link.b,), steps_of(cavities, expected), values)
            )
        elif result != "pass":
            untested += [(name, f"resistance of {link.a} to {link.b} is too close to its limit") for name in both]
    return LinkFindings(tuple(faults), tuple(untested))
