"""A piece of harness as a matrix: its shape, its filling for one state, and its reduction to the ports it touches."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from hwspec.virtual.cell import HIGH, LOW, Star, diode_law
from hwspec.virtual.elimination import Elimination
from hwspec.virtual.harness import Dropout
from hwspec.virtual.multiplexer import FORCE, SENSE_MINUS, SENSE_PLUS
from hwspec.virtual.parts import CLAMP, PER_CARD, PIN_CLAMP, Cell

GROUND = -1


def supply(card: int) -> int:
    """Node number that stands for the supply of a card in a list of diodes."""
    return -2 - card


@dataclass
class Wiring:
    """What a piece is made of, by local node number; node -1 is ground.

    resistors  (i, j, siemens, metal)          dropouts  (i, j, siemens, Dropout)
    diodes     (anode, cathode, law)           sources   (i, j, siemens, volts from j to i)
    cells      (channel index, Cell, node)     nf        capacitance of each node to ground
    """

    nodes: int
    cells: list[tuple[int, Cell, int]]
    resistors: list[tuple[int, int, float, bool]] = field(default_factory=list)
    dropouts: list[tuple[int, int, float, Dropout]] = field(default_factory=list)
    diodes: list[tuple[int, int, tuple[float, float, float]]] = field(default_factory=list)
    sources: list[tuple[int, int, float, float]] = field(default_factory=list)
    nf: list[float] = field(default_factory=list)


@dataclass
class Seat:
    """Where a piece sits: the `cards` it has cells on, the port number `bus0` of S+, own cell on each bus or -1."""

    cards: list[int]
    bus0: int
    muxed: list[int]


@dataclass
class Reduction:
    """A piece in one state: node voltages are v0 + sum of (port voltage times w[port]).

    `b`: coupling of nodes to each port; `self_g`, `self_i`: what the piece's cells load on the ports directly.
    `tau`: time constant of each net, ns. `pins`: (constant, TP, rail, force) of each cell's pin.
    """

    v0: list[float]
    w: dict[int, list[float]]
    b: dict[int, list[float]]
    self_g: dict[tuple[int, int], float]
    self_i: dict[int, float]
    tau: list[float]
    stars: list[Star]
    _norton: tuple[dict[tuple[int, int], float], dict[int, float]] | None = None

    def values(self, ports: Sequence[float]) -> list[float]:
        """Node voltages at given port voltages."""
        out = self.v0
        for port, weights in self.w.items():
            u = ports[port]
            if u:
                out = [v + u * x for v, x in zip(out, weights, strict=True)]
        return out

    def norton(self) -> tuple[dict[tuple[int, int], float], dict[int, float]]:
        """Conductance matrix between the touched ports, and the current that the piece feeds into each."""
        if self._norton is None:
            self._norton = self._reduced()
        return self._norton

    def _reduced(self) -> tuple[dict[tuple[int, int], float], dict[int, float]]:
        matrix: dict[tuple[int, int], float] = {}
        current: dict[int, float] = {}
        for p, couple in self.b.items():
            used = [(i, g) for i, g in enumerate(couple) if g]
            current[p] = self.self_i.get(p, 0.0) + sum(g * self.v0[i] for i, g in used)
            for q, weights in self.w.items():
                matrix[p, q] = self.self_g.get((p, q), 0.0) - sum(g * weights[i] for i, g in used)
        return matrix, current


class Shape:
    """A piece with certain dropouts open and certain cells written out in full: what no pin and no port changes."""

    def __init__(self, wiring: Wiring, open_mask: int, full: frozenset[int]) -> None:
        self.nodes = wiring.nodes + 3 * len(full)
        self.full = {k: wiring.nodes + 3 * place for place, k in enumerate(sorted(full))}
        edges = [(i, j, g, metal) for i, j, g, metal in wiring.resistors]
        edges += [(i, j, g, True) for n, (i, j, g, _) in enumerate(wiring.dropouts) if not open_mask >> n & 1]
        self.diodes = list(wiring.diodes)
        for k, first in self.full.items():
            channel, cell, tp = wiring.cells[k]
            n, p, m = first, first + 1, first + 2
            edges += [(tp, n, 1 / cell.series, True), (n, p, 1 / cell.pin_series, True), (tp, m, 1 / cell.sense, True)]
            rail = supply(channel // PER_CARD)
            for node, law in ((n, CLAMP), (p, PIN_CLAMP), (m, PIN_CLAMP)):
                self.diodes += [(node, rail, law), (GROUND, node, law)]
        between = [(edge[0], edge[1]) for edge in edges]
        between += [(diode[0], diode[1]) for diode in self.diodes] + [(s[0], s[1]) for s in wiring.sources]
        self.elimination = Elimination(self.nodes, [(i, j) for i, j in between if i >= 0 and j >= 0])
        self._fill(wiring, edges)
        self._nets(wiring, edges)

    def _fill(self, wiring: Wiring, edges: list[tuple[int, int, float, bool]]) -> None:
        self.diag = [1e-13] * self.nodes
        self.rhs = [0.0] * self.nodes
        self.outside = [0.0] * self.nodes
        self.joins = [0.0] * self.elimination.given
        for i, j, g, metal in edges:
            self.join(self.diag, self.joins, i, j, g)
            if not metal:
                self.outside[i] += g
                self.outside[j] += g
        for i, j, g, volts in wiring.sources:
            self.join(self.diag, self.joins, i, j, g)
            for node, flow in ((i, g * volts), (j, -g * volts)):
                if node >= 0:
                    self.rhs[node] += flow
                    self.outside[node] += g

    def join(self, diag: list[float], joins: list[float], i: int, j: int, g: float) -> None:
        """Add a conductance between two nodes; a negative one is at a known voltage."""
        if i >= 0:
            diag[i] += g
        if j >= 0:
            diag[j] += g
        if i >= 0 and j >= 0:
            joins[self.elimination.slot[i, j]] += g

    def _nets(self, wiring: Wiring, edges: list[tuple[int, int, float, bool]]) -> None:
        up = list(range(self.nodes))

        def top(node: int) -> int:
            while up[node] != node:
                node = up[node]
            return node

        for i, j, _, metal in edges:
            if metal:
                up[top(i)] = top(j)
        numbers: dict[int, int] = {}
        self.net = [numbers.setdefault(top(node), len(numbers)) for node in range(self.nodes)]
        self.nf = [1e-4] * len(numbers)
        for node, nf in enumerate(wiring.nf):
            self.nf[self.net[node]] += nf


def known(v: Sequence[float], node: int, supplies: Sequence[float]) -> float:
    """Voltage of a node, of ground (-1) or of a card's supply (below)."""
    if node >= 0:
        return v[node]
    return 0.0 if node == GROUND else supplies[-2 - node]


