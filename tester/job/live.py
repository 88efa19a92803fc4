"""What the board sees while a person works through the sheet: the right circuit, a wrong one, a lost one.

`LiveRules` is pure: a netlist and the time go in, events come out. `LiveWatch` scans and asks the rules; it touches no
store, so it may run in a thread of its own.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations

from tester.board.client import Board
from tester.harness.cavity import in_order
from tester.harness.expected import Expected
from tester.harness.leads import LeadMap
from tester.harness.netlist import Netlist, Pair, pair
from tester.job.measure import check_voltage, naming_sources
from tester.job.steps import StepView
from tester.scan import combine, decode_walk
from tester.words.live import back_now, gone_now, lost_now, right_now, wrong_now

STEADY_S = 1.0
SETTLED_S = 0.3
PUTTING = frozenset({"insert", "move", "splice"})
TAKING = frozenset({"remove", "cut", "move"})


@dataclass(frozen=True)
class LiveEvent:
    """One thing that was seen.

    kind      "right" (a step's circuit, steady for a second), "gone" (a terminal that must come out), "wrong",
              "lost", "back"
    step      id of the step that it settles, "" if none
    cavities  concerned, first the one to look at
    by_hand   True when the person must confirm, because this board's reading is not wire grade
    """

    kind: str
    step: str
    cavities: tuple[str, ...]
    says: str
    by_hand: bool = True


class LiveRules:
    """Compares each new netlist with the one at the start and with what is expected."""

    def __init__(
        self, steps: Iterable[StepView], expected: Expected, start: Netlist, *, wire_grade: bool = False
    ) -> None:
        self._steps = workable(steps)
        self._expected = expected
        self._wanted = [outcome.netlist for outcome in expected.outcomes]
        self._start = start
        self._by_hand = not wire_grade
        self._since: dict[tuple[str, Pair | str], float] = {}
        self._told: set[tuple[str, Pair | str]] = set()
        self._under_way: set[str] = set()
        self._now = start

    @property
    def silent(self) -> bool:
        """True while a step that takes something out is under way: losses are not reported then."""
        return any(self._steps[step].do in TAKING for step in self._under_way if step in self._steps)

    def begin(self, step: str) -> None:
        """The person starts on this step."""
        self._under_way.add(step)

    def done(self, step: str, steps: Iterable[StepView] | None = None) -> None:
        """The step is ticked, or its tick taken back: what is joined now is the new start.

        `steps`: all steps as they stand after it, since a tick sets others free.
        """
        self._under_way.discard(step)
        if steps is None:
            self._steps.pop(step, None)
        else:
            self._steps = workable(steps)
        self._start = self._now
        self._since.clear()
        self._told = {told for told in self._told if told[0] == "wrong"}

    def look(self, netlist: Netlist, now: float) -> list[LiveEvent]:
        """Events since the last look. `now`: seconds of a clock that never goes back."""
        self._now = netlist
        present: dict[tuple[str, Pair | str], tuple[float, LiveEvent]] = {}
        for circuit in netlist:
            if len(circuit) > 1:
                self._new_links(circuit, present)
        self._losses(netlist, present)
        events = []
        for key, (patience, event) in present.items():
            since = self._since.setdefault(key, now)
            if key not in self._told and now - since >= patience:
                self._told.add(key)
                events.append(event)
        for key in [key for key in self._since if key not in present]:
            del self._since[key]
            if key in self._told:
                self._told.discard(key)
                if key[0] == "lost":
                    events.append(self._back(str(key[1]), netlist))
        return events

    def _wanted_pair(self, a: str, b: str) -> bool | None:
        known = [n for n in self._wanted if a in n and b in n]
        return any(n.joined(a, b) for n in known) if known else None

    def _was(self, a: str, b: str) -> bool:
        return a in self._start and b in self._start and self._start.joined(a, b)

    def _new_links(
        self, circuit: Sequence[str], present: dict[tuple[str, Pair | str], tuple[float, LiveEvent]]
    ) -> None:
        fresh = [(a, b) for a, b in combinations(circuit, 2) if not self._was(a, b)]
        wrong = [(a, b) for a, b in fresh if self._wanted_pair(a, b) is False]
        for a, b in wrong[:1]:
            a, b = (b, a) if self._has_open_step(b) and not self._has_open_step(a) else (a, b)
            partners = next((n.partners(a) for n in self._wanted if a in n), ())
            event = LiveEvent("wrong", "", (a, b), wrong_now(a, b, partners), False)
            present[("wrong", pair(a, b))] = (SETTLED_S, event)
        if fresh and not wrong:
            handled = {name for both in fresh for name in both}
            for step in self._steps.values():
                if step.do in PUTTING and self._lands_in(step, handled):
                    event = LiveEvent("right", step.id, tuple(circuit), right_now(circuit), self._by_hand)
                    present[("right", step.id)] = (STEADY_S, event)

    def _lands_in(self, step: StepView, handled: set[str]) -> bool:
        if step.do == "splice":
            ends = [name for name, steps in self._expected.steps.items() if step.id in steps]
            return bool(ends) and set(ends) <= handled
        return step.cavity in handled

    def _has_open_step(self, cavity: str) -> bool:
        return any(cavity in step.cavities for step in self._steps.values())

    def _losses(self, netlist: Netlist, present: dict[tuple[str, Pair | str], tuple[float, LiveEvent]]) -> None:
        lost: dict[str, set[str]] = {}
        for circuit in self._start:
            for a, b in combinations([name for name in circuit if name in netlist], 2):
                if not netlist.joined(a, b):
                    lost.setdefault(a, set()).add(b)
                    lost.setdefault(b, set()).add(a)
        for step in self._steps.values():
            if step.do in TAKING and step.cavities and step.cavities[0] in lost:
                cavity = step.cavities[0]
                others = in_order(lost[cavity])
                event = LiveEvent("gone", step.id, (cavity, *others), gone_now(cavity, others), True)
                present[("gone", step.id)] = (STEADY_S, event)
        if self.silent:
            return
        for cavity in in_order(lost):
            others = [other for other in in_order(lost[cavity]) if self._wanted_pair(cavity, other) is not False]
            if others and len(lost[cavity]) >= max(len(lost[other]) for other in others):
                event = LiveEvent("lost", "", (cavity, *others), lost_now(cavity, others), False)
                present[("lost", cavity)] = (SETTLED_S, event)
                break

    def _back(self, cavity: str, netlist: Netlist) -> LiveEvent:
        others = netlist.partners(cavity) if cavity in netlist else ()
        return LiveEvent("back", "", (cavity, *others), back_now(cavity, others), False)


def workable(steps: Iterable[StepView]) -> dict[str, StepView]:
    """Steps that can be done now, by id."""
    return {step.id: step for step in steps if step.state == "open" and not step.blocked}


class LiveWatch:
    """Scans round after round and asks the rules. One lead map: what is plugged in now."""

    def __init__(self, rules: LiveRules, leads: LeadMap) -> None:
        self.rules = rules
        self.leads = leads
        self.partners: dict[str, tuple[str, ...]] = {}
        self._checked = False

    @property
    def silent(self) -> bool:
        """See `LiveRules.silent`."""
        return self.rules.silent

    def begin(self, step: str) -> None:
        """See `LiveRules.begin`."""
        self.rules.begin(step)

    def done(self, step: str, steps: Iterable[StepView] | None = None) -> None:
        """See `LiveRules.done`."""
        self.rules.done(step, steps)

    def turn(self, board: Board, now: float) -> list[LiveEvent]:
        """One full scan and what is new in it. Raises BoardError, VoltagePresent when a voltage appears."""
        if not self._checked and "voltage" in board.info.can:
            check_voltage(board, self.leads)
            self._checked = True
        channels = sorted(self.leads.channels)
        with naming_sources(board, self.leads):
            frame = board.walk(channels, channels)
        measured = combine([(decode_walk(frame.drive, frame.read, frame.rows), self.leads.channels)])
        self.partners = {name: measured.netlist.partners(name) for name in measured.netlist.cavities}
        return self.rules.look(measured.netlist, now)
