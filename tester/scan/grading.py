"""From scan grade to wire grade: which low pairs to measure, and what is wire, part or doubt after that.

Low means "up to tens of kilohm". With a converter each scan-grade circuit is taken apart: a channel belongs to the
first group whose first channel it reaches within `joined_ohms`, both ways; between groups lies a part. Parts are read
twice, and one that does not repeat is not stable.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import combinations, product

from tester.harness.reading import OhmsReading, PartReading
from tester.scan.rounds import Round
from tester.scan.walk import ChannelLinks, ChannelPair, bits, components

JOINED_OHMS = 100.0  # hwspec/limits.toml, joined_measured
REPEAT_RELATIVE = 0.03
REPEAT_OHMS = 0.2


@dataclass(frozen=True)
class PairOhms:
    """Ohms with current from a to b (`ab`) and back, infinite where nothing flows; `ohms` of both with `u_ohms`."""

    ab: float
    ba: float
    ohms: float
    u_ohms: float
    drop_ab_v: float | None = None
    drop_ba_v: float | None = None

    def turned(self) -> PairOhms:
        return PairOhms(self.ba, self.ab, self.ohms, self.u_ohms, self.drop_ba_v, self.drop_ab_v)

    @property
    def conducts(self) -> bool:
        return not (math.isinf(self.ab) and math.isinf(self.ba))


class WireGrade:
    """Asks for pairs of channels until every low pair is graded.

    ``wanted()`` gives the pairs to measure next, empty when done; ``learn(a, b, reading)`` takes each;
    ``round(leads)`` is the result. `also`: further pairs to measure if they turn out to be joined.
    """

    def __init__(self, links: ChannelLinks, also: Iterable[ChannelPair] = (), joined_ohms: float = JOINED_OHMS) -> None:
        self._links = links
        self._also = [(a, b) if a < b else (b, a) for a, b in also]
        self._limit = joined_ohms
        self._known: dict[ChannelPair, list[PairOhms]] = {}
        place = {point: k for k, point in enumerate(links.points)}
        near = [0] * len(links.points)
        for a, b in links.joined:
            near[place[a]] |= 1 << place[b]
            near[place[b]] |= 1 << place[a]
        self._circuits = [[links.points[k] for k in bits(mask)] for mask in components(near)]

    def learn(self, a: int, b: int, reading: PairOhms) -> None:
        """One reading, a and b in either order."""
        pair, kept = ((a, b), reading) if a < b else ((b, a), reading.turned())
        self._known.setdefault(pair, []).append(kept)

    def wanted(self) -> list[ChannelPair]:
        """Pairs to measure now; a pair comes back for its second reading."""
        need: dict[ChannelPair, None] = {}
        groups = [group for circuit in self._circuits for group in self._groups(circuit, need)]
        if need:
            return list(need)
        for a, b in self._between(groups):
            found = self._known.get((a, b), [])
            if not found or (len(found) < 2 and not self._wire(found[0])):
                need[(a, b)] = None
        for pair in self._also:
            if pair not in self._known and any(pair[0] in g and pair[1] in g for g in groups):
                need[pair] = None
        return list(need)

    def _groups(self, circuit: list[int], need: dict[ChannelPair, None]) -> list[list[int]]:
        """Groups of wire within one scan-grade circuit, as far as readings go; the next missing ones into `need`."""
        groups: list[list[int]] = []
        for channel in circuit:
            home = None
            for group in groups:
                found = self._known.get((group[0], channel))
                if not found:
                    need[(group[0], channel)] = None
                    return groups
                if self._wire(found[0]):
                    home = group
                    break
            if home is None:
                groups.append([channel])
            else:
                home.append(channel)
        return groups

    def _wire(self, reading: PairOhms) -> bool:
        return max(reading.ab, reading.ba) <= self._limit

    def _between(self, groups: list[list[int]]) -> list[ChannelPair]:
        """First channels of two groups between which something may lie: of one circuit, one way, or in doubt."""
        home = {channel: group[0] for group in groups for channel in group}
        circuit = {channel: n for n, members in enumerate(self._circuits) for channel in members}
        firsts = [group[0] for group in groups]
        found = {(a, b) for a, b in combinations(firsts, 2) if circuit[a] == circuit[b]}
        found |= {_across(home, a, b) for a, b in self._links.directed | self._links.varied if home[a] != home[b]}
        return sorted(found)

    def points(self) -> dict[int, tuple[int, int]]:
        """Channel -> (first channel of its circuit of wire, how many channels that has)."""
        found: dict[int, tuple[int, int]] = {}
        for circuit in self._circuits:
            for group in self._groups(circuit, {}):
                found |= dict.fromkeys(group, (group[0], len(group)))
        return found

    def afresh(self) -> WireGrade:
        """The same task with no reading learnt yet."""
        return WireGrade(self._links, self._also, self._limit)

    def round(self, leads: Mapping[int, str]) -> Round:
        """Links at wire grade, parts and ohms, by cavity. Raises ValueError while readings are missing."""
        if self.wanted():
            raise ValueError("readings are missing")
        groups = [group for circuit in self._circuits for group in self._groups(circuit, {})]
        between = {pair: self._known[pair] for pair in self._between(groups)}
        wire = [pair for pair, found in between.items() if self._wire(found[0])]
        joined = set(_pairs(_merged(groups, wire)))
        together = {pair: found for pair, found in between.items() if pair not in wire}
        home = {channel: group[0] for group in groups for channel in group}
        seen = {_across(home, a, b) for a, b in self._links.directed | self._links.varied}
        weak = {pair for pair, found in together.items() if not found[0].conducts}
        directed = {(a, b) for a, b in self._links.directed if _across(home, a, b) in weak}
        directed |= set(_directed(groups, {pair: together[pair][0] for pair in seen & together.keys()}))
        low = {_across(home, a, b) for a, b in self._links.joined | self._links.varied}
        varied = frozenset(low & weak)
        links = ChannelLinks(
            self._links.points, frozenset(joined), frozenset(directed), varied, varied, self._links.silent
        )
        parts = [
            _part(leads, pair, found)
            for pair, found in together.items()
            if pair not in joined and any(r.conducts for r in found)
        ]
        ohms = [
            OhmsReading(leads[a], leads[b], found[0].ohms, found[0].u_ohms)
            for (a, b), found in self._known.items()
            if (a, b) in joined and self._wire(found[0])
        ]
        return Round(links, leads, parts, ohms)


def _across(home: Mapping[int, int], a: int, b: int) -> ChannelPair:
    """The first channels of the groups of two channels, lower first."""
    return min(home[a], home[b]), max(home[a], home[b])


def _directed(groups: list[list[int]], between: Mapping[ChannelPair, PairOhms]) -> Iterator[ChannelPair]:
    """(driven low, answering) for all channels of two groups with a one-way part between them.

    The scan's own levels may lie so near the threshold that some channels of a group answer and others do not.
    """
    members = {group[0]: group for group in groups}
    for (a, b), reading in between.items():
        if math.isinf(reading.ab) != math.isinf(reading.ba):
            driven, answering = (a, b) if math.isinf(reading.ab) else (b, a)
            yield from product(members[driven], members[answering])


def _pairs(groups: Iterable[Iterable[int]]) -> Iterator[ChannelPair]:
    for group in groups:
        yield from combinations(sorted(group), 2)


def _merged(groups: list[list[int]], wire: list[ChannelPair]) -> list[set[int]]:
    """Groups with those joined whose first channels are joined by wire."""
    merged = {group[0]: set(group) for group in groups}
    for a, b in wire:
        if merged[a] is not merged[b]:
            union = merged[a] | merged[b]
            for channel in list(merged):
                if channel in union:
                    merged[channel] = union
    return list({id(group): group for group in merged.values()}.values())


def _part(leads: Mapping[int, str], pair: ChannelPair, found: list[PairOhms]) -> PartReading:
    ab, ba = [r.ab for r in found], [r.ba for r in found]
    stable = _alike(ab) and _alike(ba)
    drops = [r.drop_ab_v if r.ab <= r.ba else r.drop_ba_v for r in found]
    drop = next((value for value in drops if value is not None), None)
    return PartReading(leads[pair[0]], leads[pair[1]], _mean(ab), _mean(ba), drop, stable)


def _alike(values: list[float]) -> bool:
    """True when repeats agree: none conducts, or all within 3 % and 0.2 ohm."""
    if all(map(math.isinf, values)):
        return True
    return max(values) - min(values) <= REPEAT_RELATIVE * min(values) + REPEAT_OHMS


def _mean(values: list[float]) -> float | None:
    finite = [value for value in values if not math.isinf(value)]
    return sum(finite) / len(finite) if finite else None
