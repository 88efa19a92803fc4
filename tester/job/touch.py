"""Touch to find, proving a lead set, and knowing it by its identity jumpers."""

from __future__ import annotations

import random
from collections.abc import Collection, Iterable
from dataclasses import dataclass

from tester.board.client import Board
from tester.board.ohms import resistance
from tester.errors import InputError
from tester.harness.cavity import in_order
from tester.harness.leads import LeadMap
from tester.harness.netlist import Netlist
from tester.scan import bits, touched
from tester.words import listed

LOOKS = 3


@dataclass(frozen=True)
class Touched:
    """What the probe touches: the channel and cavity that answer, and the circuit that they belong to.

    `firm`: metal on metal. Otherwise `kind` says "unsteady" or "skin" (a wet finger conducts a little).
    """

    channel: int
    cavity: str
    circuit: tuple[str, ...]
    firm: bool
    kind: str = "metal"


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
        read = [*sorted(self._leads.channels), self._probe]
        out: list[frozenset[int]] = []
        back: list[frozenset[int]] = []
        for _ in range(LOOKS):
            row = board.patterns(read, [[self._probe]]).rows[0]
            out.append(frozenset(read[k] for k in bits(row)) - {self._probe})
            if not out[-1] and len(out) == 1:
                return None
            answers = board.walk(sorted(out[-1]), read) if out[-1] else None
            drives = zip(answers.drive, answers.rows, strict=True) if answers else ()
            back.append(frozenset(channel for channel, row in drives if row >> (len(read) - 1) & 1))
        ohms = None
        if "resistance" in board.info.can and len(set(out)) == 1:
            ohms = resistance(board.resistance(self._probe, min(out[0]))).ohms
        seen = touched(out, back, ohms)
        names = [self._leads.channels[channel] for channel in seen.channels]
        circuit, kind = tuple(in_order(names)), seen.kind
        if self._netlist is not None and names[0] in self._netlist:
            known = self._netlist.circuit_of(names[0])
            kind = kind if set(names) <= set(known) else "unsteady"
            circuit = tuple(in_order({*names, *known}))
        return Touched(seen.channels[0], names[0], circuit, kind == "metal", kind)


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
        self._before: Touched | None = None
        self.proven: list[str] = []
        self.wrong: dict[str, tuple[str, ...]] = {}
        self.skipped: list[str] = []

    @property
    def next(self) -> str:
        """Cavity to touch now, "" when all have been asked."""
        return self._open[0] if self._open else ""

    def skip(self) -> None:
        """Go on without this cavity: its lead stays unproven."""
        if self._open:
            cavity = self._open.pop(0)
            if cavity not in self.wrong:
                self.skipped.append(cavity)

    def turn(self, board: Board) -> ProofEvent | None:
        """One look. An event when two looks in a row agree; the next touch counts only after the probe was away."""
        seen = self._touch.turn(board)
        before, self._before = self._before, seen
        if seen is None:
            self._released = True
            return None
        if not self._released or not self._open or before is None:
            return None
        if (before.circuit, before.firm) != (seen.circuit, seen.firm):
            return None
        self._released = False
        return self.judge(seen)

    def judge(self, seen: Touched) -> ProofEvent:
        """What one touch says about the lead that was asked for."""
        asked = self._open[0]
        if not seen.firm:
            return ProofEvent(
                "unsure",
                asked,
                seen.circuit,
                f"{asked} answers unsteadily: touch metal to metal, not with a finger.",
            )
        if seen.circuit == (asked,):
            self._open.pop(0)
            self.proven.append(asked)
            self.wrong.pop(asked, None)
            return ProofEvent("right", asked, (asked,), f"{asked} answers on its own channel.")
        self.wrong[asked] = seen.circuit
        says = f"{asked} was asked for, but {listed(seen.circuit)} answered."
        return ProofEvent("wrong", asked, seen.circuit, together(asked, seen.circuit) or says)

    def findings(self) -> list[str]:
        """What is wrong with the lead set so far, in sentences."""
        found = []
        told: set[str] = set()
        for asked, answered in self.wrong.items():
            if len(answered) == 1 and self.wrong.get(answered[0]) == (asked,) and asked not in told:
                told |= {asked, answered[0]}
                found.append(f"The leads to {asked} and {answered[0]} are exchanged.")
            elif asked not in told:
                says = f"The lead for {asked} is plugged in wrongly: {listed(answered)} answered."
                found.append(together(asked, answered) or says)
        if self.skipped:
            found.append(f"No answer from {listed(self.skipped)}: look at these leads.")
        return found


def together(asked: str, answered: Collection[str]) -> str:
    """What it means that others answered with the cavity that was asked for, "" when it did not answer itself."""
    others = [name for name in answered if name != asked]
    if asked not in answered or not others:
        return ""
    return f"{asked} answers, and {listed(others)} with it: is the harness off? If it is, these leads touch each other."


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
