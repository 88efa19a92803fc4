"""After installing: the function checklist of the plan, tried in the vehicle."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType

from tester.bench.dialogs import YesNo
from tester.bench.lineview import Lines, said
from tester.bench.picks import Pick, PickList
from tester.bench.stage import StageScreen
from tester.bench.text import count
from tester.words import TRYING

SIGNS = {"ok": ("✓", "right"), "not ok": ("✗", "wrong"), "not tried": ("–", "doubt")}


class AfterScreen(StageScreen):
    """One line a function: what to do, what must happen, and what did."""

    STAGE = "after installing"
    ABOUT = (
        "The harness is back in the vehicle. Try each function and say what happened; it goes into the record. An "
        "answer that was given is changed only after a question; u takes the newest one back."
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "works", "works", id="after-works", tooltip="it works; on an answered one: go to the next"),
        Binding("y", "result('ok')", "works", id="after-ok", show=False, tooltip="it works as it should"),
        Binding("n", "result('not ok')", "does not", id="after-bad", tooltip="it does not work"),
        Binding("o", "result('not tried')", "not tried", id="after-open", tooltip="it was not tried"),
        Binding("u", "undo", "undo", id="after-undo", tooltip="take the newest answer back"),
    ]

    def body(self) -> ComposeResult:
        yield Lines(id="result")
        yield PickList(id="picks", empty="this plan has no function checklist")

    def begin(self) -> None:
        super().begin()
        self._to_open()

    def draw(self) -> None:
        session = self.bench.session
        assert session.job is not None
        checks = self._checks()
        picks = []
        for one in session.plan.function:
            sign, role = SIGNS.get(checks.get(one.id, ""), (" ", "plain"))
            picks.append(Pick(one.id, f"{one.do}: {one.see}", sign, role, checks.get(one.id, "")))
        self.query_one(PickList).show(picks)
        self.query_one(PickList).focus()
        words = session.stale_words()
        if not words and not session.job.state.finished:
            words = "The job is not closed at the bench yet (g, finish)."
        lines = said(TRYING, "plain", " ")
        self.query_one("#result", Lines).show([*lines, *said(words, "doubt", " ")] if words else lines)

    def next_words(self) -> str:
        session = self.bench.session
        if session.job is None:
            return ""
        left = [one for one in session.plan.function if one.id not in self._checks()]
        if left:
            to_go = count(len(left), "function")
            return f"Try it in the vehicle. Enter: it works; n: it does not; o: not tried. {to_go} to go."
        return "Every function has its answer. If the harness comes back: g, comeback."

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        return bool(self._checks()) if action == "undo" else True

    def on_pick_list_moved(self, event: PickList.Moved) -> None:
        self.note = ""
        self.show_strip()

    def on_pick_list_picked(self, event: PickList.Picked) -> None:
        self.action_works()

    def action_works(self) -> None:
        """Enter answers what has no answer yet, and nothing else: pressed twice, it changes nothing."""
        if self.query_one(PickList).key in self._checks():
            self._to_open()
        else:
            self.action_result("ok")

    def action_result(self, result: str) -> None:
        item = self.query_one(PickList).key
        given = self._checks().get(item, "")
        if not item:
            return
        if given and given != result:
            self.app.push_screen(
                YesNo("Change the answer?", f"It was answered: {given}. y: it is {result} now."),
                lambda answer: self._keep(item, result) if answer == "yes" else None,
            )
        elif not given:
            self._keep(item, result)

    def action_undo(self) -> None:
        """The newest answer that still stands is taken back, and the cursor goes to it."""
        job = self.bench.session.job
        checks = self._checks()
        if job is None or not checks:
            return
        asked = [str(event.data.get("item")) for event in job.events() if event.kind == "function-check"]
        item = next(name for name in reversed(asked) if name in checks)
        job.function_check(item, "")
        self.state_changed()
        self.query_one(PickList).go(item)
        self.say("The answer is taken back. Try it again.")

    def _keep(self, item: str, result: str) -> None:
        job = self.bench.session.job
        if job is not None:
            job.function_check(item, result)
            self.note = ""
            self.state_changed()
            self._to_open()

    def _to_open(self) -> None:
        """On to the next one without an answer, from the cursor; it stays where it is when all have theirs."""
        picks = self.query_one(PickList)
        names = [pick.key for pick in picks.picks]
        after = [*names[picks.at :], *names[: picks.at]]
        picks.go(next((name for name in after if name not in self._checks()), picks.key))

    def _checks(self) -> dict[str, str]:
        job = self.bench.session.job
        return job.state.function_checks if job is not None else {}
