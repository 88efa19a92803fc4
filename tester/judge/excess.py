"""High resistance of a circuit traced to the branch that has it: "the crimp at D-5", not "the ground circuit"."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from tester.harness.cavity import in_order
from tester.harness.expected import Expected
from tester.harness.netlist import Netlist, pair
from tester.harness.reading import Measured
from tester.harness.verdict import Fault
from tester.judge.branches import BranchGroup, PairReading, Solved, solve_branches
from tester.judge.faults import likeliest, steps_of
from tester.judge.isolation import COVERAGE
from tester.judge.limits import LinkFindings, LinkResult, limit_of

POOR_FIT = 4.0  # chi-squared for each degree of freedom beyond which the readings do not fit this shape


def trace_excess(expected: Expected, wanted: Netlist, measured: Measured, found: LinkFindings) -> tuple[Fault, ...]:
    """The faults of `found`, those of one splice replaced by the branches that explain them where readings allow."""
    failed = [result for result in found.results if result.result == "fail"]
    circuits = list(dict.fromkeys(wanted.circuit_of(result.link.a) for result in failed))
    faults: list[Fault] = []
    for circuit in circuits:
        mine = [result for result in failed if result.link.a in circuit]
        traced = _trace(expected, circuit, measured, mine)
        faults += traced or [fault for fault in found.faults if fault.sits[0] in circuit]
    return tuple(faults)


def _trace(
    expected: Expected, circuit: tuple[str, ...], measured: Measured, failed: Sequence[LinkResult]
) -> list[Fault]:
    """One fault for each branch (or group that cannot be told apart) with an excess beyond what is allowed."""
    if len(circuit) < 3:
        return []
    solved = _solved(expected, circuit, measured)
    if solved is None or (solved.freedom > 0 and solved.chi2 > POOR_FIT * solved.freedom):
        return []
    allowed = max(0.0, min(result.limit.ohms - result.limit.nominal for result in failed))
    guilty = [group for group in solved.groups if group.ohms - COVERAGE * group.u_ohms > allowed]
    if not guilty or any(min(group.weights.values()) < 0 for group in guilty):
        return []
    return [_fault(group, expected, allowed) for group in guilty]


def _solved(expected: Expected, circuit: tuple[str, ...], measured: Measured) -> Solved | None:
    """Excess of each branch: by the plan's wires where each pair has a known way, else as one splice of all."""
    links = {pair(link.a, link.b): link for link in expected.links if link.a in circuit and link.b in circuit}
    inside = {key: r for key, r in measured.ohms.items() if key[0] in circuit and key[1] in circuit and r.u_ohms > 0}
    if len(inside) < 2:
        return None
    by_wire = all(key in links and links[key].path for key in inside)
    readings = []
    for key, reading in inside.items():
        link = links.get(key)
        nominal = limit_of(link, expected.limits, expected.table).nominal if link else 0.0
        ways = tuple(wire.wire for wire in link.path) if by_wire and link else key
        readings.append(PairReading(ways, reading.ohms - nominal, reading.u_ohms))
    return solve_branches(readings)


def _fault(group: BranchGroup, expected: Expected, allowed: float) -> Fault:
    ends: Iterable[str] = {name for branch in group.weights for name in expected.wires.get(branch, (branch,))}
    cavities = likeliest(ends, expected)
    action = "branch" if group.alone else "branches not told apart"
    values = {"ohms": group.ohms, "u_ohms": group.u_ohms, "limit_ohms": allowed}
    return Fault(
        "high-resistance", cavities, 0, action, tuple(in_order(group.weights)), (), steps_of(cavities, expected), values
    )
