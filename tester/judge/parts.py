"""Parts and one-way links: what was expected between circuits against what was measured there."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from tester.harness.cavity import in_order
from tester.harness.expected import Expected, ExpectedPart
from tester.harness.netlist import Netlist, Pair
from tester.harness.reading import Measured, PartReading
from tester.harness.verdict import Fault
from tester.judge.faults import likeliest, steps_of
from tester.judge.isolation import surely_seen

UNSTEADY = "part that will not hold still"
SAME_OHMS = 0.1  # two-way readings of one part differ by less than this and 2 %: board.md section 5
SAME_RELATIVE = 0.02
SAME_DROP_V = 0.005


@dataclass(frozen=True)
class _Found:
    """Something between the two circuits of `pair`: a fault, or with `why` the reason for not testing it."""

    pair: Pair
    kind: str = ""
    action: str = ""
    why: str = ""
    values: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class PartFindings:
    """Faults, and cavities whose part could not be judged with the reason."""

    faults: tuple[Fault, ...]
    untested: tuple[tuple[str, str], ...]


def judge_parts(expected: Expected, wanted: Netlist, measured: Measured, doubted: Iterable[str]) -> PartFindings:
    """Expected diodes and parts against what was read between circuits of `wanted`.

    Only between cavities on leads; circuits in `doubted` are left out, their netlist is wrong or unknown. What will not
    hold still, now or as found, is not tested by name and makes no fault.
    """
    skip = set(doubted)
    faults: dict[tuple[str, str, frozenset[str]], Fault] = {}
    doubts = expected.unsteady | measured.doubtful
    shaky = {frozenset(key) for one in doubts if (key := _circuits(wanted, *one)) and key[0] != key[1]}
    once: dict[frozenset[str], Pair] = {}
    for pair in sorted(expected.unsteady):
        between = frozenset(_circuits(wanted, *pair) or pair)
        once.setdefault(between if len(between) == 2 else frozenset(pair), pair)
    named = {name for pair in once.values() for name in pair if name in wanted}
    untested = [(name, UNSTEADY) for name in in_order(named)]
    for part in measured.parts:
        key = _circuits(wanted, part.a, part.b)
        if not part.stable and key and key[0] != key[1] and not skip & {part.a, part.b}:
            shaky.add(frozenset(key))
            untested += [(name, UNSTEADY) for name in (part.a, part.b)]
    told = [*_one_way(expected, wanted, measured, skip), *_parts(expected, wanted, measured, skip)]
    for found in told:
        key = _circuits(wanted, *found.pair)
        between = frozenset(key or ())
        if between in shaky:
            continue
        if found.why:
            untested += [(name, found.why) for name in found.pair]
        else:
            fault = _fault(found.kind, found.pair, expected, found.action, found.values)
            faults.setdefault((found.kind, found.action, between), fault)
    return PartFindings(tuple(faults.values()), tuple(untested))


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


def _one_way(expected: Expected, wanted: Netlist, measured: Measured, skip: set[str]) -> Iterator[_Found]:
    """One-way links; where the converter read and the expected part has its ohms, `_parts` tells of it."""
    want = {
        key: link
        for link in sorted(expected.diodes, reverse=True)
        if (key := _circuits(wanted, *link)) and key[0] != key[1]
    }
    got = {key: link for link in sorted(measured.directed, reverse=True) if (key := _circuits(wanted, *link))}
    wire = measured.grade == "wire"
    backed = {frozenset(key) for part in expected.parts if (key := _circuits(wanted, part.a, part.b))}
    readings = {key: part for part in measured.parts if (key := _circuits(wanted, part.a, part.b))}
    chained = set() if wire else _chained(want)
    for key in sorted(chained & (want.keys() ^ got.keys())):
        link = want.pop(key, None) or got.pop(key)
        if not skip & set(link):
            yield _Found(link, why="one-way parts in a row, which a scan cannot judge")
    for key, link in want.items():
        if skip & set(link) or key in got or (wire and frozenset(key) in backed):
            continue
        reading = readings.get(key) or readings.get((key[1], key[0]))
        if (key[1], key[0]) in got:
            yield _Found(link, "reversed", "part turned round")
        elif reading is None:
            yield _Found(link, "open", "part missing")
        else:
            yield from _known_by_scan(link, reading, key in readings, len(wanted.circuit_of(link[0])))
    measured_parts = {frozenset(key) for key in readings}
    for key, link in got.items():
        if skip & set(link) or key in want or (key[1], key[0]) in want:
            continue
        if frozenset(key) not in backed and frozenset(key) not in measured_parts:
            yield _Found(link, "short", "one-way link")


def _known_by_scan(link: Pair, reading: PartReading, along: bool, points: int) -> Iterator[_Found]:
    """A part read where only a scan showed a one-way link. `along`: the reading has the order of the link.

    `points`: cavities of the circuit that must not follow. A leak back that so large a circuit could have hidden from
    the scan may have been there as found.
    """
    back, forth = (reading.ohms_ab, reading.ohms_ba) if along else (reading.ohms_ba, reading.ohms_ab)
    if back is None:
        return
    if forth is None:
        yield _Found(link, "reversed", "part turned round")
    elif back < surely_seen(points + 1):
        yield _Found(link, "short", "both ways")
    else:
        yield _Found(link, why="part that also conducts backwards, too weakly for the earlier scan to see")


def _parts(expected: Expected, wanted: Netlist, measured: Measured, skip: set[str]) -> Iterator[_Found]:
    """Expected parts against what the converter read, and what it read where none is expected."""
    got: dict[frozenset[str], list[PartReading]] = {}
    for reading in measured.parts:
        key = _circuits(wanted, reading.a, reading.b)
        if key and key[0] != key[1] and not skip & {reading.a, reading.b}:
            got.setdefault(frozenset(key), []).append(reading)
    known = {frozenset(key) for link in expected.diodes if (key := _circuits(wanted, *link))}
    for part in expected.parts:
        key = _circuits(wanted, part.a, part.b)
        if key is None or skip & {part.a, part.b}:
            continue
        ends = (part.a, part.b)
        known.add(frozenset(key))
        if measured.grade != "wire":
            if part.ohms_ab is not None and part.ohms_ba is not None:
                yield _Found(ends, why="part whose ohms this board cannot measure")
            continue
        readings = got.get(frozenset(key), [])
        if not readings:
            yield _Found(ends, "open", "part missing")
        for reading in readings:
            kind, action, ohms, expected_ohms = _match(part, reading, _circuits(wanted, reading.a, reading.b) != key)
            if kind:
                yield _Found(ends, kind, action, values={"ohms": ohms, "expected_ohms": expected_ohms})
    enough = expected.limits.get("isolation_ohms", float("inf"))
    for between, readings in got.items():
        for reading in readings:
            if between not in known and _ohms(reading) < enough:
                yield _Found((reading.a, reading.b), "leakage", "leakage", values={"ohms": _ohms(reading)})


def _match(part: ExpectedPart, reading: PartReading, turned: bool) -> tuple[str, str, float, float]:
    """Kind and action of the fault, both "" when the reading is the part's; ohms as read and as expected.

    `turned`: the reading has the other order of the two circuits.
    """
    ab, ba = (reading.ohms_ba, reading.ohms_ab) if turned else (reading.ohms_ab, reading.ohms_ba)
    least = _first(ab, ba), _first(part.ohms_ab, part.ohms_ba)
    if _same_drop(part, reading, ab, ba):
        return "", "", *least
    ways = [
        (wanted, got)
        for wanted, got in ((part.ohms_ab, ab), (part.ohms_ba, ba))
        if not near(wanted, got, part.tolerance)
    ]
    if not ways:
        return "", "", *least
    if near(part.ohms_ab, ba, part.tolerance) and near(part.ohms_ba, ab, part.tolerance):
        return "reversed", "part differs", *least
    one_way = part.ohms_ab is None or part.ohms_ba is None
    if one_way and ab is not None and ba is not None:
        return "short", "both ways", *least
    if one_way and (ab is None) != (part.ohms_ab is None):
        return "reversed", "part differs", *least
    both = [(got, wanted) for wanted, got in ways if wanted is not None and got is not None]
    got, wanted = both[0] if len(ways) == len(both) == 1 else least  # of one way that differs that one is told
    return ("leakage" if got < wanted else "high-resistance"), "part differs", got, wanted


def _same_drop(part: ExpectedPart, reading: PartReading, ab: float | None, ba: float | None) -> bool:
    """True for a one-way part with the drop that was expected, the same way round.

    Its ohms follow the current, which differs between two boards; its drop hardly does (silicon: about -2 mV for each
    kelvin, common practice, no source).
    """
    one_way = (part.ohms_ab is None) != (part.ohms_ba is None)
    if not one_way or (ab is None, ba is None) != (part.ohms_ab is None, part.ohms_ba is None):
        return False
    if part.drop_v is None or reading.drop_v is None:
        return False
    return abs(reading.drop_v - part.drop_v) <= (part.tolerance + SAME_RELATIVE) * part.drop_v + SAME_DROP_V


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


def _fault(kind: str, pair: Pair, expected: Expected, action: str, values: dict[str, float]) -> Fault:
    cavities = likeliest(pair, expected)
    return Fault(kind, cavities, 0, action, (pair[0],), (pair[1],), steps_of(cavities, expected), values)
