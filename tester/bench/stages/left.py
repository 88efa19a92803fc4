"""As left: the full scan after the last step, the verdict, the faults in words, and rework."""

from __future__ import annotations

from typing import Any, ClassVar

from textual.binding import Binding, BindingType

from tester.bench.cavities import CavityList
from tester.bench.dialogs import YesNo
from tester.bench.face import FaceView
from tester.bench.harness_view import verdict_fields, verdict_marks
from tester.bench.lineview import Block, Lines, said
from tester.bench.marks import Mark
from tester.bench.messages import WorkDone
from tester.bench.picks import Pick, PickList
from tester.bench.scanning import Row
from tester.bench.stages.scan import ScanStage
from tester.bench.text import count
from tester.errors import LoomwrightError
from tester.harness.cavity import in_order
from tester.job.verdicts import verdict_of
from tester.words import says

ROLES = {"PASS": "right", "FAIL": "wrong", "NOT TESTED": "doubt"}
SIGNS = {"PASS": "✓", "FAIL": "✗", "NOT TESTED": "–"}


class AsLeftScreen(ScanStage):
    """The finished harness against what is expected."""

    STAGE = "as left"
    PURPOSE = "as left"
    ABOUT = (
        "The finished harness is scanned and judged. Faults stand first; choose one to see its cavities. After rework "
        "press r: what you touched is told to the record, and the whole harness is scanned again."
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "on", "go on", id="left-on", tooltip="scan, or on to the next stage"),
        Binding("r", "reworked", "reworked", id="left-reworked", tooltip="the chosen fault was mended: scan again"),
        Binding("w", "sheet", "work sheet", id="left-sheet", tooltip="back to the steps of the chosen fault"),
    ]

    def draw(self) -> None:
        if self.scanning or self.draw_wet():
            return
        verdict = self._verdict()
        if verdict is None:
            words, state = "Not scanned yet.", self._job().state
            if state.newest_scan("as left"):
                words = "Not judged since the last change." if state.unjudged else "Not scanned since the last step."
            self.source = self.when = ""
            self.blank()
            self.query_one(Lines).show(said(words))
            self.query_one(PickList).show(self._open_steps())
            return
        if not self.source:
            entry = self._job().state.newest_scan("as left")
            self.source, self.when = "stored", str(entry.at)[11:16] if entry is not None else ""
        self.query_one(FaceView).mark(verdict_marks(verdict))
        self.query_one(CavityList).update_lines(verdict_fields(verdict))
        self.query_one(Lines).show(self._banner(verdict))
        picks = self.query_one(PickList)
        picks.show(self._picks(verdict))
        picks.focus()
        self._choose(picks.key)

    def next_words(self) -> str:
        if self.scanning:
            return self.scan_words()
        if self.wet.found is not None:
            return self.wet.next_words()
        verdict = self._verdict()
        if self._job().state.unjudged:
            return "The scan stands, but something was added since. Enter judges it again; s scans again."
        if verdict is None:
            left = sum(step.state == "open" for step in self.bench.session.steps())
            if left:
                return f"{count(left, 'step')} not ticked yet: w goes back to them; Enter scans all the same."
            return "All steps are ticked. Both ends on their leads? Enter scans the finished harness."
        if verdict["verdict"] == "FAIL":
            return "Choose a fault, mend it, then press r: it is scanned again. w shows the step that it points to."
        if self.wet.prove_words():
            return self.wet.prove_words()
        if self._wiggle_wanted():
            return "Wiring is right so far. Enter: wiggle the harness while the board watches for dropouts."
        if verdict["verdict"] == "NOT TESTED":
            return "Nothing wrong was seen, but not everything was tested: read below. Enter goes on to finish."
        return "PASS, within the scope below. Enter goes on to finish."

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        if action in ("on", "sheet") and self.scanning:
            return False
        if action == "reworked":
            verdict = self._verdict() if not self.scanning else None
            return verdict is not None and verdict["verdict"] != "PASS"
        return super().check_action(action, parameters)

    def not_yet(self) -> list[str]:
        session = self.bench.session
        if session.expected() is None:
            return ["What is expected cannot be told yet: answer the questions of as found first (g)."]
        return []

    def row_mark(self, row: Row) -> Mark:
        agrees = self._job().agrees(row.cavity, row.joined)
        return super().row_mark(row) if agrees is None else Mark.RIGHT if agrees else Mark.WRONG

    def finished(self, message: WorkDone) -> None:
        self._judge()

    def _judge(self) -> None:
        try:
            verdict = self._job().judge()
        except LoomwrightError as error:
            self.say(error.message)
            return
        self.query_one(PickList).at = 0
        self.bench.sounds.play("wrong" if verdict.verdict == "FAIL" else "right")

    def action_on(self) -> None:
        verdict = self._verdict()
        if self._job().state.unjudged and self.wet.found is None:
            self._judge()
            self.state_changed()
        elif verdict is None or self.wet.found is not None:
            self.action_scan()
        elif verdict["verdict"] == "FAIL":
            self.say("Something is wrong: mend it and press r. To end the job as it is, press g and go to finish.")
        elif self._wiggle_wanted():
            self.bench.show_stage("wiggle")
        else:
            self.bench.show_stage("finish")

    def action_reworked(self) -> None:
        cavities = self._cavities(self.query_one(PickList).key)
        where = ", ".join(in_order(cavities)) or "the harness"
        self.app.push_screen(
            YesNo("Reworked?", f"You have mended {where}. The whole harness is scanned again now."),
            lambda answer: self._rescan(cavities) if answer == "yes" else None,
        )

    def _rescan(self, cavities: tuple[str, ...]) -> None:
        self._job().touched(cavities)
        self.action_scan()

    def action_sheet(self) -> None:
        verdict = self._verdict()
        kind, _, number = self.query_one(PickList).key.partition(" ")
        steps = verdict["faults"][int(number)]["steps"] if verdict is not None and kind == "fault" else []
        putting = [one.id for one in self.bench.session.steps() if one.id in steps and one.do in ("insert", "move")]
        self.bench.step_wanted = number if kind == "step" else next(iter([*putting, *steps]), "")
        self.bench.show_stage("work sheet")

    def on_pick_list_moved(self, event: PickList.Moved) -> None:
        self._choose(event.key)

    def on_pick_list_picked(self, event: PickList.Picked) -> None:
        self.action_on()

    def _job(self) -> Any:
        job = self.bench.session.job
        assert job is not None
        return job

    def _verdict(self) -> dict[str, Any] | None:
        return self._job().state.verdict  # type: ignore[no-any-return]

    def _wiggle_wanted(self) -> bool:
        job = self._job()
        wiggled = job.state.wiggles and not job.state.watch_is_stale
        return "dropout" in self.bench.session.plan.checks and not wiggled

    def _open_steps(self) -> list[Pick]:
        return [
            Pick(f"step {step.id}", f"not ticked: {step.number}. {step.says}", "!", "doubt")
            for step in self.bench.session.steps()
            if step.state == "open"
        ]

    def _banner(self, verdict: dict[str, Any]) -> list[Block]:
        word = verdict["verdict"]
        return said(verdict["says"][0], ROLES[word], f"{SIGNS[word]} ")

    def _picks(self, verdict: dict[str, Any]) -> list[Pick]:
        numbers = self.bench.session.sheet_numbers()
        waiting = list(enumerate(verdict_of(verdict).faults))
        picks = []
        for n, line in enumerate(self.bench.session.verdict_lines(verdict)[1:]):
            at = next((i for i, (_, fault) in enumerate(waiting) if f"{says(fault, numbers)}." == line), None)
            if at is None:
                picks.append(Pick(f"line {n}", line, "–", "doubt" if line.startswith("Not tested") else "dim"))
                continue
            number, fault = waiting.pop(at)
            sign, role = ("?", "doubt") if fault.kind == "doubtful" else ("✗", "wrong")
            picks.append(Pick(f"fault {number}", line, sign, role))
        return picks

    def _cavities(self, key: str) -> tuple[str, ...]:
        verdict = self._verdict()
        kind, _, number = key.partition(" ")
        if verdict is None or kind != "fault":
            return ()
        return tuple(verdict["faults"][int(number)]["cavities"])

    def _choose(self, key: str) -> None:
        cavities = self._cavities(key)
        self.query_one(FaceView).choose(cavities)
        self.query_one(CavityList).choose(cavities)
