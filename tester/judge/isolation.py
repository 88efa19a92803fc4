"""How far isolation was seen: what a scan with one driver surely finds, and leakage that the converter measured."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from tester.harness.expected import Expected
from tester.harness.netlist import Netlist
from tester.harness.verdict import Fault
from tester.judge.faults import likeliest, steps_of

# Path resistance up to which a circuit of so many points surely reads joined, worst parts: the board's decks
# (hwspec/limits.toml, joined_by_points). A leak below it cannot hide from the scan.
SURELY_SEEN: tuple[tuple[int, float], ...] = (
    (2, 66_000.0), (6, 12_500.0), (11, 5_700.0), (21, 2_300.0), (31, 1_200.0), (51, 340.0), (61, 120.0),
)  # fmt: skip
COVERAGE = 2.0  # U = k u with k = 2: JCGM 100:2008 6.2.1, from memory
SHORT_OHMS = 5_000.0  # hard shorts: > 5,000 ohm to every other contact, TM 5-3805-291-23-1 WP 0013


def scan_reach(netlist: Netlist, points: tuple[tuple[int, float], ...] = SURELY_SEEN) -> float:
    """Ohms below which no leak between two circuits can hide from a full scan; 0 when a circuit is too large.

    Each pair is driven from both sides, so the smaller circuit of a pair counts; the worst pair is the two largest.
    """
    sizes = sorted((len(circuit) for circuit in netlist), reverse=True)
    if len(sizes) < 2:
        return points[0][1]
    return surely_seen(sizes[1] + 1, points)  # the smaller circuit's points, and the driver


def surely_seen(seen_with: int, points: tuple[tuple[int, float], ...] = SURELY_SEEN) -> float:
    """Ohms up to which a circuit of so many points, the driver among them, surely reads joined; 0 when too large."""
    return next((ohms for most, ohms in points if seen_with <= most), 0.0)


def judge_isolation(
    expected: Expected,
    wanted: Netlist,
    lowest: Mapping[str, float | None],
    blocked: Iterable[str],
    u_ohms: Mapping[str, float] | None = None,
) -> list[Fault]:
    """Faults of circuits whose leakage reading lies below the plan's limit for certain; none where it gives no limit.

    `lowest`: ohms between the circuit of a cavity and all others together, None where no leakage was seen; `u_ohms`
    their standard uncertainty. What is too close to the limit is no fault: the reach of the readings ends below it.
    """
    limit = expected.limits.get("isolation_ohms")
    skip = set(blocked)
    faults: list[Fault] = []
    for name, ohms in lowest.items():
        if limit is None or name not in wanted or ohms is None:
            continue
        if ohms + COVERAGE * (u_ohms or {}).get(name, 0.0) >= limit:
            continue
        circuit = wanted.circuit_of(name)
        if skip.isdisjoint(circuit):
            cavities = likeliest(circuit, expected)
            values = {"ohms": ohms, "limit_ohms": limit}
            faults.append(
                Fault("leakage", cavities, 0, "to any other", circuit, (), steps_of(cavities, expected), values)
            )
    return faults


def reach_of(
    netlist: Netlist, lowest: Mapping[str, float | None], seen_to: float, u_ohms: Mapping[str, float] | None = None
) -> float:
    """Ohms below which no leakage was there: the scan's reach, or the converter's where every circuit was read.

    A leak that the converter did measure ends the reach: below it, less its uncertainty, there was none.
    """
    reach = scan_reach(netlist)
    read = {netlist.circuit_of(name)[0] for name in lowest if name in netlist}
    if read != {circuit[0] for circuit in netlist}:
        return reach
    least = [ohms - COVERAGE * (u_ohms or {}).get(name, 0.0) for name, ohms in lowest.items() if ohms is not None]
    return max(reach, min([seen_to, *least]))
