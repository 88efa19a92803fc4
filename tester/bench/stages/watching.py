"""The board watching during the work sheet: what it sees is shown, sounded, and ticked."""

from __future__ import annotations

import queue
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from tester.bench.marks import Mark
from tester.bench.messages import BoardNews, WorkDone, WorkFailed, WorkTold
from tester.bench.wet import WetGuide
from tester.bench.worker import Talk, wired_by

if TYPE_CHECKING:
    from tester.bench.stages.sheet import WorkSheetScreen
    from tester.job.live import LiveWatch

WATCH = "watch"
TURN_S = 0.05
ROLES = {"right": "right", "gone": "right", "back": "right", "wrong": "wrong", "lost": "wrong"}
SOUNDS = {"right": "right", "gone": "right", "back": "found", "wrong": "wrong", "lost": "dropout"}
MOST_TROUBLE = 3
TROUBLE = {"wrong": Mark.WRONG, "lost": Mark.DROPPED}
SIGNS = {"right": "✓", "gone": "✓", "back": "✓", "wrong": "✗", "lost": "!"}


@dataclass(frozen=True)
class Seen:
    """One turn of the watch: what is joined to what, and what is new."""

    partners: dict[str, tuple[str, ...]]
    events: tuple[Any, ...]


class Watching:
    """Runs the live watch for the work sheet. Rules change only in the worker, between two turns."""

    def __init__(self, screen: WorkSheetScreen) -> None:
        self.screen = screen
        self.on = False
        self.wanted = True
        self.number = 0
        self.partners: dict[str, tuple[str, ...]] = {}
        self._changes: queue.Queue[Callable[[LiveWatch], None]] = queue.Queue()
        self._begun = ""
        self._plugged = False
        self._heard: list[Any] = []
        self.wet = WetGuide(screen, screen.STAGE)
        self.refused = False
        self._troubled: dict[str, tuple[Mark, tuple[str, ...] | None]] = {}

    # What the screen asks

    def marks(self) -> dict[str, Mark]:
        """Marks of the cavities as last seen, or as found."""
        found = self.screen.bench.session.as_found()
        partners = self.partners or (
            {name: found.netlist.partners(name) for name in found.netlist.cavities} if found is not None else {}
        )
        marks = {name: Mark.JOINED if joined else Mark.LONE for name, joined in partners.items()}
        marks |= {name: mark for name, (mark, then) in self._troubled.items() if partners.get(name) == then}
        return marks

    def start(self) -> None:
        """Begin to watch, if a board is there and the job is far enough."""
        session = self.screen.bench.session
        job, expected, found = session.job, session.expected(), session.as_found()
        if not self.wanted or self.on or job is None or expected is None or found is None:
            return
        if len(job.leads) > 1 and not self._plugged:
            return  # which of the lead sets is plugged in is not known: the watch key asks
        if self.screen.bench.board_state not in ("rest", "driving") or job.may_drive(session.options.virtual):
            return
        if not any(step.state == "open" for step in session.steps()):
            return
        from tester.harness.netlist import Netlist
        from tester.job.live import LiveRules, LiveWatch

        start = found.netlist
        if self.partners:
            start = Netlist.of({(name, *joined) for name, joined in self._circuits().items()})
        rules = LiveRules(session.steps(), expected, start, wire_grade=found.grade == "wire")
        watch = LiveWatch(rules, session.leads_in_use()[0])
        self._changes = queue.Queue()
        work = wired_by(session.first_leads(), watch_work(watch, self._changes))
        self.number = self.screen.bench.do(WATCH, work)
        self.on = self.number != 0
        self.screen.source = "live" if self.on else ""
        self._begun = ""
        self.moved()

    def stop(self) -> None:
        """End the watch."""
        if self.on and self.screen.bench.worker is not None:
            self.screen.bench.worker.stop()

    def turn_round(self) -> None:
        """The watch key: stop, or begin again."""
        self.wanted = not self.on
        if self.on:
            self.stop()
        else:
            self.screen.on_first_leads(self._watch_first)

    def _watch_first(self) -> None:
        self._plugged = True
        self.start()
        if not self.on:
            self.screen.say("The board cannot watch now: it is not here, or there is nothing left to watch.")

    def moved(self) -> None:
        """The cursor is on another step: that one is under way now."""
        step = self.screen.step
        if self.on and step is not None and step.id != self._begun and step.state == "open":
            left, self._begun = self._begun, step.id
            steps = self.screen.bench.session.steps()
            if left:  # left without a tick: what it might have taken out is told again
                self._changes.put(lambda watch: watch.done(left, steps))
            self._changes.put(lambda watch: watch.begin(step.id))

    def ticked(self, step: str) -> None:
        """A step was ticked or undone: the rules learn it, and which steps are free now."""
        if self.on:
            steps = self.screen.bench.session.steps()
            if any(one.state == "open" for one in steps):
                self._changes.put(lambda watch: watch.done(step, steps))
                self._begun = ""
                self.moved()
            else:
                self.stop()
        else:
            self.start()

    # News

    def told(self, message: WorkTold) -> None:
        if message.number != self.number or not isinstance(message.what, Seen):
            return
        self.refused = False
        self.partners = message.what.partners
        for event in message.what.events:
            self._event(event)
        self.screen.mark_live(self.marks())
        self.screen.show_live([(f"{SIGNS[one.kind]} {one.says}", ROLES[one.kind]) for one in self._news()])

    def _event(self, event: Any) -> None:
        self.screen.bench.sounds.play(SOUNDS[event.kind])
        trouble = TROUBLE.get(event.kind)
        for name in event.cavities:
            if trouble is None:
                self._troubled.pop(name, None)
            else:
                self._troubled[name] = (trouble, self.partners.get(name))
        self._heard = [*self._heard[-30:], event]
        steps = self.screen.bench.session.steps()
        step = next((one for one in steps if one.id == event.step and one.state == "open"), None)
        if step is None:
            return
        if not event.by_hand and not step.eyes:
            self.screen.tick(step.id, "board")
        else:
            self.screen.seen(step.id)

    def _news(self) -> list[Any]:
        """What is said below the face: trouble that is still there, and the newest thing that went right."""
        now = self.marks()
        trouble = [
            one
            for one in self._heard
            if one.kind in TROUBLE and any(now.get(n) is TROUBLE[one.kind] for n in one.cavities)
        ]
        right = [one for one in self._heard if one.kind not in TROUBLE]
        return [*trouble[-MOST_TROUBLE:], *right[-1:]]

    def done(self, message: WorkDone) -> None:
        if message.number == self.number:
            self.on = False
            self.screen.source = ""
            self.screen.state_changed()

    def failed(self, message: WorkFailed) -> None:
        if message.number == self.number:
            self.on = False
            self.screen.source = ""
            self.wanted = message.lost
            self.screen.bench.sounds.play("wrong")
            from tester.job.measure import VoltagePresent

            job = self.screen.bench.session.job
            if isinstance(message.error, VoltagePresent) and job is not None:
                job.keep_abort(self.screen.STAGE, message.error, wet=sorted(job.state.left_out))
            self.refused = self.wet.found is not None
            if self.refused:
                self.screen.state_changed()
                self.screen.show_live([(pick.text, pick.role) for pick in self.wet.picks()])
                return
            self.screen.say(" ".join(str(message.error).split()))

    def leave_out(self) -> None:
        """Watch without the wet cavities, once that is acknowledged."""
        self.wet.ask(self._watch_rest)

    def _watch_rest(self, maps: object, cavities: object) -> None:
        self.wanted, self.refused = True, False
        self.screen.on_first_leads(self._watch_first)

    def board_changed(self, news: BoardNews) -> None:
        if news.state == "rest" and not self.on and self.wanted:
            self.screen.note = ""
            self.start()

    def _circuits(self) -> dict[str, tuple[str, ...]]:
        """One entry a circuit of what was last seen: its first cavity, and the others."""
        found: dict[str, tuple[str, ...]] = {}
        told: set[str] = set()
        for name, joined in self.partners.items():
            if name not in told:
                found[name] = joined
                told |= {name, *joined}
        return found


def watch_work(watch: LiveWatch, changes: queue.Queue[Callable[[LiveWatch], None]]) -> Callable[[Talk], None]:
    """Work that watches until it is stopped. Changes of the rules are carried out here, between turns."""

    def work(talk: Talk) -> None:
        last: dict[str, tuple[str, ...]] = {}
        while not talk.stopped:
            while not changes.empty():
                changes.get()(watch)
            events = watch.turn(talk.board, time.monotonic())
            if events or watch.partners != last:
                last = dict(watch.partners)
                talk.tell(Seen(last, tuple(events)))
            talk.pause(TURN_S)

    return work
