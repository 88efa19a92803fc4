"""Touch to find, proving a lead set, and knowing it by its identity jumpers."""

from __future__ import annotations

import random
from collections.abc import Iterable
from dataclasses import dataclass

from tester.board.client import Board
from tester.errors import InputError
from tester.harness.cavity import in_order
from tester.harness.leads import LeadMap
from tester.harness.netlist import Netlist
from tester.scan import bits
from tester.words import listed

LOOKS = 3


@dataclass(frozen=True)
class Touched:
    """What the probe touches: the channel and cavity that answer, and the circuit that they belong to.

    `firm`: it answered both ways in every look and nothing outside that circuit did. A wet finger, which conducts a
    little, answers in some looks or one way only and is not firm.
    """

    channel: int
    cavity: str
    circuit: tuple[str, ...]
    firm: bool


class Touch:
    """Looks where the probe lead touches. `netlist`: circuits known from a scan, if there was one."""

    def __init__(self, leads: LeadMap, netlist: Netlist | None = None) -> None:
        if leads.probe is None:
            raise InputError(
                f"lead map {leads.id} names no probe lead",
                "Add probe = CHANNEL to the lead map: a loose lead with a tip that does not spread terminals.",
            )
        self._leads = leads
        self._probe = leads.probe
        self._netlist = netlist

    def turn(self, board: Board) -> Touched | None:
        """One look: what is touched now, or None. Raises BoardError."""
        cavities = sorted(self._leads.channels)
        read = [*cavities, self._probe]
        seen: list[set[int]] = []
        for _ in range(LOOKS):
            row = board.patterns(read, [[self._probe]]).rows[0]
            seen.append({read[k] for k in bits(row)} - {self._probe})
        touched = sorted(set.union(*seen))
        if not touched:
            return None
        back = board.walk(touched, read)
        answers = [bool(row >> (len(read) - 1) & 1) for row in back.rows]
        steady = all(one == seen[0] for one in seen) and all(answers)
        names = [self._leads.channels[channel] for channel in touched]
        circuit = tuple(in_order(names))
        if self._netlist is not None and names[0] in self._netlist:
            known = self._netlist.circuit_of(names[0])
            steady = steady and set(names) <= set(known)
            circuit = tuple(in_order({*names, *known}))
        return Touched(touched[0], names[0], circuit, steady)


@dataclass(frozen=True)
class ProofEvent:
    """One touch while a lead set is proven: "right", "wrong" (another channel answered) or "unsure"."""

    kind: str
    asked: str
    answered: tuple[str, ...]
    says: str


class LeadProof:
    """Asks for each cavity of the empty mating half in random order; each must answer on its own channel.

    `order`: a shuffled order handed in by `in_random_order`, so that a lead set built wrong twice in the same way
    cannot be proven by habit.
    """

    def __init__(self, leads: LeadMap, order: Iterable[str]) -> None:
        self._leads = leads
        self._open = list(order)
        self._touch = Touch(leads)
        self._released = True
        self.proven: list[str] = []
        self.wrong: dict[str, tuple[str, ...]] = {}
        self.skipped: list[str] = []

    @property
    def next(self) -> str:
        """Cavity to touch now, "" when all have been asked."""
        return self._open[0] if self._open else ""

    def skip(self) -> None:
        """This cavity does not answer: go on, its lead stays unproven."""
        if self._open:
            self.skipped.append(self._open.pop(0))

    def turn(self, board: Board) -> ProofEvent | None:
        """One look. An event when a touch begins; the next touch counts only after the probe was taken away."""
        touched = self._touch.turn(board)
        if touched is None:
            self._released = True
            return None
        if not self._released or not self._open:
            return None
        self._released = False
        return self.judge(touched)

    def judge(self, touched: Touched) -> ProofEvent:
        """What one touch says about the lead that was asked for."""
        asked = self._open[0]
        if not touched.firm:
            return ProofEvent(
                "unsure",
                asked,
                touched.circuit,
                f"{asked} answers unsteadily: touch metal to metal, not with a finger.",
            )
        if touched.circuit == (asked,):
            self._open.pop(0)
            self.proven.append(asked)
            self.wrong.pop(asked, None)
            return ProofEvent("right", asked, (asked,), f"{asked} answers on its own channel.")
        self.wrong[asked] = touched.circuit
        return ProofEvent(
            "wrong", asked, touched.circuit, f"{asked} was asked for, but {listed(touched.circuit)} answered."
        )

    def findings(self) -> list[str]:
        """What is wrong with the lead set so far, in sentences."""
        found = []
        told: set[str] = set()
        for asked, answered in self.wrong.items():
            if len(answered) == 1 and self.wrong.get(answered[0]) == (asked,) and asked not in told:
                told |= {asked, answered[0]}
                found.append(f"The leads to {asked} and {answered[0]} are exchanged.")
            elif asked not in told:
                found.append(f"The lead for {asked} is plugged in wrongly: {listed(answered)} answered.")
        if self.skipped:
            found.append(f"No answer from {listed(self.skipped)}: look at these leads.")
        return found


def in_random_order(leads: LeadMap, seed: int) -> list[str]:
    """The cavities of a lead map, shuffled by a seed."""
    order = list(leads.cavities)
    random.Random(seed).shuffle(order)
    return order


def identify(board: Board, leads: LeadMap) -> tuple[bool | None, str]:
    """Is this the lead set that the map says, by its identity jumpers? None when the map names none. BoardError."""
    if not leads.identity:
        return None, f"Lead map {leads.id} names no identity jumpers: the set cannot be told from another."
    channels = [channel for group in leads.identity for channel in group]
    walk = board.walk(channels, channels)
    joined = {
        (walk.drive[i], walk.read[k])
        for i, row in enumerate(walk.rows)
        for k in bits(row)
        if walk.drive[i] != walk.read[k]
    }
    wanted = {(a, b) for group in leads.identity for a in group for b in group if a != b}
    if joined == wanted:
        return True, f"This is lead set {leads.id}, by its identity jumpers."
    missing = sorted({a for a, _ in wanted - joined})
    return False, (
        f"This is not lead set {leads.id}: its identity jumper on channels {', '.join(map(str, missing))} is not there."
        if missing
        else f"This is not lead set {leads.id}: channels are joined that it does not join."
    )
