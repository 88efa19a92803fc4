"""The work sheet: one step at a time, large, with the face that the hand is on; ticked by hand or by the board."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical

from tester.bench.face import FaceView
from tester.bench.harness_view import face_plans
from tester.bench.lineview import Big, Block, Lines, said
from tester.bench.marks import Mark
from tester.bench.messages import BoardNews, WorkDone, WorkFailed, WorkTold
from tester.bench.picks import Pick, PickList
from tester.bench.stage import StageScreen
from tester.bench.stages.watching import Watching
from tester.errors import LoomwrightError
from tester.harness.cavity import split_cavity

HANDS = {
    "unlock": "open the lock", "lock": "close the lock", "remove": "pull out", "move": "move", "insert": "push in",
    "tug": "pull lightly", "cut": "cut", "splice": "splice", "seal-off": "seal off", "tape-back": "tape back",
    "plug": "blanking plug", "route": "route", "look": "look",
}  # fmt: skip


class WorkSheetScreen(StageScreen):
    """Steps at the left, the one that is meant at the right."""

    STAGE = "work sheet"
    ABOUT = (
        "Do the step that stands there large, then Enter. Any open step that is not marked as waiting may be done "
        "next: choose it in the list. The board watches, and ticks what it sees in the right place for one second; "
        "what only eyes can judge is ticked by hand and recorded as such."
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding(
            "enter,space", "tick", "done", id="sheet-tick", tooltip="this step is done (foot pedal: Enter or Space)"
        ),
        Binding("u", "undo", "undo", id="sheet-undo", tooltip="take the tick of the chosen step back, or the newest"),
        Binding("o", "watch", "watch", id="sheet-watch", tooltip="let the board watch, or stop watching"),
        Binding("e", "leave_out", "watch the rest", id="sheet-rest", tooltip="watch without wet cavities, never PASS"),
        Binding("s", "on", "as left", id="sheet-on", tooltip="on to the scan of the finished harness"),
    ]

    def __init__(self) -> None:
        super().__init__()
        self.watching = Watching(self)
        self.seen_step = ""
        self.hint = ""

    def body(self) -> ComposeResult:
        with Horizontal(id="lower"):
            yield PickList(id="picks", lines=2)
            with Vertical(id="right"):
                yield Lines(id="step")
                yield FaceView(notes_below=True, id="faces")
                yield Lines(id="live")

    def begin(self) -> None:
        super().begin()
        picks = self.query_one(PickList)
        picks.focus()
        wanted, self.bench.step_wanted = self.bench.step_wanted, ""
        if wanted:
            picks.go(wanted)
            self.hint = "Mend it here; then s goes back to as left, and Enter there scans the harness again."
            if self.bench.session.job is not None and self.bench.session.job.state.verdict is not None:
                self.hint = "Mend it here; then s goes back to as left, and r there scans the harness again."
            self._show_step()
            self.show_strip()
        else:
            self._to_next()
        self.watching.start()

    # What is shown

    def draw(self) -> None:
        self.query_one(PickList).show(self._picks())
        self._show_step()

    def next_words(self) -> str:
        step = self.step
        if step is None:
            return "This harness needs no step. Press s to scan it as left."
        steps = self.bench.session.steps()
        left = [one for one in steps if one.state == "open"]
        if self.watching.refused:
            return self.watching.wet.next_words("o")
        if self.hint:
            return self.hint
        if not left:
            return "All steps are ticked. Press s: the finished harness is scanned."
        if step.state == "done":
            how = "by the board" if step.how == "board" else "by hand"
            return f"Step {step.number} was ticked {how}. u takes it back; choose an open step to go on."
        if step.blocked:
            return f"Step {step.number} must wait: {step.blocked}."
        if step.id == self.seen_step:
            return f"The board sees it. Is step {step.number} done? Enter: yes."
        hand = " ".join(part for part in (HANDS.get(step.do, step.do), self._place(step)) if part)
        words = f"Step {step.number} of {len(steps)}: {hand}, then press Enter."
        if self.watching.on and not step.eyes:
            words += " The board watches: it tells at once what it sees."
        return words

    @property
    def step(self) -> Any:
        """The step under the cursor."""
        key = self.query_one(PickList).key if self.built else ""
        return next((one for one in self.bench.session.steps() if one.id == key), None)

    def _picks(self) -> list[Pick]:
        picks = []
        for step in self.bench.session.steps():
            if step.state == "done":
                sign, role, tail = "✓", "right", "board" if step.how == "board" else "hand"
            elif step.blocked:
                sign, role, tail = "·", "dim", "waits"
            else:
                sign, role, tail = " ", "plain", ""
            words = f"{step.number}. {HANDS.get(step.do, step.do)} {self._place(step)}".rstrip()
            picks.append(Pick(step.id, words, sign, role, tail))
        return picks

    def _place(self, step: Any) -> str:
        """Where the hand goes: a cavity, from one to another, or a connector."""
        if step.do == "move":
            return " to ".join(step.cavities)
        return str(step.cavity or step.connector)

    def _show_step(self) -> None:
        step = self.step
        lines: list[Block] = []
        face = self.query_one(FaceView)
        if step is None:
            self.query_one("#step", Lines).show([])
            return
        lines.append([(f" {HANDS.get(step.do, step.do)}", "head"), (self._which(step), "plain")])
        name = "→".join(step.cavities) if step.do == "move" else self._place(step)
        if name:
            lines.append(Big(name, lead=" "))
        lines += said(step.says, "strong", " ")
        for text, role in ((step.caution and f"Caution: {step.caution}", "wrong"), (step.note, "dim"),
                           (step.blocked and f"Must wait: {step.blocked}.", "doubt"),
                           (step.photo and "A photo is wanted: press p.", "doubt")):  # fmt: skip
            if text:
                lines += said(text, role, " ")
        self.query_one("#step", Lines).show(lines)
        self._show_face(step, face)

    def _which(self, step: Any) -> str:
        """Wire and end; colour and size stand in the sentence below."""
        end = f"end {step.end} of " if step.end else ""
        return f"   {end}{step.wire}   {step.colour}" if step.wire else ""

    def _show_face(self, step: Any, face: FaceView) -> None:
        plan = self.bench.session.plan
        names = list(dict.fromkeys(split_cavity(name)[0] for name in step.cavities))
        if not names and step.connector:
            names = [step.connector]
        face.display = bool(names)
        if names:
            face.show(face_plans(plan, names))
            face.mark(self.watching.marks())
            face.choose(step.cavities)

    # Keys

    def on_pick_list_moved(self, event: PickList.Moved) -> None:
        self.note = self.hint = ""
        self._show_step()
        self.show_strip()
        self.refresh_bindings()
        self.watching.moved()

    def on_pick_list_picked(self, event: PickList.Picked) -> None:
        self.action_tick()

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        if action == "undo":
            job = self.bench.session.job
            return job is not None and bool(job.state.ticks)
        if action == "leave_out":
            return self.watching.refused
        return True

    def action_tick(self) -> None:
        step, job = self.step, self.bench.session.job
        if step is None or job is None:
            self.action_on()
            return
        if step.state == "done":
            self._to_next()
            if not any(one.state == "open" for one in self.bench.session.steps()):
                self.action_on()
            return
        if step.blocked:
            self.say(f"Step {step.number} must wait: {step.blocked}.")
            return
        self.tick(step.id, "hand")

    def tick(self, step: str, how: str) -> None:
        """Tick a step, by hand or because the board saw it, and go to the next."""
        job = self.bench.session.job
        assert job is not None
        try:
            job.tick(step, how, str(job.state.opened.get("by", "")))
        except LoomwrightError as error:
            self.say(error.message)
            return
        self.note = ""
        was_there = self.query_one(PickList).key == step
        self.state_changed()
        if was_there:
            self._to_next()
        self.watching.ticked(step)

    def action_undo(self) -> None:
        step, job = self.step, self.bench.session.job
        if job is None or not job.state.ticks:
            return
        which = step.id if step is not None and step.state == "done" else job.state.tick_order[-1]
        job.undo(which)
        self.note = ""
        self.state_changed()
        self.query_one(PickList).go(which)
        self.watching.ticked(which)

    def action_watch(self) -> None:
        self.watching.turn_round()

    def action_leave_out(self) -> None:
        self.watching.leave_out()

    def action_on(self) -> None:
        self.bench.show_stage("as left")

    def _to_next(self) -> None:
        picks = self.query_one(PickList)
        steps = self.bench.session.steps()
        at = next((n for n, one in enumerate(steps) if one.id == picks.key), 0)
        after = [one for one in [*steps[at:], *steps[:at]] if one.state == "open" and not one.blocked]
        if after:
            picks.go(after[0].id)
        self._show_step()
        self.show_strip()

    # News

    def told(self, message: WorkTold) -> None:
        self.watching.told(message)

    def work_done(self, message: WorkDone) -> None:
        self.watching.done(message)

    def work_failed(self, message: WorkFailed) -> None:
        self.watching.failed(message)

    def board_changed(self, news: BoardNews) -> None:
        self.watching.board_changed(news)
        super().board_changed(news)

    def seen(self, step: str) -> None:
        """The board saw what this step is for; this board's reading needs a person to confirm it."""
        self.query_one(PickList).go(step)
        self.note = ""
        self.seen_step = step
        self.show_strip()

    def show_live(self, news: Sequence[tuple[str, str]]) -> None:
        """What the board says now, below the face: (text, role)."""
        self.query_one("#live", Lines).show([block for text, role in news for block in said(text, role, " ")])

    def mark_live(self, marks: dict[str, Mark]) -> None:
        """Marks of what the board sees now."""
        self.query_one(FaceView).mark(marks)
