"""What all pieces share: the rail of each card, the S+, S- and force buses, and what the main board hangs on them."""

from __future__ import annotations

from collections.abc import Sequence

from hwspec.virtual.assembly import Reduction
from hwspec.virtual.component import Component
from hwspec.virtual.elimination import solve_dense
from hwspec.virtual.multiplexer import FORCE, SENSE_MINUS, SENSE_PLUS
from hwspec.virtual.parts import VDD, Parts

_SWITCH_OHMS = 60.0
_TINY = 1e-10
CURVED_NEAR_V = 1e-7
RAIL_RELEASED = 2


class Ports:
    """Port numbers: 0..cards-1 the rails, then S+, S-, force; after them inner nodes of the main board.

    `volts` holds all port voltages after `solve`; `version` grows with each solution. `spare`: state of the spare
    reference cell (0 off, 1 current, 2 no current).
    """

    def __init__(self, parts: Parts, cards: int) -> None:
        self.parts = parts
        self.cards = cards
        self.count = cards + 3
        self.plus, self.minus, self.force = cards + SENSE_PLUS, cards + SENSE_MINUS, cards + FORCE
        self.single, self.top, self.bottom = cards + 3, cards + 4, cards + 5
        self.spare = 0
        self.forget()
        self._load: tuple[tuple[int, int], float, float] | None = None
        self._own: tuple[tuple[object, ...], list[list[float]], list[float]] | None = None
        self._fixed = [[0.0] * self.count, [VDD] * cards + [0.0] * 3]

    def forget(self) -> None:
        """Start afresh."""
        self._hung: Sequence[Component] = ()
        self._counted: dict[Component, Reduction] = {}
        self._matrix: list[list[float]] = []
        self._feed: list[float] = []
        self.volts = [VDD / 2] * self.cards + [0.0] * 6
        self.stale = True
        self.version = 0

    def fixed(self, rail: int) -> list[float]:
        """Port voltages when the rail is driven and no bus is connected."""
        return self._fixed[rail]

    def set_load(self, inputs: tuple[int, int], differential_ohms: float, common_ohms: float) -> None:
        """The converter looks at these inputs and loads them."""
        load = (inputs, differential_ohms, common_ohms)
        if load != self._load:
            self._load, self.stale = load, True

    def input_volts(self, number: int) -> float:
        """End value at a converter input."""
        return self.volts[(self.plus, self.minus, self.force, self.single)[number]]

    def solve(self, hung: Sequence[Component], moved: set[Component], rail: int, supplies: Sequence[float]) -> None:
        """Solve all ports with the pieces in `hung` on them. `moved`: those that changed since the last solution."""
        soft = rail == RAIL_RELEASED or self.parts.rail_ohms > 0
        held = {} if soft else dict.fromkeys(range(self.cards), VDD if rail == 1 else 0.0)
        for card, volts in held.items():
            self.volts[card] = volts
        size = self.cards + 6
        board, board_feed = self._main_board(rail, supplies)
        self._keep_sum(hung, moved, supplies)
        curved = [piece for piece in self._hung if piece.nonlinear]
        feed = [a + b for a, b in zip(board_feed, self._feed, strict=True)]
        own = [[a + b for a, b in zip(*rows, strict=True)] for rows in zip(board, self._matrix, strict=True)]
        free = [p for p in range(size if self.parts.has_converter else self.cards) if p not in held]
        for _ in range(40):
            matrix, current = [list(row) for row in own], list(feed)
            for piece in curved:
                _add(matrix, current, *piece.reduce(self.volts, supplies).norton())
            rhs = [current[p] - sum(matrix[p][q] * held[q] for q in held) for p in free]
            found = solve_dense([[matrix[p][q] for q in free] for p in free], rhs)
            worst = max(abs(self.volts[p] - v) for p, v in zip(free, found, strict=True))
            for p, v in zip(free, found, strict=True):
                self.volts[p] = v
            if not curved or worst < CURVED_NEAR_V:
                break
        self.stale = False
        self.version += 1

    def _keep_sum(self, hung: Sequence[Component], moved: set[Component], supplies: Sequence[float]) -> None:
        """Keep the sum of what all linear pieces put on the ports; only pieces that changed are taken off and added."""
        if hung is not self._hung:
            size = self.cards + 6
            self._hung, moved = hung, set(hung)
            self._matrix = [[0.0] * size for _ in range(size)]
            self._feed = [0.0] * size
            self._counted = {}
        for piece in moved:
            counted = self._counted.pop(piece, None)
            if counted is not None:
                _add(self._matrix, self._feed, *counted.norton(), -1.0)
            if not piece.nonlinear:
                self._counted[piece] = piece.reduce(self.volts, supplies)
                _add(self._matrix, self._feed, *self._counted[piece].norton())

    def _main_board(self, rail: int, supplies: Sequence[float]) -> tuple[list[list[float]], list[float]]:
        key = (rail, self.spare, self._load, *supplies)
        if self._own is None or self._own[0] != key:
            self._own = (key, *self._filled_in(rail, supplies))
        return self._own[1], self._own[2]

    def _filled_in(self, rail: int, supplies: Sequence[float]) -> tuple[list[list[float]], list[float]]:
        size = self.cards + 6
        matrix = [[0.0] * size for _ in range(size)]
        feed = [0.0] * size

        def ground(p: int, g: float, volts: float = 0.0) -> None:
            matrix[p][p] += g
            feed[p] += g * volts

        def join(p: int, q: int, g: float) -> None:
            matrix[p][p] += g
            matrix[q][q] += g
            matrix[p][q] -= g
            matrix[q][p] -= g

        parts = self.parts
        for card in range(self.cards):
            if rail == RAIL_RELEASED or not parts.rail_ohms:
                ground(card, 1 / parts.divider, supplies[card] / 2)
            else:
                ground(card, 1 / parts.rail_ohms, VDD if rail else 0.0)
        for tree, port in enumerate((self.plus, self.minus, self.force)):
            ground(port, _TINY)
            feed[port] += parts.bus_leak_a[tree]
        ground(self.force, 1 / parts.reference)
        join(self.plus, self.single, 1 / parts.single_ended)
        ground(self.top, _TINY)
        ground(self.bottom, _TINY)
        if self.spare:
            join(self.top, self.bottom, 1 / parts.spare)
            join(self.bottom, self.force, 1 / _SWITCH_OHMS)
            join(self.top, self.plus, 1 / (10e3 + _SWITCH_OHMS))
            join(self.bottom, self.minus, 1 / (10e3 + _SWITCH_OHMS))
            if self.spare == 1:
                ground(self.top, 1 / parts.spare_series, VDD)
        if self._load is not None:
            inputs, differential, common = self._load
            at = [(self.plus, self.minus, self.force, self.single)[n] for n in inputs if n >= 0]
            for port in at:
                ground(port, 1 / common)
            if len(at) == 2:
                join(at[0], at[1], 1 / differential)
            else:
                ground(at[0], 1 / differential)
        return matrix, feed


def _add(
    matrix: list[list[float]],
    feed: list[float],
    extra: dict[tuple[int, int], float],
    current: dict[int, float],
    sign: float = 1.0,
) -> None:
    for (p, q), g in extra.items():
        matrix[p][q] += sign * g
    for p, amps in current.items():
        feed[p] += sign * amps
