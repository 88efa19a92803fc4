"""One connected piece of harness with the cells on it, and its present state.

Ports are what all pieces share: the pull-up rail of each card, the S+, S- and force buses. A linear piece is reduced
once for each state of its pins and kept; a piece with diodes, or with a cell pushed outside its supply, goes through
Newton's method.
"""

from __future__ import annotations

from collections.abc import Sequence

from hwspec.virtual.assembly import GROUND, Assembly, Reduction, Seat, Shape, Wiring, known
from hwspec.virtual.cell import HIGH, LOW, RELEASED, Star, diode_law, limited, sense_star, star
from hwspec.virtual.junctions import MOST, WHOLE_NEAR_V, Junctions, junctions
from hwspec.virtual.multiplexer import FORCE, SENSE_MINUS, SENSE_PLUS
from hwspec.virtual.parts import PER_CARD, VDD

_KEEP = 600
_EDGE = 0.02


class Component:
    """A piece and its present state: pins, multiplexers, dropouts, voltages and how they settle.

    `low`, `high`, `pull`: bit masks over the piece's own cells; `muxed[tree]`: own cell on that bus, -1 for none.
    """

    def __init__(self, wiring: Wiring, cards: int) -> None:
        self.wiring = wiring
        self.cards = sorted({channel // PER_CARD for channel, _, _ in wiring.cells})
        self.low = self.high = self.pull = self.open_mask = 0
        self.muxed = [-1, -1, -1]
        self.seat = Seat(self.cards, cards, self.muxed)
        self.full: frozenset[int] = frozenset()
        self.dirty = True
        self.since = 0
        self.settled_at = 0
        self.start: list[float] | None = None
        self.final: list[float] = []
        self.version = -1
        self.fight_since = -1
        self.live = False
        self.reduction: Reduction | None = None
        self.clamp_a: dict[int, float] = {}
        edge = any(abs(cell.leak_a) * cell.pull > _EDGE for _, cell, _ in wiring.cells)
        self.may_strain = edge or bool(wiring.sources)
        self._junctions: list[float] = []
        self._kept: dict[tuple[object, ...], tuple[Reduction, dict[int, float]]] = {}
        self._rests: dict[tuple[object, ...], Junctions] = {}
        self._shapes: dict[tuple[int, frozenset[int]], Shape] = {}
        self._idle = [star(cell, RELEASED, False, False) for _, cell, _ in wiring.cells]
        self._stars: dict[tuple[int, int, bool, bool], Star] = {}
        self.chips: dict[int, int] = {}
        for channel, _, _ in wiring.cells:
            self.chips[channel // 16] = self.chips.get(channel // 16, 0) | 1 << channel % 16
        self.places = [
            (node, channel // PER_CARD, channel // 16, 1 << channel % 16) for channel, _, node in wiring.cells
        ]

    @property
    def nonlinear(self) -> bool:
        """True when diodes or clamps take part."""
        return bool(self.wiring.diodes or self.full)

    def shape(self) -> Shape:
        """Topology for the present dropouts and full cells."""
        key = (self.open_mask, self.full)
        if key not in self._shapes:
            self._shapes[key] = Shape(self.wiring, self.open_mask, self.full)
        return self._shapes[key]

    def drive_of(self, k: int) -> int:
        """RELEASED, LOW or HIGH of own cell `k`."""
        return LOW if self.low >> k & 1 else HIGH if self.high >> k & 1 else RELEASED

    def _special(self) -> list[int]:
        mask = self.low | self.high | self.pull
        for k in self.muxed:
            if k >= 0:
                mask |= 1 << k
        found = []
        while mask:
            bit = mask & -mask
            found.append(bit.bit_length() - 1)
            mask ^= bit
        return found

    def _star(self, k: int, forced: bool) -> Star:
        key = (k, self.drive_of(k), bool(self.pull >> k & 1), forced)
        found = self._stars.get(key)
        if found is None:
            found = self._stars[key] = star(self.wiring.cells[k][1], key[1], key[2], forced)
        return found

    def reduce(self, ports: Sequence[float], supplies: Sequence[float]) -> Reduction:
        """The reduction for the present state; for a nonlinear piece linearised at the solution for `ports`."""
        key: tuple[object, ...] = (self.low, self.high, self.pull, self.open_mask, *self.muxed)
        if self.nonlinear:
            key = (*key, self.full, *ports, *supplies)
        found = self._kept.get(key)
        if found is None:
            if len(self._kept) >= _KEEP:
                self._kept.clear()
            reduction = self._newton(ports, supplies) if self.nonlinear else self._assemble(supplies)
            found = self._kept[key] = (reduction, self.clamp_a)
        self.reduction, self.clamp_a = found
        return self.reduction

    def _assemble(self, supplies: Sequence[float], junctions: Sequence[float] = ()) -> Reduction:
        work = self._filled(supplies)
        for (anode, cathode, law), volts in zip(work.shape.diodes, junctions, strict=False):
            work.add_diode(anode, cathode, law, volts)
        return work.solved()

    def _filled(self, supplies: Sequence[float]) -> Assembly:
        """The matrix of the present state without its diodes."""
        shape = self.shape()
        work = Assembly(self.seat, shape, supplies)
        special = set(self._special())
        for k, (channel, cell, tp) in enumerate(self.wiring.cells):
            card = channel // PER_CARD
            forced = self.muxed[FORCE] == k
            if k in shape.full:
                work.stars.append(self._idle[k])
                work.add_full(k, card, cell, forced, bool(self.pull >> k & 1), self.drive_of(k))
                continue
            seen = self._star(k, forced) if k in special else self._idle[k]
            work.stars.append(seen)
            work.add_star(tp, card, seen, forced)
            plus, minus = self.muxed[SENSE_PLUS] == k, self.muxed[SENSE_MINUS] == k
            if plus or minus:
                work.add_sense(tp, sense_star(cell, plus, minus), plus, minus)
        return work

    def _settle_junctions(self, ports: Sequence[float], supplies: Sequence[float]) -> None:
        """Few junctions: solve them among themselves first."""
        key = (self.low, self.high, self.pull, self.open_mask, *self.muxed, self.full, *supplies)
        found = self._rests.get(key)
        if found is None:
            if len(self._rests) >= _KEEP:
                self._rests.clear()
            found = self._rests[key] = junctions(self._filled(supplies))
        found.settle(ports, self._junctions)

    def _newton(self, ports: Sequence[float], supplies: Sequence[float]) -> Reduction:
        shape = self.shape()
        if len(self._junctions) != len(shape.diodes):
            self._junctions = [0.0] * len(shape.diodes)
        if len(shape.diodes) <= MOST:
            self._settle_junctions(ports, supplies)
        at = self._junctions
        found = self._assemble(supplies, at)
        for _ in range(200):
            v = found.values(ports)
            worst = 0.0
            for n, (anode, cathode, law) in enumerate(shape.diodes):
                across = known(v, anode, supplies) - known(v, cathode, supplies)
                step = limited(across, at[n], law[0], law[1])
                worst = max(worst, abs(across - at[n]))
                at[n] = step
            if worst < WHOLE_NEAR_V:
                break
            found = self._assemble(supplies, at)
        self.clamp_a = dict.fromkeys(self.cards, 0.0)
        for (_, cathode, law), volts in zip(shape.diodes, at, strict=True):
            if cathode < GROUND:
                self.clamp_a[-2 - cathode] += diode_law(volts, *law)[0]
        return found

    def strained(self, v: list[float], ports: Sequence[float]) -> set[int]:
        """Own cells whose clamp node would lie outside the supply, and which must be written out in full."""
        found = set()
        stars = self.reduction.stars if self.reduction else self._idle
        force = ports[self.seat.bus0 + FORCE]
        for k, (node, card, _, _) in enumerate(self.places):
            if k not in self.full:
                c, tp, rail, bus = stars[k].node
                volts = c + tp * v[node] + rail * ports[card] + bus * force
                if not -_EDGE <= volts <= VDD + _EDGE:
                    found.add(k)
        return found

    def pin_volts(self, k: int, v: Sequence[float], ports: Sequence[float]) -> float:
        """Voltage at the pin of own cell `k` for node voltages `v`."""
        first = self.shape().full.get(k) if self.full else None
        if first is not None:
            return v[first + 1]
        assert self.reduction is not None
        node, card, _, _ = self.places[k]
        c, tp, rail, bus = self.reduction.stars[k].pin
        return c + tp * v[node] + rail * ports[card] + (bus * ports[self.seat.bus0 + FORCE] if bus else 0.0)
