"""Finish: what was not tested stands before the initials; then the job is closed at the bench."""

from __future__ import annotations

from typing import Any, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll

from tester.bench.dialogs import AskText, YesNo
from tester.bench.lineview import Big, Block, Lines, said
from tester.bench.stage import StageScreen
from tester.bench.stages.left import ROLES
from tester.bench.text import count

ROLES_OF_PEOPLE = ("builder", "tester")


class FinishScreen(StageScreen):
    """The result once more, with its scope, and who stands for it."""

    STAGE = "finish"
    ABOUT = (
        "Read what was not tested before you put your initials below it. Builder and tester each give theirs; closing "
        "the job keeps it in the log, from where report and label are printed."
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "next", "initials", id="finish-next", tooltip="the next thing: initials, then close the job"),
        Binding("i", "builder", "builder", id="finish-builder", tooltip="initials of who built"),
        Binding("e", "tester", "tester", id="finish-tester", tooltip="initials of who tested"),
        Binding("c", "close", "close job", id="finish-close", tooltip="close the job at the bench"),
        Binding("down", "scroll(1)", "down", show=False),
        Binding("up", "scroll(-1)", "up", show=False),
        Binding("pagedown", "scroll(12)", "page down", show=False),
        Binding("pageup", "scroll(-12)", "page up", show=False),
    ]

    def body(self) -> ComposeResult:
        with VerticalScroll(can_focus=False, id="page"):
            yield Lines(id="result")

    def draw(self) -> None:
        state = self._state()
        verdict = state.verdict
        lines: list[Block] = [[]]
        if verdict is None:
            why = "Not scanned as left"
            if state.newest_scan("as left"):
                old = "The newest scan is older than the last step"
                why = "Not judged since the last change" if state.unjudged else old
            then = "judge it" if state.unjudged else "scan"
            lines += said(f"{why}: NOT TESTED. Go back to as left (g) and {then}.", "doubt", "  ")
        else:
            role = ROLES[verdict["verdict"]]
            lines.append(Big(verdict["verdict"], role, "  "))
            for n, line in enumerate(self.bench.session.verdict_lines(verdict)):
                told = line.startswith("Not tested")
                lines += said(line, role if n == 0 else "doubt" if told else "plain", "  ")
        lines += [[], *self._by_hand(), *self._people(), []]
        lines += said(
            "A PASS says that the metal joins what it should, as far as its scope goes. It says nothing about sealing, "
            "routing, load, or insulation under high voltage.", "dim", "  ",
        )  # fmt: skip
        made = f"loomwright records report {state.record}; loomwright records label {state.record}"
        lines += said(f"Report and label: {made}", "dim", "  ")
        self.query_one("#result", Lines).show(lines)

    def next_words(self) -> str:
        state = self._state()
        if state.finished and self.bench.session.stale_words():
            return "The job was closed, but its verdict no longer counts: Enter goes to as left, to test again."
        if state.finished:
            return "The job is closed. When the harness is back in the vehicle, Enter: after installing."
        missing = self._missing()
        if missing:
            return f"Read what was not tested. Then Enter: initials of the {missing[0]}."
        return "Press Enter to close the job at the bench."

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        if action in ("builder", "tester", "close"):
            return not self._state().finished
        return True

    def action_scroll(self, by: int) -> None:
        self.query_one(VerticalScroll).scroll_relative(y=by, animate=False)

    def action_next(self) -> None:
        state = self._state()
        missing = self._missing()
        if state.finished and self.bench.session.stale_words():
            self.bench.show_stage("as left")
        elif state.finished:
            self.bench.show_stage("after installing")
        elif missing:
            self._ask(missing[0])
        else:
            self.action_close()

    def action_builder(self) -> None:
        self._ask("builder")

    def action_tester(self) -> None:
        self._ask("tester")

    def _ask(self, role: str) -> None:
        state = self._state()
        given = state.initials.get(role) or (str(state.opened.get("by", "")) if role == "builder" else "")
        self.app.push_screen(
            AskText(f"Initials of the {role}", self._scope(), given), lambda text: self._given(role, text)
        )

    def _given(self, role: str, text: str | None) -> None:
        if text:
            self._job().initials(role, text)
            self.state_changed()

    def action_close(self) -> None:
        verdict = self._state().verdict
        word = verdict["verdict"] if verdict is not None else "NOT TESTED"
        if word == "PASS":
            self._close("yes")
        else:
            self.app.push_screen(
                YesNo(f"Close a job that is {word}?", "It stays in the log as it is, and can be taken up again."),
                self._close,
            )

    def _close(self, answer: str | None) -> None:
        if answer == "yes":
            self._job().finish()
            self.state_changed()

    def _job(self) -> Any:
        job = self.bench.session.job
        assert job is not None
        return job

    def _state(self) -> Any:
        return self._job().state

    def _scope(self) -> str:
        verdict = self._state().verdict
        if verdict is None:
            return "NOT TESTED: there is no scan after the last step."
        return str(verdict["says"][0])

    def _by_hand(self) -> list[Block]:
        steps = [one for one in self.bench.session.steps() if one.state == "done"]
        board = sum(one.how == "board" for one in steps)
        eyes = [one for one in steps if one.eyes]
        lines = said(
            f"{count(len(steps), 'step')} ticked: {board} by the board, {len(steps) - board} by hand; "
            f"{len(eyes)} of them only eyes could judge.", "plain", "  ",
        )  # fmt: skip
        left = [one for one in self.bench.session.steps() if one.state == "open"]
        if left:
            lines += said(f"{count(len(left), 'step')} not ticked.", "doubt", "  ")
        return lines

    def _people(self) -> list[Block]:
        given, signed = self._state().initials, self._state().signed
        lines: list[Block] = []
        for role in ROLES_OF_PEOPLE:
            old = f"   ({given[role]} under an earlier verdict)" if role in given and role not in signed else ""
            lines.append([(f"  {role:8} ", "dim"), (signed.get(role, "____"), "strong"), (old, "doubt")])
        return lines

    def _missing(self) -> list[str]:
        """Roles whose initials do not stand under the newest verdict."""
        signed = self._state().signed
        return [role for role in ROLES_OF_PEOPLE if role not in signed]
