"""As found: scan before anything is touched, answer what only eyes see, look at what is odd."""

from __future__ import annotations

from typing import ClassVar

from textual.binding import Binding, BindingType

from tester.bench.cavities import CavityList
from tester.bench.face import FaceView
from tester.bench.lineview import Block, Lines, said
from tester.bench.messages import WorkDone
from tester.bench.picks import Pick, PickList
from tester.bench.stages.scan import ScanStage
from tester.bench.text import count
from tester.harness.cavity import in_order
from tester.words.lists import listed


class AsFoundScreen(ScanStage):
    """The harness as it came."""

    STAGE = "as found"
    PURPOSE = "as found"
    ABOUT = (
        "The harness is scanned before anything is touched: what is measured now, plus the steps of the plan, is what "
        "the finished harness must be. Look at what is odd before you pull the first terminal."
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("y", "answer(True)", "yes", id="found-yes", tooltip="answer the question: yes"),
        Binding("n", "answer(False)", "no", id="found-no", tooltip="answer the question: no"),
        Binding("a", "accept", "accept", id="found-accept", tooltip="this oddity is known and accepted before work"),
        Binding("enter", "on", "go on", id="found-on", tooltip="scan, or on to the work sheet when all is answered"),
    ]

    def draw(self) -> None:
        measured = self.bench.session.as_found()
        if self.scanning or self.draw_wet():
            return
        if measured is None:
            self.blank()
            self.query_one(Lines).show(said("Nothing is known of this harness yet."))
            self.query_one(PickList).show([])
            return
        if not self.source:
            self.source, self.when = "stored", self._scanned_at()
        self.show_reading(measured)
        self.query_one(Lines).show(self._summary())
        picks = self.query_one(PickList)
        picks.show(self._picks())
        picks.focus()
        self._choose(picks.key)

    def next_words(self) -> str:
        if self.scanning:
            return self.scan_words()
        if self.wet.found is not None:
            return self.wet.next_words()
        session = self.bench.session
        if session.as_found() is None:
            return "Plug in both ends of the untouched harness, then press Enter: it is scanned as found."
        if session.resolved().questions:
            question = session.resolved().questions[0]
            if question.kind == "measure":
                return f"{question.says} Better put it on a lead and scan again (s); else answer y or n."
            return f"Look: {question.says} Press y or n."
        if self._open_oddities():
            return "Something is odd. Look at it, mend it and scan again (s), or press a to accept it as it is."
        if session.resolved().problems:
            return "This plan does not fit this harness: read below. After mending it, press s to scan again."
        left_out = self._left_out()
        if left_out:
            return f"Not seen, possibly wet: {listed(left_out)}. Dry it and scan again (s); Enter goes on, never PASS."
        if self.wet.unclean:
            return self.wet.prove_words()
        return f"Press Enter for the work sheet: {count(len(session.steps()), 'step')} for this harness."

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        if action in ("answer", "accept", "on") and self.scanning:
            return False
        if action == "answer":
            return self.built and self._question() is not None
        if action == "accept":
            return self.built and bool(self._open_oddities())
        return super().check_action(action, parameters)

    def action_on(self) -> None:
        session = self.bench.session
        if session.as_found() is None or self.wet.found is not None:
            self.action_scan()
        elif not session.resolved().ready:
            self.say(self.next_words())
        elif self._open_oddities():
            self.say("Accept each oddity with a, or mend it and scan again (s), before the first terminal is pulled.")
        else:
            self.bench.show_stage("work sheet")

    def action_answer(self, yes: bool) -> None:
        question, job = self._question(), self.bench.session.job
        if question and job is not None:
            job.answer(question, yes)
            self.note = ""
            self.state_changed()

    def action_accept(self) -> None:
        job = self.bench.session.job
        key = self.query_one(PickList).key
        open_ones = self._open_oddities()
        if job is None or not open_ones:
            return
        says = key[4:] if key.startswith("odd ") and key[4:] in open_ones else open_ones[0]
        job.accept(says)
        self.note = ""
        self.state_changed()

    def on_pick_list_moved(self, event: PickList.Moved) -> None:
        self._choose(event.key)

    def on_pick_list_picked(self, event: PickList.Picked) -> None:
        self.action_on()

    def finished(self, message: WorkDone) -> None:
        self.bench.sounds.play("right")

    def _scanned_at(self) -> str:
        job = self.bench.session.job
        entry = job.state.newest_scan("as found") if job is not None else None
        return str(entry.at)[11:16] if entry is not None else ""

    def _left_out(self) -> list[str]:
        job = self.bench.session.job
        entry = job.state.newest_scan("as found") if job is not None else None
        return in_order(entry.left_out) if entry is not None else []

    def _question(self) -> str | None:
        questions = self.bench.session.resolved().questions if self.bench.session.as_found() is not None else ()
        key = self.query_one(PickList).key
        asked = {f"ask {one.id}": one.id for one in questions}
        return asked.get(key) or (questions[0].id if questions else None)

    def _open_oddities(self) -> list[str]:
        job = self.bench.session.job
        if job is None:
            return []
        return [one.says for one in self.bench.session.oddities() if one.says not in job.state.accepted]

    def _summary(self) -> list[Block]:
        session = self.bench.session
        measured = session.as_found()
        assert measured is not None
        found = session.resolved()
        circuits = sum(len(circuit) > 1 for circuit in measured.netlist)
        lone = len(measured.netlist.lone())
        lines = said(
            f"{count(circuits, 'circuit')}, {count(lone, 'lone cavity', 'lone cavities')}; "
            f"{count(len(found.todo), 'step')} for this harness, {len(found.skipped)} not needed."
        )
        if measured.grade == "scan":
            lines += said("Scan only: joined means below 66 kohm.", "dim")
        left_out = self._left_out()
        if left_out:
            lines += said(f"Possibly wet, not scanned: {listed(left_out)}.", "doubt")
        return lines

    def _picks(self) -> list[Pick]:
        session, job = self.bench.session, self.bench.session.job
        assert job is not None
        found = session.resolved()
        picks = [Pick(f"ask {one.id}", one.says, "?", "doubt", "y/n") for one in found.questions]
        picks += [Pick(f"bad {n}", one.says, "✗", "wrong") for n, one in enumerate(found.problems)]
        for one in session.oddities():
            known = one.says in job.state.accepted
            words = f"{one.says} {one.note}".strip()
            picks.append(Pick(f"odd {one.says}", words, "✓" if known else "!", "right" if known else "wrong",
                              "accepted" if known else "odd"))  # fmt: skip
        picks += [Pick(f"todo {todo.id}", f"{todo.number}. {todo.says}") for todo in found.todo]
        picks += [Pick(f"not {one.step.id}", f"not needed: {one.why}", "–", "dim") for one in found.skipped]
        return picks

    def _choose(self, key: str) -> None:
        found = self.bench.session.resolved()
        kind, _, name = key.partition(" ")
        cavities: tuple[str, ...] = ()
        if kind == "ask":
            cavities = next((one.cavities for one in found.questions if one.id == name), ())
        elif kind == "odd":
            cavities = next((one.cavities for one in self.bench.session.oddities() if one.says == name), ())
        elif kind == "bad":
            cavities = found.problems[int(name)].cavities
        elif kind == "todo":
            cavities = next((todo.cavities for todo in found.todo if todo.id == name), ())
        self.query_one(FaceView).choose(cavities)
        self.query_one(CavityList).choose(cavities)
