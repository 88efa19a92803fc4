"""Several rounds of scanning, each with its own lead map, as one three-valued reading of cavities."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from functools import reduce
from itertools import combinations
from operator import or_
from typing import NamedTuple

from tester.harness.cavity import in_order
from tester.harness.netlist import Netlist, Pair, pair
from tester.harness.reading import Measured, OhmsReading, PartReading
from tester.scan.walk import ChannelLinks, bits, components

ROUND_RELATIVE = 0.05  # a part read in two rounds, each time under other cavities of its circuits
ROUND_OHMS = 1.0


class Round(NamedTuple):
    """One round: its links, the lead map (channel -> cavity), and what the converter measured in it."""

    links: ChannelLinks
    leads: Mapping[int, str]
    parts: Sequence[PartReading] = ()
    ohms: Sequence[OhmsReading] = ()


class _Seen:
    """Bit matrices over all cavities: seen together, joined, conducting one way, varied."""

    def __init__(self, names: Sequence[str]) -> None:
        self.names = names
        self.place = {name: k for k, name in enumerate(names)}
        self.seen = [0] * len(names)
        self.joined = [0] * len(names)
        self.apart = [0] * len(names)
        self.directed = [0] * len(names)
        self.varied = [0] * len(names)

    def add(self, links: ChannelLinks, leads: Mapping[int, str]) -> None:
        missing = [point for point in links.points if point not in leads]
        if missing:
            raise ValueError(f"channels scanned but not in the lead map: {missing}")
        at = {point: self.place[leads[point]] for point in links.points}
        here = 0
        for k in at.values():
            here |= 1 << k
        linked = dict.fromkeys(at.values(), 0)
        for matrix, pairs in ((self.joined, links.joined), (self.varied, links.varied)):
            for a, b in pairs:
                i, k = at[a], at[b]
                matrix[i] |= 1 << k
                matrix[k] |= 1 << i
                linked[i] |= 1 << k
                linked[k] |= 1 << i
        for a, b in links.directed:
            i, k = at[a], at[b]
            self.directed[i] |= 1 << k
            linked[i] |= 1 << k
            linked[k] |= 1 << i
        for k in at.values():
            self.seen[k] |= here
            self.apart[k] |= here & ~linked[k] & ~(1 << k)


def combine(
    rounds: Sequence[Round | tuple[ChannelLinks, Mapping[int, str]]],
    *,
    touched: Iterable[str] = (),
    grade: str = "scan",
) -> Measured:
    """All rounds as one reading: joined links contracted, circuits apart where any cross pair was seen apart.

    `touched`: cavities whose lead was proven by touching. Pairs that answered differently in two rounds, or that
    contradict the contracted circuits, are doubtful. Raises ValueError for no round, for a channel without a
    cavity, or for a cavity on two channels of one round.
    """
    if not rounds:
        raise ValueError("no round to combine")
    listed = [Round(*one) for one in rounds]
    for one in listed:
        if len(set(one.leads.values())) != len(one.leads):
            raise ValueError("a cavity is on two channels of one lead map")
    names = in_order({one.leads[point] for one in listed for point in one.links.points if point in one.leads})
    table = _Seen(names)
    for one in listed:
        table.add(one.links, one.leads)
    circuits = components(table.joined)
    doubtful, directed = _contradictions(table, circuits)
    not_seen = _not_seen(table, circuits)
    proven = {names[k] for circuit in circuits if circuit.bit_count() > 1 for k in bits(circuit)}
    proven |= {name for link in directed for name in link} | (set(touched) & set(names))
    netlist = Netlist.of([names[k] for k in bits(circuit)] for circuit in circuits)
    return Measured(
        netlist=netlist,
        doubtful=frozenset(doubtful),
        directed=frozenset(directed),
        not_seen=frozenset(not_seen),
        parts=_parts(listed, netlist),
        ohms={pair(r.a, r.b): r for one in listed for r in one.ohms},
        proven=frozenset(proven | {name for one in listed for p in one.parts for name in (p.a, p.b)}),
        grade=grade,
        rounds=len(listed),
        unanchored=unanchored(listed),
    )


def _parts(rounds: Sequence[Round], netlist: Netlist) -> tuple[PartReading, ...]:
    """One part for each two circuits: rounds see the same part under other cavities of them. The first round that saw
    it gives cavities and values; a part that reads otherwise in a later round is not stable."""
    found: dict[frozenset[str], PartReading] = {}
    for one in rounds:
        for part in one.parts:
            here, there = netlist.circuit_of(part.a)[0], netlist.circuit_of(part.b)[0]
            first = found.setdefault(frozenset((here, there)), part)
            turned = netlist.circuit_of(first.a)[0] != here
            ways = (part.ohms_ba, part.ohms_ab) if turned else (part.ohms_ab, part.ohms_ba)
            alike = all(_alike(a, b) for a, b in zip((first.ohms_ab, first.ohms_ba), ways, strict=True))
            if not (alike and part.stable):
                found[frozenset((here, there))] = replace(first, stable=False)
    return tuple(found.values())


def _alike(a: float | None, b: float | None) -> bool:
    """True when neither conducts, or both agree within what other cavities of the same circuits may add."""
    if a is None or b is None:
        return a is b
    return abs(a - b) <= ROUND_RELATIVE * min(a, b) + ROUND_OHMS


def _contradictions(table: _Seen, circuits: Sequence[int]) -> tuple[set[Pair], set[Pair]]:
    """Doubtful pairs, and directed links that nothing contradicts."""
    names, doubtful, directed = table.names, set(), set()
    for circuit in circuits:
        for i in bits(circuit):
            against = (table.apart[i] | table.directed[i] | table.varied[i]) & circuit
            doubtful |= {pair(names[i], names[k]) for k in bits(against)}
            for k in bits(table.varied[i] & ~circuit):
                doubtful.add(pair(names[i], names[k]))
    home = {k: circuit for circuit in circuits for k in bits(circuit)}
    crossing: dict[tuple[int, int], list[tuple[int, int]]] = {}
    for i, row in enumerate(table.directed):
        for k in bits(row & ~home[i]):
            crossing.setdefault((home[i], home[k]), []).append((i, k))
    for (here, there), links in crossing.items():
        plain = [(i, k) for i in bits(here) for k in bits(table.apart[i] & there)]
        if plain or (there, here) in crossing:
            doubtful |= {pair(names[i], names[k]) for i, k in plain or links}
        elif not any(table.varied[i] & there for i in bits(here)):
            directed |= {(names[i], names[k]) for i, k in links}
    return doubtful, directed


def _not_seen(table: _Seen, circuits: Sequence[int]) -> set[Pair]:
    """One representative pair for each two circuits that no round had on leads together."""
    if len(set(table.seen)) < 2:
        return set()  # all were on leads together
    reached = {circuit: reduce(or_, (table.seen[i] for i in bits(circuit))) for circuit in circuits}
    first = {circuit: table.names[next(bits(circuit))] for circuit in circuits}
    return {pair(first[a], first[b]) for a, b in combinations(circuits, 2) if not reached[a] & b}


def unanchored(rounds: Sequence[Round]) -> tuple[int, ...]:
    """Rounds (from 1, the first is 0) in which no joined pair of an earlier round was seen joined again.

    One pair measured again shows that the leads of this round are plugged in as their map says.
    """
    known: set[Pair] = set()
    bare = []
    for index, one in enumerate(rounds):
        joined = {pair(one.leads[a], one.leads[b]) for a, b in one.links.joined}
        if index and not joined & known:
            bare.append(index)
        known |= joined
    return tuple(bare)
