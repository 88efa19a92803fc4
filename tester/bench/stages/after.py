"""After installing: the function checklist of the plan, tried in the vehicle."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType

from tester.bench.lineview import Lines, said
from tester.bench.picks import Pick, PickList
from tester.bench.stage import StageScreen
from tester.bench.text import count

SIGNS = {"ok": ("✓", "right"), "not ok": ("✗", "wrong"), "not tried": ("–", "doubt")}


class AfterScreen(StageScreen):
    """One line a function: what to do, what must happen, and what did."""

    STAGE = "after installing"
    ABOUT = "The harness is back in the vehicle. Try each function and say what happened; it goes into the record."
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter,y", "result('ok')", "works", id="after-ok", tooltip="it works as it should"),
        Binding("n", "result('not ok')", "does not", id="after-bad", tooltip="it does not work"),
        Binding("o", "result('not tried')", "not tried", id="after-open", tooltip="it was not tried"),
    ]

    def body(self) -> ComposeResult:
        yield Lines(id="result")
        yield PickList(id="picks", empty="this plan has no function checklist")

    def draw(self) -> None:
        session = self.bench.session
        assert session.job is not None
        checks = session.job.state.function_checks
        picks = []
        for one in session.plan.function:
            sign, role = SIGNS.get(checks.get(one.id, ""), (" ", "plain"))
            picks.append(Pick(one.id, f"{one.do}: {one.see}", sign, role, checks.get(one.id, "")))
        self.query_one(PickList).show(picks)
        self.query_one(PickList).focus()
        words = "" if session.job.state.finished else "The job is not closed at the bench yet (g, finish)."
        self.query_one("#result", Lines).show(said(words, "doubt", " ") if words else [])

    def next_words(self) -> str:
        session = self.bench.session
        if session.job is None:
            return ""
        left = [one for one in session.plan.function if one.id not in session.job.state.function_checks]
        if left:
            to_go = count(len(left), "function")
            return f"Try it in the vehicle. Enter: it works; n: it does not; o: not tried. {to_go} to go."
        return "Every function has its answer. If the harness comes back: g, comeback."

    def on_pick_list_picked(self, event: PickList.Picked) -> None:
        self.action_result("ok")

    def action_result(self, result: str) -> None:
        job = self.bench.session.job
        picks = self.query_one(PickList)
        if job is not None and picks.key:
            job.function_check(picks.key, result)
            self.state_changed()
            picks.action_cursor(1)
