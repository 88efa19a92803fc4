"""Limits: which resistance a link may have, where the limit comes from, and what a reading says against it.

In order: the plan's own limit; else the wires on the way at the bench temperature plus joints; else, for an existing
link, its own as-found reading; else a default that only proves a path.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from tester.harness.copper import DEFAULT_TABLE, wire_ohms
from tester.harness.expected import Expected, ExpectedLink
from tester.harness.netlist import Netlist, pair
from tester.harness.reading import Measured, OhmsReading
from tester.harness.verdict import Fault
from tester.judge.faults import likeliest, steps_of
from tester.judge.isolation import COVERAGE

CONTACT_OHMS = 0.010  # one mated contact: common practice, editable in the plan
JOINT_OHMS = 0.005  # one crimp or splice: common practice, editable in the plan
DEFAULT_OHMS = 2.0  # common practice: proves a path, no more (1.5 m of 0.5 mm2 on one strand of sixteen is 0.94 ohm)
RISE_OHMS = 0.05  # an existing link may read so much more than as found, and
RISE_RELATIVE = 0.05  # this share of it more: common practice
CELSIUS = 20.0
PLUGGING_OHMS = 0.02  # what plugging a lead set again may change: common practice, no source
BELOW_ZERO = "below zero"


@dataclass(frozen=True)
class Limit:
    """Highest acceptable resistance in ohm, `source` in words for record and report, `nominal` of the bare link."""

    ohms: float
    source: str
    nominal: float = 0.0


@dataclass(frozen=True)
class LinkResult:
    """One link judged: its limit, the reading (None when not measured), and the result.

    result  "pass", "fail", "too close to call", "below zero" (more lead resistance was taken off than there is), ""
    """

    link: ExpectedLink
    limit: Limit
    reading: OhmsReading | None
    result: str


@dataclass(frozen=True)
class LinkFindings:
    """Results of all links, faults, and cavities whose resistance could not be judged with the reason."""

    faults: tuple[Fault, ...]
    untested: tuple[tuple[str, str], ...]
    results: tuple[LinkResult, ...] = ()


def decide(ohms: float, u_ohms: float, limit_ohms: float) -> str:
    """ "pass", "fail" or "too close to call": reading + U within the limit, reading - U beyond it, or neither.

    `u_ohms` is a standard uncertainty; U = 2 u. Rule: JCGM 106 (guard bands), from memory.
    """
    spread = COVERAGE * u_ohms
    if ohms + spread <= limit_ohms:
        return "pass"
    return "fail" if ohms - spread > limit_ohms else "too close to call"


def result_of(reading: OhmsReading, limit: Limit) -> str:
    """What a reading says against a limit: as `decide`, or "below zero" where too much lead resistance was taken off,
    which could hide a resistance that is too high."""
    if reading.ohms + COVERAGE * reading.u_ohms < -PLUGGING_OHMS:
        return BELOW_ZERO
    return decide(reading.ohms, reading.u_ohms, limit.ohms)


def rectangular(half_width: float) -> float:
    """Standard uncertainty of a limit +-a with no other knowledge: a / sqrt(3), JCGM 100:2008 4.3.7."""
    return half_width / math.sqrt(3)


def ratio_u(reference: float, u_reference: float, v_reference: float, u_vref: float, v: float, u_v: float) -> float:
    """Standard uncertainty of reference x v / v_reference: relative ones add in squares, JCGM 100:2008 5.1.6.

    Treats the two voltages as independent, which is cautious where one converter reads both.
    """
    value = reference * v / v_reference
    return abs(value) * math.sqrt((u_reference / reference) ** 2 + (u_vref / v_reference) ** 2 + (u_v / v) ** 2)


def limit_of(link: ExpectedLink, numbers: Mapping[str, float], table: str = "") -> Limit:
    """The limit of a link. `numbers`: the plan's limits (celsius, contact_ohms, joint_ohms), see Expected.limits."""
    celsius = numbers.get("celsius", CELSIUS)
    contact = numbers.get("contact_ohms", CONTACT_OHMS)
    joint = numbers.get("joint_ohms", JOINT_OHMS)
    wires = _wires(link, celsius, table or DEFAULT_TABLE)
    nominal = sum(ohms for ohms, _ in wires) if wires else (link.found_ohms or 0.0)
    if link.limit_ohms is not None:
        return Limit(link.limit_ohms, link.source or "the plan's own limit", nominal)
    if wires:
        crimps = 2 * len(wires) + link.splices
        ohms = nominal + link.contacts * contact + crimps * joint
        allowed = (
            f"{link.contacts} contacts at {contact * 1000:g} mohm, {crimps} crimps or splices at {joint * 1000:g} mohm"
        )
        return Limit(ohms, f"{'; '.join(source for _, source in wires)}; {allowed} (common practice)", nominal)
    if link.found_ohms is not None:
        allowed_rise = RISE_OHMS + RISE_RELATIVE * link.found_ohms + COVERAGE * (link.found_u_ohms or 0.0)
        source = f"as found {link.found_ohms:.3g} ohm plus {allowed_rise:.2g} ohm (common practice)"
        return Limit(link.found_ohms + allowed_rise, source, nominal)
    return Limit(DEFAULT_OHMS, "default 2 ohm, proves a path only (common practice)", nominal)


def _wires(link: ExpectedLink, celsius: float, table: str) -> list[tuple[float, str]]:
    """Resistance and source of each wire on the way; empty when one of them is not known."""
    parts = [(wire.size_mm2, wire.length_m) for wire in link.path] or [(link.size_mm2, link.length_m)]
    known = [(size, length) for size, length in parts if size is not None and length is not None]
    if len(known) < len(parts):
        return []
    return [wire_ohms(size, length, celsius, table) for size, length in known]


def judge_links(expected: Expected, wanted: Netlist, measured: Measured, blocked: Iterable[str]) -> LinkFindings:
    """Readings of expected links against their limits. Circuits that are wrong or in doubt are left out."""
    skip = set(blocked)
    faults: list[Fault] = []
    untested: list[tuple[str, str]] = []
    results: list[LinkResult] = []
    required = "resistance" in expected.checks
    for link in expected.links:
        both = (link.a, link.b)
        if skip & set(both) or not all(name in wanted for name in both):
            continue
        limit = limit_of(link, expected.limits, expected.table)
        reading = measured.ohms.get(pair(*both))
        if reading is None:
            if required:
                results.append(LinkResult(link, limit, None, ""))
                untested += [(name, f"resistance of {link.a} to {link.b} not measured") for name in both]
            continue
        if not required and link.limit_ohms is None:
            continue  # measured on the way; the plan asks for no judgement
        result = result_of(reading, limit)
        results.append(LinkResult(link, limit, reading, result))
        if result == "fail":
            cavities = likeliest(both, expected)
            values = {"ohms": reading.ohms, "u_ohms": reading.u_ohms, "limit_ohms": limit.ohms}
            faults.append(
                Fault("high-resistance", cavities, 0, "", (link.a,), (link.b,), steps_of(cavities, expected), values)
            )
        elif result == BELOW_ZERO:
            why = f"resistance of {link.a} to {link.b} reads below zero: calibrate the leads again"
            untested += [(name, why) for name in both]
        elif result != "pass":
            untested += [(name, f"resistance of {link.a} to {link.b} is too close to its limit") for name in both]
    return LinkFindings(tuple(faults), tuple(untested), tuple(results))
