"""The whole circuit as the chips see it: pin levels at any moment, voltages at the converter, faults.

Voltages settle: each net moves from where it was towards its new end value with the time constant of its capacitance
and everything that leaves it. A level between the thresholds of a pin is a matter of chance (seeded) at each read.
"""

from __future__ import annotations

import math
import random
from collections.abc import Sequence

from hwspec.virtual import faults, strain
from hwspec.virtual.clock import NEVER, Clock
from hwspec.virtual.component import Component
from hwspec.virtual.multiplexer import FORCE, SENSE_MINUS, SENSE_PLUS
from hwspec.virtual.parts import RAIL_LOAD_A, SHUNT_OHMS, SHUNT_V, VDD, Parts
from hwspec.virtual.ports import Ports
from hwspec.virtual.trace import Trace

RAIL_LOW, RAIL_HIGH, RAIL_RELEASED = 0, 1, 2
LIVE_HIGH_V, LIVE_LOW_V = 0.6, -0.3
_NEAR_V = 1e-5


class Circuit:
    """Cells, harness and buses. Channels count from 0 here; chips hold 16 of them."""

    def __init__(self, parts: Parts, pieces: list[Component], clock: Clock, trace: Trace, seed: int = 0) -> None:
        self.parts = parts
        self.clock = clock
        self.trace = trace
        self.channels = len(parts.cells)
        self.cards = (self.channels + 63) // 64
        self.rail = RAIL_RELEASED
        self.supplies = [VDD] * self.cards
        self.ports = Ports(parts, self.cards)
        self.muxed = [-1, -1, -1]
        self._rng = random.Random(f"levels {seed}")
        self.words: list[int] = []
        self.drive = [0] * self.channels
        self.pulled = [False] * self.channels
        self.install(pieces)

    # -- harness ------------------------------------------------------------------------------------------------------

    def install(self, pieces: list[Component]) -> None:
        """Put another set of pieces on the board; pins and multiplexers keep their state."""
        self.pieces = pieces
        self.home: list[tuple[Component, int]] = [(pieces[0], 0)] * self.channels
        for piece in pieces:
            for k, (channel, _, _) in enumerate(piece.wiring.cells):
                self.home[channel] = (piece, k)
        self.words = [0] * ((self.channels + 15) // 16)
        self._dropping = [piece for piece in pieces if piece.wiring.dropouts]
        self._next_edge = NEVER
        for piece in self._dropping:
            piece.open_mask = self._open_mask(piece)
        self._find_live()
        for channel, drive in enumerate(self.drive):
            self._set_masks(channel, drive, self.pulled[channel])
        for tree, channel in enumerate(self.muxed):
            if channel >= 0:
                piece, k = self.home[channel]
                piece.muxed[tree] = k
        self.ports.forget()
        self.active = set(pieces)
        self._moved: set[Component] = set()
        self._schedule()

    def _find_live(self) -> None:
        """Which pieces carry a voltage from outside: what a point shows with the rail at 0 V."""
        ports = [0.0] * self.ports.count
        for piece in self.pieces:
            if piece.wiring.sources:
                volts = self._at_rest(piece, ports)
                shown = [volts[node] for _, _, node in piece.wiring.cells]
                piece.live = any(not LIVE_LOW_V <= v <= LIVE_HIGH_V for v in shown)
                piece.full = frozenset()

    def _at_rest(self, piece: Component, ports: Sequence[float]) -> list[float]:
        volts = piece.reduce(ports, self.supplies).values(ports)
        strained = piece.strained(volts, ports)
        if strained:
            piece.full = piece.full | strained
            volts = piece.reduce(ports, self.supplies).values(ports)
        return volts

    # -- what chips change --------------------------------------------------------------------------------------------

    def set_pins(self, chip: int, mask: int, iodir: int, olat: int, gppu: int) -> None:
        """Pins of an expander changed: those in `mask` now follow these registers."""
        base = chip * 16
        while mask:
            bit = mask & -mask
            mask ^= bit
            channel = base + bit.bit_length() - 1
            if channel < self.channels:
                self.set_pin(channel, 0 if iodir & bit else 2 if olat & bit else 1, bool(gppu & bit))

    def set_pin(self, channel: int, drive: int, pulled: bool = False) -> None:
        """One pin: `drive` 0 released, 1 low, 2 high; `pulled`: the chip's own pull-up is on."""
        before = self.drive[channel]
        if drive == before and pulled == self.pulled[channel]:
            return
        piece, _ = self.home[channel]
        self.catch_up()
        self.touch(piece)
        if drive != before:
            self.trace.add(self.clock.now, "pin", channel + 1, ("z", "low", "high")[drive])
        self.drive[channel], self.pulled[channel] = drive, pulled
        self._set_masks(channel, drive, pulled)
        if drive and not before and piece.live and self.parts.has_converter:
            raise faults.DrivenWhileLive(
                f"channel {channel + 1} drives a circuit that something outside holds at a voltage", self.clock.us
            )

    def _set_masks(self, channel: int, drive: int, pulled: bool) -> None:
        piece, k = self.home[channel]
        bit = 1 << k
        piece.low = piece.low | bit if drive == 1 else piece.low & ~bit
        piece.high = piece.high | bit if drive == 2 else piece.high & ~bit
        piece.pull = piece.pull | bit if pulled else piece.pull & ~bit

    def set_mux(self, tree: int, channel: int) -> None:
        """Connect a bus to a channel, -1 for none."""
        self.catch_up()
        for old in {self.muxed[tree], channel} - {-1}:
            self.touch(self.home[old][0])
        if self.muxed[tree] >= 0:
            self.home[self.muxed[tree]][0].muxed[tree] = -1
        self.muxed[tree] = channel
        if channel >= 0:
            piece, k = self.home[channel]
            piece.muxed[tree] = k
        self.ports.stale = True

    def set_rail(self, rail: int) -> None:
        """Pull-up rail of all cards: RAIL_LOW, RAIL_HIGH or RAIL_RELEASED."""
        if rail != self.rail:
            self.catch_up()
            now = self.clock.now
            before = [self.voltages(piece, now) for piece in self.pieces]
            for piece, volts in zip(self.pieces, before, strict=True):
                self.touch(piece, volts)
            self.rail = rail
            self.ports.stale = True
            self.trace.add(self.clock.now, "rail", "all", ("low", "high", "released")[rail])

    def set_reference(self, state: int) -> None:
        """Spare reference cell: 0 off, 1 on the buses with current, 2 on the buses without."""
        self.ports.spare = state
        self.ports.stale = True

    # -- time ---------------------------------------------------------------------------------------------------------

    def _open_mask(self, piece: Component) -> int:
        now = self.clock.now
        return sum(1 << n for n, (_, _, _, drop) in enumerate(piece.wiring.dropouts) if drop.is_open(now))

    def _schedule(self) -> None:
        now = self.clock.now
        edges = [drop.next_edge(now) for piece in self._dropping for *_, drop in piece.wiring.dropouts]
        self._next_edge = min(edges, default=NEVER)

    def catch_up(self) -> None:
        """Take dropouts that changed since the last look, each at its own time (the last few only after a pause)."""
        now = self.clock.now
        if now < self._next_edge:
            return
        if now - self._next_edge > 50_000_000:
            self._next_edge = now - 20_000_000
        while self._next_edge <= now:
            self.clock.now = self._next_edge
            for piece in self._dropping:
                mask = self._open_mask(piece)
                if mask != piece.open_mask:
                    self.touch(piece)
                    piece.open_mask = mask
            self._schedule()
        self.clock.now = now

    def touch(self, piece: Component, volts: list[float] | None = None) -> None:
        """Something about a piece is about to change: keep where its voltages are now (`volts`, if known already)."""
        now = self.clock.now
        if piece.dirty and piece.since == now:
            return
        piece.start = volts if volts is not None else self.voltages(piece, now)
        piece.since, piece.dirty = now, True
        piece.version = -1
        self.active.add(piece)
        self._moved.add(piece)
        if self._bound(piece):
            self.ports.stale = True

    def voltages(self, piece: Component, now: int) -> list[float]:
        """Node voltages at virtual time `now`, not before the last change."""
        self._refresh(piece)
        final = piece.final
        if now >= piece.settled_at or piece.start is None:
            return final
        assert piece.reduction is not None
        ago = now - piece.since
        left = [math.exp(-ago / t) for t in piece.reduction.tau]
        net = piece.shape().net
        return [f + (s - f) * left[net[n]] for n, (f, s) in enumerate(zip(final, piece.start, strict=True))]

    def _bound(self, piece: Component) -> bool:
        """True when a piece hangs on ports whose voltage is not fixed."""
        return self._soft or max(piece.muxed) >= 0

    @property
    def _soft(self) -> bool:
        """True when the rail gives way, so that all pieces on it act on each other."""
        return self.rail == RAIL_RELEASED or self.parts.rail_ohms > 0

    def _refresh(self, piece: Component) -> None:
        """Work out where the piece will settle."""
        bound = self._bound(piece)
        if bound:
            self.solve_ports()
            if not piece.dirty and piece.version == self.ports.version:
                return
        elif not piece.dirty:
            return
        u = self._end_values(piece, bound)
        piece.version = self.ports.version
        if piece.dirty:
            piece.dirty = False
            self._settle(piece)
            if piece.low or piece.high:
                strain.check(piece, u, self.supplies, self.clock)
            else:
                piece.fight_since = -1

    def _end_values(self, piece: Component, bound: bool) -> Sequence[float]:
        """Set the piece's end values, writing cells out in full where they leave their supply; the port voltages."""
        u: Sequence[float] = self.ports.volts if bound else self.ports.fixed(self.rail)
        for _ in range(8):
            piece.final = piece.reduce(u, self.supplies).values(u)
            strained = piece.strained(piece.final, u) if piece.may_strain else None
            if strained:
                piece.full = piece.full | strained
                self._moved.add(piece)
            elif not (piece.full and self._lift_supplies(piece)):
                break
            if bound:
                self.ports.stale = True
                self.solve_ports()
        return u

    def _lift_supplies(self, piece: Component) -> bool:
        """Clamp current beyond what the card uses floats its supply up to the shunt. True when it moved."""
        moved = False
        for card in piece.cards:
            fed = sum(p.clamp_a.get(card, 0.0) for p in self.pieces if p.full)
            volts = SHUNT_V + SHUNT_OHMS * (fed - RAIL_LOAD_A) if fed > RAIL_LOAD_A else VDD
            moved = moved or abs(volts - self.supplies[card]) > 1e-5
            self.supplies[card] = volts
        return moved

    def _settle(self, piece: Component) -> None:
        start, final = piece.start, piece.final
        piece.settled_at = piece.since
        if start is None or len(start) > len(final):
            piece.start = None
            return
        if len(start) < len(final):
            piece.start = start = [*start, *final[len(start) :]]
        assert piece.reduction is not None
        tau, net = piece.reduction.tau, piece.shape().net
        for n, (s, f) in enumerate(zip(start, final, strict=True)):
            apart = abs(s - f)
            if apart > _NEAR_V:
                piece.settled_at = max(piece.settled_at, piece.since + int(tau[net[n]] * math.log(apart / _NEAR_V)))

    # -- what chips read ----------------------------------------------------------------------------------------------

    def levels(self, chip: int) -> int:
        """The 16 pin levels of an expander now; bit 1 is high."""
        self.catch_up()
        if self.active:
            for piece in list(self.active):
                if chip in piece.chips:
                    self._read(piece)
        return self.words[chip]

    def _read(self, piece: Component) -> None:
        now = self.clock.now
        volts = self.voltages(piece, now)
        moving = volts is not piece.final
        u = self.ports.volts if self._bound(piece) else self.ports.fixed(self.rail)
        if piece.fight_since >= 0:
            strain.stop_fights(piece, self.clock)
            moving = True
        found = dict.fromkeys(piece.chips, 0)
        vil, vih = self.parts.vil, self.parts.vih
        for k, (_, _, chip, bit) in enumerate(piece.places):
            pin = piece.pin_volts(k, volts, u)
            if pin >= vih:
                found[chip] |= bit
            elif pin > vil:
                moving = True
                if self._rng.random() < (pin - vil) / (vih - vil):
                    found[chip] |= bit
        for chip, bits in found.items():
            self.words[chip] = self.words[chip] & ~piece.chips[chip] | bits
        if moving and volts is not piece.final:
            moving = self._may_change(piece, volts, u) or piece.fight_since >= 0
        if not moving and not self._bound(piece):
            self.active.discard(piece)

    def _may_change(self, piece: Component, volts: list[float], u: Sequence[float]) -> bool:
        """True while a pin is not yet on the side where it will end."""
        vil, vih = self.parts.vil, self.parts.vih
        for k in range(len(piece.places)):
            now, end = piece.pin_volts(k, volts, u), piece.pin_volts(k, piece.final, u)
            if not ((now >= vih and end >= vih) or (now <= vil and end <= vil)):
                return True
        return False

    def pin_volts(self, channel: int) -> float:
        """Voltage at a pin now (for tests and campaigns)."""
        self.catch_up()
        piece, k = self.home[channel]
        volts = self.voltages(piece, self.clock.now)
        return piece.pin_volts(k, volts, self.ports.volts if self._bound(piece) else self.ports.fixed(self.rail))

    def point_volts(self, channel: int) -> float:
        """Voltage at a test point now (for tests and campaigns)."""
        self.catch_up()
        piece, k = self.home[channel]
        return self.voltages(piece, self.clock.now)[piece.places[k][0]]

    # -- buses --------------------------------------------------------------------------------------------------------

    def solve_ports(self) -> None:
        """Voltages of rails and buses for the present state."""
        if not self.ports.stale:
            return
        if self._soft:
            hung, moved = self.pieces, self._moved
        else:
            hung = list({id(self.home[c][0]): self.home[c][0] for c in self.muxed if c >= 0}.values())
            moved = set(hung)
        self.ports.solve(hung, moved, self.rail, self.supplies)
        self._moved = set()

    def volts(self, inputs: tuple[int, int], differential_ohms: float, common_ohms: float, at: int) -> float:
        """Voltage between two converter inputs at time `at`: AIN0 S+, AIN1 S-, AIN2 top of Rref, AIN3 S+ by 10k."""
        self.catch_up()
        self.ports.set_load(inputs, differential_ohms, common_ohms)
        self.solve_ports()
        plus, minus = (self._input_volts(number, at) if number >= 0 else 0.0 for number in inputs)
        return plus - minus

    def _input_volts(self, number: int, at: int) -> float:
        """One input against ground: where it settles, plus how far its point still is from settled."""
        tree = (SENSE_PLUS, SENSE_MINUS, FORCE, SENSE_PLUS)[number]
        volts = self.ports.input_volts(number)
        channel = self.muxed[tree]
        if channel >= 0:
            piece, k = self.home[channel]
            node = piece.places[k][0]
            now = self.voltages(piece, max(at, piece.since))
            cell = self.parts.cells[channel]
            share = 1.0
            if tree == FORCE:
                down = self.parts.reference
                share = down / (down + cell.mux[2] + cell.pin_series + cell.series)
            volts += share * (now[node] - piece.final[node])
        return min(max(volts, -0.3), max(self.supplies) + 0.3)