class Assembly:
    """One matrix being filled: diagonal, joins, right-hand side and one column for each port touched."""

    def __init__(self, seat: Seat, shape: Shape, supplies: Sequence[float]) -> None:
        self.seat, self.shape, self.supplies = seat, shape, supplies
        self.diag = list(shape.diag)
        self.joins = list(shape.joins)
        self.rhs = list(shape.rhs)
        self.outside = list(shape.outside)
        self.columns: dict[int, list[float]] = {card: [0.0] * shape.nodes for card in seat.cards}
        self.self_g: dict[tuple[int, int], float] = {}
        self.self_i: dict[int, float] = {}
        self.stars: list[Star] = []

    def _column(self, port: int) -> list[float]:
        if port not in self.columns:
            self.columns[port] = [0.0] * self.shape.nodes
        return self.columns[port]

    def _load(self, p: int, q: int, g: float) -> None:
        self.self_g[p, q] = self.self_g.get((p, q), 0.0) + g
        if p != q:
            self.self_g[q, p] = self.self_g.get((q, p), 0.0) + g

    def _to_port(self, node: int, port: int, g: float) -> None:
        self.diag[node] += g
        self.outside[node] += g
        self._column(port)[node] += g
        self._load(port, port, g)

    def add_star(self, tp: int, card: int, seen: Star, forced: bool) -> None:
        """A cell by its reduced star."""
        self.diag[tp] += seen.tp_g
        self.outside[tp] += seen.tp_g
        self.rhs[tp] += seen.tp_i
        self.columns[card][tp] += seen.tp_rail
        self._load(card, card, seen.rail_g)
        self.self_i[card] = self.self_i.get(card, 0.0) + seen.rail_i
        if forced:
            port = self.seat.bus0 + FORCE
            self._column(port)[tp] += seen.tp_force
            self._load(port, port, seen.force_g)
            self._load(card, port, -seen.rail_force)
            self.self_i[port] = self.self_i.get(port, 0.0) + seen.force_i

    def add_sense(self, tp: int, g: tuple[float, float, float, float, float, float], plus: bool, minus: bool) -> None:
        """The sense resistor of a cell that is on one or both sense buses."""
        first, second = self.seat.bus0 + SENSE_PLUS, self.seat.bus0 + SENSE_MINUS
        self.diag[tp] += g[0]
        self.outside[tp] += g[0]
        if plus:
            self._column(first)[tp] += g[1]
            self._load(first, first, g[3])
        if minus:
            self._column(second)[tp] += g[2]
            self._load(second, second, g[4])
        if plus and minus:
            self._load(first, second, -g[5])

    def add_full(self, k: int, card: int, cell: Cell, forced: bool, pulled: bool, drive: int) -> None:
        """A cell written out with its nodes N, P and M (their resistors and clamps are in the shape)."""
        n = self.shape.full[k]
        pin, sense = n + 1, n + 2
        self._to_port(n, card, 1 / cell.pull)
        self.rhs[pin] += cell.leak_a
        vdd = self.supplies[card]
        if drive:
            out = 1 / (cell.low if drive == LOW else cell.high)
            self.diag[pin] += out
            self.outside[pin] += out
            self.rhs[pin] += out * vdd if drive == HIGH else 0.0
        if pulled:
            self.diag[pin] += 1 / cell.chip_pull
            self.rhs[pin] += vdd / cell.chip_pull
        bus = self.seat.bus0
        if forced:
            self._to_port(pin, bus + FORCE, 1 / cell.mux[2])
        for tree in (SENSE_PLUS, SENSE_MINUS):
            if self.seat.muxed[tree] == k:
                self._to_port(sense, bus + tree, 1 / cell.mux[tree])

    def add_diode(self, anode: int, cathode: int, law: tuple[float, float, float], volts: float) -> None:
        """A diode linearised at `volts`."""
        current, g = diode_law(volts, *law)
        rest = current - g * volts
        self.add_conductance(anode, cathode, g)
        for node, flow in ((anode, -rest), (cathode, rest)):
            if node >= 0:
                self.rhs[node] += flow

    def add_conductance(self, i: int, j: int, g: float) -> None:
        """A conductance between two nodes, ground or a supply among them."""
        self.shape.join(self.diag, self.joins, i, j, g)
        for node, other in ((i, j), (j, i)):
            if node >= 0:
                self.rhs[node] += g * known((), other, self.supplies) if other < 0 else 0.0
                self.outside[node] += g

    def solved(self, further: Sequence[list[float]] = ()) -> Reduction:
        """Eliminate and give the reduction. `further`: right-hand sides to overwrite with their solutions as well."""
        shape = self.shape
        leaving = [1e-12] * len(shape.nf)
        for node, g in enumerate(self.outside):
            leaving[shape.net[node]] += g
        tau = [nf / g for nf, g in zip(shape.nf, leaving, strict=True)]
        couple = {port: list(column) for port, column in self.columns.items()}
        shape.elimination.solve(self.diag, self.joins, [self.rhs, *self.columns.values(), *further])
        return Reduction(self.rhs, self.columns, couple, self.self_g, self.self_i, tau, self.stars)
