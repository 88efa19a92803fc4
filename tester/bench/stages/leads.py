"""Leads: cautions by name, the board, which lead set it is, no voltage, each lead proven."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical

from tester.bench.cavities import CavityList
from tester.bench.dialogs import AskText
from tester.bench.face import FaceView
from tester.bench.harness_view import cavity_lines, face_plans
from tester.bench.lineview import Lines, said
from tester.bench.marks import Mark
from tester.bench.messages import BoardNews, WorkDone, WorkFailed, WorkTold
from tester.bench.picks import Pick, PickList
from tester.bench.scanning import check_first
from tester.bench.stage import StageScreen
from tester.bench.stages.proof import Proof
from tester.bench.text import count
from tester.bench.wet import WetGuide
from tester.words.lists import listed

if TYPE_CHECKING:
    from tester.harness.leads import LeadMap

CHECK = "leads check"
PROVE = "leads proof"


class LeadsScreen(StageScreen):
    """What must be so before the board drives, as a list that is worked down with Enter."""

    STAGE = "leads"
    ABOUT = (
        "Work down the list with Enter: each caution is acknowledged by its name, then the board looks for voltages "
        "and tries its own drivers, then the leads are proven by touching cavities of the empty mating half."
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter,space", "do_it", "do it", id="leads-do", tooltip="do what the cursor stands on"),
        Binding("e", "leave_out", "go on without", id="leads-rest", tooltip="go on without wet cavities, never PASS"),
        Binding("x", "cancel", "stop", id="leads-stop", tooltip="stop proving; what is proven so far is kept"),
        Binding("k", "skip", "skip", id="leads-skip", tooltip="this cavity does not answer: ask for the next"),
        Binding("d", "leads_done", "leads are done", id="leads-done", tooltip="leads are done: on to as found"),
    ]

    def __init__(self) -> None:
        super().__init__()
        self.number = 0
        self.checked = ""
        self.left_out: list[str] = []
        self.proof = Proof(self)
        self.wet = WetGuide(self, "leads")

    def body(self) -> ComposeResult:
        with Horizontal(id="lower"):
            with Vertical(id="left"):
                yield PickList(id="picks")
            with Vertical(id="right"):
                yield Lines(id="result")
                yield FaceView(id="faces")
                yield CavityList(id="cavities")

    def begin(self) -> None:
        session = self.bench.session
        assert session.job is not None
        self.query_one(FaceView).show(face_plans(session.plan))
        self.query_one(CavityList).show(cavity_lines(session.plan, session.job.leads))
        super().begin()
        self.query_one(PickList).focus()
        self._go_to_open()

    # What is shown

    def draw(self) -> None:
        job = self.bench.session.job
        assert job is not None
        self.query_one(PickList).show(self._picks())
        ready = self.proof.running or all(one.acknowledged for one in job.cautions())
        self.query_one(FaceView).display = self.query_one(CavityList).display = ready
        if not self.proof.running:
            self._explain(self.query_one(PickList).key)
        proven = dict.fromkeys(job.state.proven, Mark.RIGHT)
        self.query_one(FaceView).mark(proven)
        self.query_one(CavityList).update_lines({name: {"mark": Mark.RIGHT, "note": "proven"} for name in proven})

    def next_words(self) -> str:
        job = self.bench.session.job
        if job is None:
            return ""
        if self.proof.running:
            return self.proof.next_words()
        left = [one for one in job.cautions() if not one.acknowledged]
        if left:
            return f"Read the caution, and if it is so, press Enter: {count(len(left), 'caution')} to go."
        if self.number:
            return "The board looks for voltages and tries its own drivers."
        if self.wet.found is not None and not self.checked:
            return self.wet.next_words("Enter")
        if self.wet.unclean and not self.checked:
            return "Clean the lead set; harness off. Enter: the board looks for voltages and tries its drivers."
        if not self.checked:
            return "Plug in the leads, nothing else. Enter: the board looks for voltages and tries its drivers."
        kind = self.query_one(PickList).key.partition(" ")[0]
        if kind == "identity" and self.query_one(PickList).picks[self.query_one(PickList).at].sign == "!":
            return "Enter: the board looks which lead set this is."
        if self.wet.unclean:
            return self.proof.again_words()
        if self.bench.session.plan.prove_leads and not self.proof.all_proven():
            return "Enter proves the leads by touch. d goes on without; what rests on unproven leads is NOT TESTED."
        return f"The leads are ready: press d to go on to {self.bench.after_leads or 'as found'}."

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        if action in ("cancel", "skip"):
            return self.proof.running
        if action in ("do_it", "leads_done"):
            return not self.proof.running
        if action == "leave_out":
            return self.built and not self.number and not self.checked and self.wet.found is not None
        return True

    def _picks(self) -> list[Pick]:
        job = self.bench.session.job
        assert job is not None
        picks = [
            Pick(f"caution {one.id}", one.id.replace("-", " "), "✓" if one.acknowledged else "!",
                 "right" if one.acknowledged else "doubt", "read" if one.acknowledged else "caution")
            for one in job.cautions()
        ]  # fmt: skip
        info = self.bench.board_info
        here = info is not None and self.bench.board_state in ("rest", "driving")
        picks.append(
            Pick("board", info.model if here else "the board", "✓" if here else "!",
                 "right" if here else "doubt", "here" if here else "not here")
        )  # fmt: skip
        picks.append(
            Pick("check", "voltage, drivers", "✓" if self.checked else "!",
                 "right" if self.checked else "doubt", "checked" if self.checked else "to do")
        )  # fmt: skip
        picks += self.proof.picks()
        return picks

    def _explain(self, key: str) -> None:
        job = self.bench.session.job
        assert job is not None
        lines = self.query_one("#result", Lines)
        kind, _, name = key.partition(" ")
        words = ""
        if kind == "caution":
            caution = next((one for one in job.cautions() if one.id == name), None)
            words = caution.says if caution is not None else ""
            by = job.state.cautions.get(name)
            if by is not None:
                words += f"\nAcknowledged{' by ' + by if by else ''}."
        elif kind == "board":
            words = self._board_words()
        elif kind == "check" and self.wet.found is not None and not self.checked:
            orders = [f"{pick.sign} {pick.text}" for pick in self.wet.picks()]
            lines.show([*self.wet.lines(), *(block for one in orders for block in said(one))])
            return
        elif kind == "check":
            words = self.checked or (
                "With nothing driven, the board measures every channel. If a cavity carries a voltage it refuses, and "
                "says which and how much. Then it pulls each of its own channels low once."
            )
        else:
            words = self.proof.words(key)
        lines.show(said(words))

    def _board_words(self) -> str:
        info = self.bench.board_info
        if info is None:
            return self.bench.board_error or "No board has answered yet. Plug it in; it is found by itself."
        job = self.bench.session.job
        maps = ", ".join(one.id for one in job.leads) if job is not None else ""
        can = ", ".join(sorted(info.can)) or "nothing"
        return f"{info.model}, serial {info.serial}, {info.channels} channels. It can: {can}. Lead sets: {maps}."

    # Keys

    def on_pick_list_moved(self, event: PickList.Moved) -> None:
        self.note = ""
        self._explain(event.key)
        self.show_strip()

    def on_pick_list_picked(self, event: PickList.Picked) -> None:
        self.action_do_it()

    def action_do_it(self) -> None:
        key = self.query_one(PickList).key
        kind, _, name = key.partition(" ")
        self.note = ""
        if kind == "caution":
            self._acknowledge(name)
        elif kind == "check":
            self._check()
        elif kind == "corners":
            self.proof.start(key)
            self._go_to_open()
        elif kind in ("identity", "proof"):
            self._prove(key)
        else:
            self._go_to_open()

    def action_cancel(self) -> None:
        self.proof.stop()

    def action_skip(self) -> None:
        self.proof.skip()

    def action_leads_done(self) -> None:
        job = self.bench.session.job
        assert job is not None
        if any(not one.acknowledged for one in job.cautions()):
            self.say("First read each caution and acknowledge it with Enter.")
            return
        if not self.checked and not job.state.leads_done:
            self.say("First let the board look for voltages: Enter on that line.")
            return
        another = self.proof.another()
        if another:
            self.say(f"{another} Plug in the right one, then Enter looks again.")
            return
        if not job.state.leads_done:
            job.leads_done()
        target, self.bench.after_leads = self.bench.after_leads or "as found", ""
        self.bench.show_stage(target)

    def _acknowledge(self, name: str) -> None:
        job = self.bench.session.job
        assert job is not None
        if any(one.id == name and one.acknowledged for one in job.cautions()):
            self._go_to_open()
            return
        by = str(job.state.opened.get("by", "")) or next((who for who in job.state.cautions.values() if who), "")
        if by:
            self._acknowledged(name, by)
        else:
            self.app.push_screen(
                AskText("Who says that it is so?", "Your initials; they go into the record with each caution."),
                lambda text: self._acknowledged(name, text) if text else None,
            )

    def _acknowledged(self, name: str, by: str) -> None:
        job = self.bench.session.job
        assert job is not None
        job.acknowledge(name, by)
        self.state_changed()
        self._go_to_open()

    def _go_to_open(self) -> None:
        picks = self.query_one(PickList)
        open_ones = [pick.key for pick in picks.picks if pick.sign == "!"]
        if open_ones:
            picks.go(open_ones[0])
        self._explain(picks.key)
        self.show_strip()

    def _may_drive(self) -> bool:
        session = self.bench.session
        assert session.job is not None
        left = [one for one in session.job.cautions() if not one.acknowledged]
        reasons = [f"Caution not acknowledged: {one.id}." for one in left]
        reasons += session.job.may_drive(session.options.virtual)
        if reasons:
            self.say(reasons[0])
        return not reasons

    def _check(self) -> None:
        job = self.bench.session.job
        assert job is not None
        if self._may_drive():
            self._check_on(job.leads, [])

    def _check_on(self, maps: Sequence[LeadMap], left_out: list[str]) -> None:
        self.left_out = left_out
        self.number = self.bench.do(CHECK, check_first(maps))
        self.show_strip()

    def action_leave_out(self) -> None:
        """Check without the wet cavities, once that is acknowledged."""
        if self._may_drive():
            self.wet.ask(self._check_on)

    def _prove(self, key: str) -> None:
        if not self.checked:
            self.say("First let the board look for voltages: Enter on that line.")
        elif self._may_drive():
            self.proof.start(key)

    # News

    def told(self, message: WorkTold) -> None:
        self.proof.told(message)

    def work_done(self, message: WorkDone) -> None:
        if message.name == CHECK and message.number == self.number:
            self.number = 0
            if not message.stopped:
                volts = "No cavity carries a voltage." if message.result else "This board cannot measure voltages."
                self.checked = f"{volts} Every channel pulls low by itself."
                if self.left_out:
                    self.checked = f"No other cavity carries a voltage. Left out: {listed(self.left_out)}."
                self.bench.sounds.play("right")
            self.state_changed()
            self._go_to_open()
        else:
            self.proof.done(message)
            self._go_to_open()

    def work_failed(self, message: WorkFailed) -> None:
        if message.number not in (self.number, self.proof.number):
            return  # of the stage that was on the screen before
        self.number = 0
        self.checked = ""
        self.proof.failed(message)
        job = self.bench.session.job
        assert job is not None
        job.keep_abort("leads", message.error, wet=self.left_out)
        self.bench.sounds.play("wrong")
        self.state_changed()
        if self.wet.found is None:
            self.say(" ".join(str(message.error).split()))

    def board_changed(self, news: BoardNews) -> None:
        if self.built:
            self.query_one(PickList).show(self._picks())
        super().board_changed(news)
