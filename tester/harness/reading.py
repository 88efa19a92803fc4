"""What a scan saw, as values: three-valued links between points, parts, ohms."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from enum import Enum

from tester.harness.netlist import Netlist, Pair


class Link(Enum):
    """What is known of two cavities."""

    JOINED = "joined"
    APART = "apart"
    NOT_SEEN = "not seen"
    DOUBTFUL = "doubtful"


@dataclass(frozen=True)
class PartReading:
    """Something between two circuits that is not wire: resistor, diode, lamp, leakage.

    `a`, `b`: one cavity of each circuit. `ohms_ab` with a driven positive, `ohms_ba` the other way round;
    None where nothing conducted. `drop_v`: voltage at the test current in the conducting direction, None if
    not measured. `stable`: repeats agreed.
    """

    a: str
    b: str
    ohms_ab: float | None
    ohms_ba: float | None
    drop_v: float | None = None
    stable: bool = True


@dataclass(frozen=True)
class OhmsReading:
    """A resistance between two cavities. `ohms`, and `u_ohms`, its standard uncertainty (k = 1)."""

    a: str
    b: str
    ohms: float
    u_ohms: float


@dataclass(frozen=True)
class Measured:
    """Everything one scan (all rounds together) says about the cavities on leads.

    netlist    circuits after contracting what is joined, over every cavity on a lead
    doubtful   pairs whose answers disagreed between directions, repeats or rounds, after re-measuring
    directed   (a, b): b read low while a was driven low, and not the other way round (a diode points b -> a)
    not_seen   pairs of cavities, one representative of each circuit, that no round had on leads together
    parts      what the converter found between circuits; empty on a scan-only board
    ohms       four-wire readings of links, by pair
    proven     cavities whose lead is proven (seen joined to something, or touched)
    grade      "scan" (low means up to 66 kohm) or "wire" (each low pair measured)
    rounds     how many lead maps were used in turn
    unanchored rounds (the first is 0) that saw no joined pair of an earlier round again
    """

    netlist: Netlist
    doubtful: frozenset[Pair] = frozenset()
    directed: frozenset[Pair] = frozenset()
    not_seen: frozenset[Pair] = frozenset()
    parts: tuple[PartReading, ...] = ()
    ohms: Mapping[Pair, OhmsReading] = field(default_factory=dict)
    proven: frozenset[str] = frozenset()
    grade: str = "scan"
    rounds: int = 1
    unanchored: tuple[int, ...] = ()

    def link(self, a: str, b: str) -> Link:
        """What this scan knows of two cavities on leads."""
        here, there = self.netlist.circuit_of(a), self.netlist.circuit_of(b)
        for x, y in self.doubtful:
            if (x in (a, b) and y in (a, b)) or (x in here and y in there) or (y in here and x in there):
                return Link.DOUBTFUL
        if here == there:
            return Link.JOINED
        for x, y in self.not_seen:
            if (x in here and y in there) or (y in here and x in there):
                return Link.NOT_SEEN
        return Link.APART

    def restricted(self, cavities: Iterable[str]) -> Measured:
        """The same reading seen on these cavities only; a pair counts when a cavity of each of its circuits is left."""
        keep = set(cavities)
        if all(name in keep for name in self.netlist.cavities):
            return self
        stand: dict[str, str | None] = {}
        for circuit in self.netlist:
            first = next((name for name in circuit if name in keep), None)
            stand |= {name: name if name in keep else first for name in circuit}

        def pairs(found: frozenset[Pair]) -> frozenset[Pair]:
            left = [(stand[a], stand[b]) for a, b in found]
            return frozenset((a, b) for a, b in left if a is not None and b is not None)

        ends = [(part, stand.get(part.a), stand.get(part.b)) for part in self.parts]
        parts = [replace(part, a=a, b=b) for part, a, b in ends if a is not None and b is not None]
        return replace(
            self,
            netlist=self.netlist.restricted(keep),
            parts=tuple(parts),
            doubtful=pairs(self.doubtful),
            directed=pairs(self.directed),
            not_seen=pairs(self.not_seen),
            proven=self.proven & keep,
        )
