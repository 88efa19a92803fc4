"""From a harness, a lead set and the board's cells to connected pieces."""

from __future__ import annotations

from hwspec.virtual.assembly import GROUND, Wiring
from hwspec.virtual.cell import harness_diode
from hwspec.virtual.component import Component
from hwspec.virtual.harness import Harness, Resistor
from hwspec.virtual.leads import Leads
from hwspec.virtual.parts import Parts

BOARD_GROUND = "board ground"
TOUCH_OHMS = 0.5


def point(channel: int) -> str:
    """Name of the board's end of a channel's lead; channel from 1."""
    return f"channel {channel}"


class _Builder:
    def __init__(self, parts: Parts, leads: Leads | None, harness: Harness, touches: list[tuple[str, str]]) -> None:
        self.parts = parts
        self.harness = harness
        self.resistors = list(harness.resistors)
        self.alias: dict[str, str] = {}
        if leads is not None:
            self._lay(leads)
        self.resistors += [Resistor(self._name(a), self._name(b), TOUCH_OHMS) for a, b in touches]
        self.near: dict[str, set[str]] = {point(c + 1): set() for c in range(len(parts.cells))}
        self._connect()

    def _lay(self, leads: Leads) -> None:
        for channel, cavity in leads.channels.items():
            ohms = leads.ohms.get(channel, 0.0)
            if ohms:
                self.resistors.append(Resistor(point(channel), cavity, ohms))
            else:
                self.alias[cavity] = point(channel)
        for group in leads.jumpers:
            for other in group[1:]:
                self.resistors.append(Resistor(point(group[0]), point(other), 0.05))

    def _name(self, node: str) -> str:
        return self.alias.get(node, node)

    def _connect(self) -> None:
        h = self.harness
        pairs = [(r.a, r.b) for r in self.resistors] + [(d.a, d.b) for d in h.dropouts]
        pairs += [(d.anode, d.cathode) for d in h.diodes] + [(v.at, v.to or BOARD_GROUND) for v in h.voltages]
        for first, second in [*pairs, *((node, BOARD_GROUND) for node in h.capacitors)]:
            a, b = self._name(first), self._name(second)
            self.near.setdefault(a, set())
            self.near.setdefault(b, set())
            if BOARD_GROUND not in (a, b):
                self.near[a].add(b)
                self.near[b].add(a)
        self.near.pop(BOARD_GROUND, None)

    def pieces(self) -> list[list[str]]:
        """Connected groups of nodes, those with a channel only; ground joins nothing."""
        seen: set[str] = set()
        found = []
        for first in self.near:
            if first in seen:
                continue
            seen.add(first)
            group, front = [first], [first]
            while front:
                for other in sorted(self.near[front.pop()]):
                    if other not in seen:
                        seen.add(other)
                        group.append(other)
                        front.append(other)
            if any(name.startswith("channel ") for name in group):
                found.append(group)
        return found

    def wirings(self) -> list[Wiring]:
        """One Wiring for each piece, filled."""
        home: dict[str, tuple[Wiring, int]] = {}
        made = []
        for group in self.pieces():
            wiring = Wiring(len(group), [], nf=[0.0] * len(group))
            made.append(wiring)
            for number, name in enumerate(group):
                home[name] = (wiring, number)
        for index, cell in enumerate(self.parts.cells):
            wiring, node = home[point(index + 1)]
            wiring.cells.append((index, cell, node))
            wiring.nf[node] += cell.nf
        self._fill(home)
        return made

    def _fill(self, home: dict[str, tuple[Wiring, int]]) -> None:
        def where(a: str, b: str) -> tuple[Wiring, int, int] | None:
            ends = [home.get(self._name(name)) for name in (a, b)]
            whose = ends[0] or ends[1]
            if whose is None:
                return None
            i, j = (GROUND if end is None else end[1] for end in ends)
            return whose[0], i, j

        for r in self.resistors:
            if (at := where(r.a, r.b)) is not None:
                wiring, i, j = at
                wiring.resistors.append((i, j, 1 / r.ohms, r.metal and i >= 0 and j >= 0))
                for node in (i, j):
                    if node >= 0:
                        wiring.nf[node] += r.nf / 2
        for drop in self.harness.dropouts:
            if (at := where(drop.a, drop.b)) is not None:
                at[0].dropouts.append((at[1], at[2], 1 / drop.ohms, drop))
        for diode in self.harness.diodes:
            if (at := where(diode.anode, diode.cathode)) is not None:
                at[0].diodes.append((at[1], at[2], harness_diode(diode.drop_v)))
        for source in self.harness.voltages:
            if (at := where(source.at, source.to or BOARD_GROUND)) is not None:
                at[0].sources.append((at[1], at[2], 1 / source.ohms, source.volts))
        for name, nf in self.harness.capacitors.items():
            if (at := where(name, BOARD_GROUND)) is not None:
                at[0].nf[at[1]] += nf


def build(
    parts: Parts, leads: Leads | None, harness: Harness, cards: int, touches: list[tuple[str, str]] | None = None
) -> list[Component]:
    """The pieces of a board with this harness on it. `touches`: pairs of nodes held together by a probe."""
    builder = _Builder(parts, leads, harness, touches or [])
    return [Component(wiring, cards) for wiring in builder.wirings()]
