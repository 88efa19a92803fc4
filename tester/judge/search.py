"""Exact search for the fewest faults between two netlists: exchanges of terminals, bridges, openings.

Write e for the number of expected circuits that are wrong, m for the measured ones, c for the groups in which they
overlap. Bridges and openings alone need f = e + m - 2c faults. An exchange of two terminals leaves e and m as they
are and changes c by at most one, so each takes off at most two: with d = |e - m|, which only bridges or openings can
mend, at least (f + d) / 2 faults are needed. The search deepens from that bound. Where the bound leaves nothing to
spare, only exchanges that part a group can be meant: two cells of one group, of which one is used up.

Cavities that share both their expected and their measured circuit are alike, so the size of the smallest explanation
is searched over counts of such cells; the explanations themselves are then listed cavity by cavity along the paths
that are known to reach it. Exchanges with a cavity whose circuit is right cannot belong to an explanation of fewer
than bound + 2 faults, and are not tried.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from tester.harness.netlist import Netlist

Cell = tuple[int, int]
Table = dict[Cell, int]
Key = tuple[tuple[Cell, int], ...]

MOST_FAULTS = 6
MOST_STATES = 200_000
MOST_TIES = 2_000


class Exhausted(Exception):
    """The search saw more states than it may; what it says is then only a bound."""


class Search:
    """Search between the wrong circuits of two netlists of the same cavities.

    `expected`, `measured` are these wrong circuits alone. `lower` is the bound above; `smallest(most)` the least number
    of faults or None when it is above `most`; `moves(cost)` every permutation (cavity where a terminal belongs ->
    cavity where it sits) of that many faults. Raises ValueError when the cavities of the two differ.
    """

    def __init__(self, expected: Netlist, measured: Netlist) -> None:
        right = set(expected.circuits) & set(measured.circuits)
        wanted = [circuit for circuit in expected if circuit not in right]
        got = [circuit for circuit in measured if circuit not in right]
        self.expected, self.measured = Netlist(tuple(wanted)), Netlist(tuple(got))
        self.wanted, self.got = len(wanted), len(got)
        self.place = {name: p for p, circuit in enumerate(got) for name in circuit}
        self.home = {name: a for a, circuit in enumerate(wanted) for name in circuit}
        if self.home.keys() != self.place.keys():
            raise ValueError("expected and measured circuits are not of the same cavities")
        self.start: Table = {}
        for name, a in self.home.items():
            cell = (a, self.place[name])
            self.start[cell] = self.start.get(cell, 0) + 1
        self.extra = abs(self.wanted - self.got)
        self.lower = (self.rest(self.start) + self.extra) // 2
        self._fails: dict[Key, int] = {}
        self._works: dict[Key, int] = {}
        self._states = 0

    def rest(self, table: Table) -> int:
        """Bridges and openings needed when no terminal moves any more."""
        return self._overlap(table)[0]

    def _overlap(self, table: Table) -> tuple[int, list[int]]:
        """`rest`, and the forest of the groups: expected circuit or, after these, measured one -> one further up."""
        up = list(range(self.wanted + self.got))
        groups = len(up)
        for a, p in table:
            while up[a] != a:
                up[a] = a = up[up[a]]
            p += self.wanted
            while up[p] != p:
                up[p] = p = up[up[p]]
            if a != p:
                up[p] = a
                groups -= 1
        return self.wanted + self.got - 2 * groups, up

    def _exchanges(self, table: Table, rest: int, up: list[int], budget: int) -> Iterator[tuple[Cell, Cell, Table]]:
        """Exchanges after which `budget - 1` faults may still do; `rest`, `up` as `_overlap` gives them."""
        if (rest + self.extra) // 2 < budget:
            return exchanges(table)
        group = list(up)
        for a in range(self.wanted):
            while group[a] != group[group[a]]:
                group[a] = group[group[a]]
        return exchanges(table, group)

    def smallest(self, most: int = MOST_FAULTS) -> int | None:
        """Least number of faults, None when more than `most`. Raises Exhausted."""
        for budget in range(self.lower, most + 1):
            if self._within(self.start, budget):
                return budget
        return None

    def _within(self, table: Table, budget: int) -> bool:
        """True when `table` can be mended by at most `budget` faults."""
        self._states += 1
        if self._states > MOST_STATES:
            raise Exhausted
        rest, up = self._overlap(table)
        if rest <= budget:
            return True
        if (rest + self.extra) // 2 > budget:
            return False
        key = tuple(sorted(table.items()))
        if budget <= self._fails.get(key, -1):
            return False
        if budget >= self._works.get(key, budget + 1):
            return True
        found = any(self._within(after, budget - 1) for _, _, after in self._exchanges(table, rest, up, budget))
        if found:
            self._works[key] = min(budget, self._works.get(key, budget))
        else:
            self._fails[key] = max(budget, self._fails.get(key, -1))
        return found

    def moves(self, cost: int) -> tuple[list[dict[str, str]], bool]:
        """Every permutation that belongs to an explanation of `cost` faults, and whether the list is complete.

        `cost` must be the smallest number. Raises Exhausted.
        """
        cells: dict[Cell, set[str]] = {}
        for name, a in self.home.items():
            cells.setdefault((a, self.place[name]), set()).add(name)
        found: dict[tuple[tuple[str, str], ...], dict[str, str]] = {}
        seen: set[tuple[tuple[str, str], ...]] = set()
        complete = self._list(self.start, cells, {}, cost, found, seen)
        return list(found.values()), complete

    def _list(
        self,
        table: Table,
        cells: Mapping[Cell, set[str]],
        holds: dict[str, str],
        budget: int,
        found: dict[tuple[tuple[str, str], ...], dict[str, str]],
        seen: set[tuple[tuple[str, str], ...]],
    ) -> bool:
        """Add every way from here. `holds`: cavity -> the terminal that sits in it, where that is not its own."""
        key = tuple(sorted(holds.items()))
        if key in seen:
            return True
        if len(seen) >= MOST_TIES * 10 or len(found) >= MOST_TIES:
            return False
        seen.add(key)
        complete = True
        rest, up = self._overlap(table)
        if rest == budget:
            found[key] = {terminal: cavity for cavity, terminal in holds.items()}
        if budget == 0:
            return True
        for one, other, after in self._exchanges(table, rest, up, budget):
            if not self._within(after, budget - 1):
                continue
            for x in sorted(cells[one]):
                for y in sorted(cells[other]):
                    moved = dict(cells)
                    for cell, gone in ((one, x), (other, y)):
                        moved[cell] = moved[cell] - {gone}
                    for cell, come in (((one[0], other[1]), y), ((other[0], one[1]), x)):
                        moved[cell] = moved.get(cell, set()) | {come}
                    held = dict(holds)
                    held[x], held[y] = holds.get(y, y), holds.get(x, x)
                    held = {cavity: terminal for cavity, terminal in held.items() if cavity != terminal}
                    complete &= self._list(after, moved, held, budget - 1, found, seen)
        return complete


def exchanges(table: Table, group: list[int] | None = None) -> Iterator[tuple[Cell, Cell, Table]]:
    """Each exchange of a terminal of one cell with one of another that changes anything, and the table after it.

    With `group` (of each expected circuit) only those that may part a group: the others never make more groups.
    """
    cells = sorted(table)
    for n, one in enumerate(cells):
        for other in cells[n + 1 :]:
            if one[0] == other[0] or one[1] == other[1]:
                continue
            if group and (group[one[0]] != group[other[0]] or (table[one] > 1 and table[other] > 1)):
                continue
            after = dict(table)
            for cell in (one, other):
                if after[cell] == 1:
                    del after[cell]
                else:
                    after[cell] -= 1
            for cell in ((one[0], other[1]), (other[0], one[1])):
                after[cell] = after.get(cell, 0) + 1
            yield one, other, after
