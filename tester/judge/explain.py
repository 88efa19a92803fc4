"""Explanations: a handful of physical faults that turn the expected circuits into the measured ones.

An explanation is where terminals sit (a permutation of cavities), circuits bridged, and circuits opened. Given the
permutation, the rest follows: the fewest bridges and openings between two partitions join each group of overlapping
circuits and then cut it, expected + measured - 2 of them for each group.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from tester.harness.cavity import cavity_key, in_order
from tester.harness.netlist import Joiner, Netlist

Circuit = tuple[str, ...]


@dataclass(frozen=True)
class Explanation:
    """One way in which expected became measured.

    moved    (cavity where the terminal belongs, cavity where it sits), in order of the first; a permutation
    bridges  pairs of circuits (cavities as they would be after the moves) that touch
    opens    (cut off, rest): the cavities of one circuit after moves and bridges, parted in two
    """

    moved: tuple[tuple[str, str], ...] = ()
    bridges: tuple[tuple[Circuit, Circuit], ...] = ()
    opens: tuple[tuple[Circuit, Circuit], ...] = ()

    @property
    def cost(self) -> int:
        """Number of elementary faults: exchanges of two terminals, bridges and openings."""
        return swaps_of(dict(self.moved)) + len(self.bridges) + len(self.opens)


def swaps_of(moved: Mapping[str, str]) -> int:
    """Fewest exchanges of two terminals that make this permutation: cavities moved less the number of cycles."""
    return sum(len(cycle) - 1 for cycle in cycles_of(moved))


def cycles_of(moved: Mapping[str, str]) -> list[list[str]]:
    """Cycles of a permutation: the terminal of each cavity listed sits in the next, the last's in the first."""
    left, found = dict(moved), []
    for start in in_order(moved):
        if start not in left or left[start] == start:
            continue
        cycle, at = [start], left.pop(start)
        while at != start:
            cycle.append(at)
            at = left.pop(at)
        found.append(cycle)
    return found


def relabelled(netlist: Netlist, moved: Mapping[str, str]) -> Netlist:
    """The circuits after terminals moved: a cavity is where `moved` puts the terminal that belongs there."""
    return Netlist.of([moved.get(name, name) for name in circuit] for circuit in netlist)


def apply(expected: Netlist, explanation: Explanation) -> Netlist:
    """The circuits that a harness built as expected, with these faults, would show."""
    moved = relabelled(expected, dict(explanation.moved))
    joiner = Joiner(moved.cavities)
    for circuit in moved:
        for name in circuit[1:]:
            joiner.join(circuit[0], name)
    for one, other in explanation.bridges:
        joiner.join(one[0], other[0])
    parts = [frozenset(circuit) for circuit in joiner.circuits()]
    for cut, _ in explanation.opens:
        whole = next(part for part in parts if cut[0] in part)
        parts.remove(whole)
        parts += [frozenset(cut), whole - set(cut)]
    return Netlist.of(part for part in parts if part)


def explained(expected: Netlist, measured: Netlist, moved: Mapping[str, str]) -> Explanation:
    """The explanation with these moves and the fewest bridges and openings. Asserts that it gives the measurement."""
    moves = tuple((a, moved[a]) for a in in_order(moved) if moved[a] != a)
    sitting = relabelled(expected, moved) if moves else expected
    bridges: list[tuple[Circuit, Circuit]] = []
    opens: list[tuple[Circuit, Circuit]] = []
    for wanted, got in overlaps(sitting, measured):
        home = {name: circuit for circuit in wanted for name in circuit}
        joiner = Joiner()
        for cell in got:
            for name in cell[1:]:
                if not _same(joiner, home[cell[0]][0], home[name][0]):
                    joiner.join(home[cell[0]][0], home[name][0])
                    bridges.append((home[cell[0]], home[name]))
        left = set(home)
        for cell in sorted(got, key=lambda c: (len(c), cavity_key(c[0])))[:-1]:
            left -= set(cell)
            opens.append((cell, tuple(in_order(_whole(wanted, cell) & left))))
    found = Explanation(moves, tuple(bridges), tuple(opens))
    if apply(expected, found) != measured:
        raise AssertionError(f"explanation {found} does not give the measurement")
    return found


def _same(joiner: Joiner, a: str, b: str) -> bool:
    joiner.add(a)
    joiner.add(b)
    return joiner.joined(a, b)


def _whole(circuits: list[Circuit], cell: Circuit) -> set[str]:
    """Cavities of all the circuits that a measured circuit takes part in."""
    return {name for circuit in circuits if not set(circuit).isdisjoint(cell) for name in circuit}


def overlaps(expected: Netlist, measured: Netlist) -> list[tuple[list[Circuit], list[Circuit]]]:
    """Groups of expected and measured circuits that share cavities, without those that are equal."""
    right = set(expected.circuits) & set(measured.circuits)
    wanted = [circuit for circuit in expected if circuit not in right]
    got = [circuit for circuit in measured if circuit not in right]
    joiner = Joiner()
    for circuit in wanted + got:
        joiner.add(circuit[0])
        for name in circuit[1:]:
            joiner.join(circuit[0], name)
    groups: dict[str, tuple[list[Circuit], list[Circuit]]] = {}
    for side, circuits in enumerate((wanted, got)):
        for circuit in circuits:
            groups.setdefault(joiner.root(circuit[0]), ([], []))[side].append(circuit)
    return list(groups.values())


def distance(expected: Netlist, measured: Netlist) -> int:
    """Fewest bridges and openings between two netlists of the same cavities."""
    return sum(len(wanted) + len(got) - 2 for wanted, got in overlaps(expected, measured))
