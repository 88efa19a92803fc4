"""The log: find a job and go on with it, or begin a new one."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.widgets import Input

from tester.bench.picks import Pick, PickList
from tester.bench.stage import StageScreen
from tester.errors import LoomwrightError

SIGNS = {"PASS": ("✓", "right"), "FAIL": ("✗", "wrong"), "NOT TESTED": ("–", "doubt"), "aborted": ("!", "wrong")}


class JobsScreen(StageScreen):
    """Search above, records below. Enter goes on with a job where it was left."""

    STAGE = ""
    ABOUT = "Every job is kept in the log. Type a record number, tag, plan, harness or cavity to find one."
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "open", "go on with it", id="jobs-open", tooltip="go on with this job where it was left"),
        Binding("n", "new", "new job", id="jobs-new", tooltip="begin a new job"),
        Binding(
            "c", "comeback", "comeback", id="jobs-comeback", tooltip="replay this job, scan again, see what changed"
        ),
        Binding("slash", "search", "search", id="jobs-search", tooltip="type what to look for"),
        Binding(
            "escape", "list", "to the list", id="jobs-list", show=False, tooltip="from the search line to the list"
        ),
    ]

    def body(self) -> ComposeResult:
        yield Input(placeholder="/ to search: record, tag, plan, harness, cavity", id="search")
        yield PickList(empty="", id="jobs")

    def begin(self) -> None:
        self.query_one(PickList).focus()
        self.show_strip()
        self.call_after_refresh(self.state_changed)  # the keys are there before the log is read

    def draw(self) -> None:
        self._find(self.query_one(Input).value)
        self.query_one(PickList).focus()

    def next_words(self) -> str:
        if not self.built or not self.query_one(PickList).picks:
            return "Press n to begin a job."
        return "Choose a job and press Enter to go on with it, or n for a new one."

    def on_input_changed(self, event: Input.Changed) -> None:
        self._find(event.value)

    def on_input_submitted(self, event: Input.Submitted) -> None:
        self.query_one(PickList).focus()

    def on_pick_list_picked(self, event: PickList.Picked) -> None:
        self.action_open()

    def action_open(self) -> None:
        self._take_up("")

    def action_comeback(self) -> None:
        self._take_up("comeback")

    def action_new(self) -> None:
        self.bench.session.job = None
        self.bench.show_stage("intake")

    def action_search(self) -> None:
        self.query_one(Input).focus()

    def action_list(self) -> None:
        self.query_one(PickList).focus()

    def _find(self, text: str) -> None:
        try:
            found = self.bench.session.jobs(text)
        except LoomwrightError as error:
            self.say(error.message)
            return
        picks = []
        for one in found:
            verdict = one.terms.get("verdict", "")
            sign, role = SIGNS.get(verdict, (" ", "plain"))
            words = "  ".join(
                part
                for part in (one.record, *(one.terms.get(name, "") for name in ("order", "tag", "plan", "side")))
                if part
            )
            tail = f"{verdict or 'open'}  {one.changed.astimezone():%Y-%m-%d %H:%M}"
            picks.append(Pick(one.record, words, sign, role, tail))
        jobs = self.query_one(PickList)
        jobs.empty = "nothing fits" if text.strip() else "no job yet: press n to begin one"
        jobs.show(picks)
        jobs.all_changed()
        self.show_strip()

    def _take_up(self, stage: str) -> None:
        record = self.query_one(PickList).key
        if not record:
            return
        try:
            self.bench.session.take_up(record)
        except LoomwrightError as error:
            self.say(error.message)
            return
        self.bench.connect()
        if stage:
            self.bench.show_stage(stage)
        else:
            self.bench.go_on()
