"""Parts and one-way links: what was expected between circuits against what was measured there."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from tester.harness.expected import Expected, ExpectedPart
from tester.harness.netlist import Netlist
from tester.harness.reading import Measured, PartReading
from tester.harness.verdict import Fault
from tester.judge.faults import likeliest, steps_of

SAME_OHMS = 0.1  # two-way readings of one part differ by less than this and 2 %: board.md section 5
SAME_RELATIVE = 0.02


@dataclass(frozen=True)
class PartFindings:
    """Faults, and cavities whose part could not be judged with the reason."""

    faults: tuple[Fault, ...]
    untested: tuple[tuple[str, str], ...]


def judge_parts(expected: Expected, wanted: Netlist, measured: Measured, doubted: Iterable[str]) -> PartFindings:
    """Expected diodes and parts against what was read between circuits of `wanted`.

    Only between cavities on leads; circuits in `doubted` are left out, their netlist is wrong or unknown.
    """
    skip = set(doubted)
    faults: list[Fault] = []
    untested: list[tuple[str, str]] = []
    named = {name for one in expected.unsteady for name in one}
    _one_way(expected, wanted, measured, skip, faults, untested)
    _parts(expected, wanted, measured, skip, faults, untested)
    untested += [(name, "part that will not hold still") for name in sorted(named) if name in wanted]
    return PartFindings(tuple(faults), tuple(untested))


def _circuits(wanted: Netlist, a: str, b: str) -> tuple[str, str] | None:
    if a not in wanted or b not in wanted:
        return None
    return wanted.circuit_of(a)[0], wanted.circuit_of(b)[0]


def _chained(links: Iterable[tuple[str, str]]) -> set[tuple[str, str]]:
    """Pairs of circuits with a way of two or more one-way links between them: two drops add up to a level that an
    input may read as low or as high."""
    after: dict[str, set[str]] = {}
    for a, b in links:
        after.setdefault(a, set()).add(b)
    found = set()
    for start, firsts in after.items():
        reached: set[str] = set()
        work = list(firsts)
        while work:
            new = after.get(work.pop(), set()) - reached - {start}
            reached |= new
            work += new
        found |= {(start, end) for end in reached}
    return found


def _one_way(
    expected: Expected, wanted: Netlist, measured: Measured, skip: set[str], faults: list[Fault],
    untested: list[tuple[str, str]],
) -> None:  # fmt: skip
    want = {key: link for link in expected.diodes if (key := _circuits(wanted, *link))}
    got = {key: link for link in measured.directed if (key := _circuits(wanted, *link))}
    backed = {frozenset(key) for part in expected.parts if (key := _circuits(wanted, part.a, part.b))}
    measured_parts = {frozenset(key) for part in measured.parts if (key := _circuits(wanted, part.a, part.b))}
    both_ways = {
        frozenset(key)
        for part in measured.parts
        if part.stable and part.ohms_ab is not None and part.ohms_ba is not None
        if (key := _circuits(wanted, part.a, part.b))
    }
    chained = _chained(want) if measured.grade != "wire" else set()
    for key in chained & (want.keys() ^ got.keys()):
        link = want.pop(key, None) or got.pop(key)
        if not skip & set(link):
            untested += [(name, "one-way parts in a row, which a scan cannot judge") for name in link]
    for key, link in want.items():
        if skip & set(link) or key in got:
            continue
        back = got.get((key[1], key[0]))
        if back is not None:
            faults.append(_fault("reversed", link, expected, "part turned round"))
        elif frozenset(key) not in measured_parts:
            faults.append(_fault("open", link, expected, "part missing"))
        elif frozenset(key) in both_ways - backed:
            faults.append(_fault("short", link, expected, "both ways"))
    for key, link in got.items():
        if skip & set(link) or key in want or (key[1], key[0]) in want:
            continue
        if frozenset(key) not in backed and frozenset(key) not in measured_parts:
            faults.append(_fault("short", link, expected, "one-way link"))


def _parts(
    expected: Expected, wanted: Netlist, measured: Measured, skip: set[str], faults: list[Fault],
    untested: list[tuple[str, str]],
) -> None:  # fmt: skip
    got: dict[frozenset[str], list[PartReading]] = {}
    for reading in measured.parts:
        key = _circuits(wanted, reading.a, reading.b)
        if key and key[0] != key[1] and not skip & {reading.a, reading.b}:
            got.setdefault(frozenset(key), []).append(reading)
    named: set[frozenset[str]] = set()
    for part in expected.parts:
        key = _circuits(wanted, part.a, part.b)
        if key is None or skip & {part.a, part.b}:
            continue
        found = got.get(frozenset(key), [])
        named.add(frozenset(key))
        if measured.grade != "wire":
            if part.ohms_ab is not None and part.ohms_ba is not None:
                untested += [(name, "part whose ohms this board cannot measure") for name in (part.a, part.b)]
            continue
        if not found:
            faults.append(_fault("open", (part.a, part.b), expected, "part missing"))
        for reading in found:
            turned = _circuits(wanted, reading.a, reading.b) != key
            fault, why = _match(part, reading, turned)
            if why:
                untested += [(name, why) for name in (part.a, part.b)]
            if fault:
                values = {"ohms": _ohms(reading), "expected_ohms": _first(part.ohms_ab, part.ohms_ba)}
                faults.append(_fault(fault, (part.a, part.b), expected, "part differs", values))
    known = {frozenset(key) for link in expected.diodes if (key := _circuits(wanted, *link))}
    enough = expected.limits.get("isolation_ohms", float("inf"))
    for between, readings in got.items():
        if between in named:
            continue
        for reading in readings:
            if between in known or (reading.stable and _ohms(reading) >= enough):
                continue
            if reading.stable:
                values = {"ohms": _ohms(reading)}
                faults.append(_fault("leakage", (reading.a, reading.b), expected, "leakage", values))
            else:
                untested += [(name, "part that will not hold still") for name in (reading.a, reading.b)]


def _match(part: ExpectedPart, reading: PartReading, turned: bool) -> tuple[str, str]:
    """Fault kind and reason for not testing, one of them or both ""."""
    if not reading.stable:
        return "", "part that will not hold still"
    ab, ba = (reading.ohms_ba, reading.ohms_ab) if turned else (reading.ohms_ab, reading.ohms_ba)
    if near(part.ohms_ab, ab, part.tolerance) and near(part.ohms_ba, ba, part.tolerance):
        return "", ""
    if near(part.ohms_ab, ba, part.tolerance) and near(part.ohms_ba, ab, part.tolerance):
        return "reversed", ""
    if (part.ohms_ab is None or part.ohms_ba is None) and (ab is None) != (part.ohms_ab is None):
        return "reversed", ""
    lower = min((x for x in (ab, ba) if x is not None), default=None)
    wanted = min((x for x in (part.ohms_ab, part.ohms_ba) if x is not None), default=None)
    return ("leakage" if lower is not None and wanted is not None and lower < wanted else "high-resistance"), ""


def near(wanted: float | None, got: float | None, tolerance: float) -> bool:
    """True when both conduct and agree within `tolerance` plus what two readings of one part may differ by."""
    if wanted is None or got is None:
        return wanted is got
    return abs(got - wanted) <= (tolerance + SAME_RELATIVE) * abs(wanted) + SAME_OHMS


def _ohms(reading: PartReading) -> float:
    return _first(reading.ohms_ab, reading.ohms_ba)


def _first(a: float | None, b: float | None) -> float:
    found = [x for x in (a, b) if x is not None]
    return min(found) if found else float("inf")


def _fault(
    kind: str, pair: tuple[str, str], expected: Expected, action: str, values: dict[str, float] | None = None
) -> Fault:
    cavities = likeliest(pair, expected)
    return Fault(kind, cavities, 0, action, (pair[0],), (pair[1],), steps_of(cavities, expected), values or {})
