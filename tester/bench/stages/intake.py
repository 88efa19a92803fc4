"""Intake: which plan, which leads, which harness, which side, who. Everything is asked on one page."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, VerticalScroll
from textual.widgets import Input

from tester.bench.lineview import Block, Lines, Para, said
from tester.bench.stage import StageScreen
from tester.errors import InputError, LoomwrightError

FIELDS = (
    ("plan", "plan", "file of the plan"),
    ("leads", "leads", "file of the lead map; several with a blank between are rounds"),
    ("side", "side", "side of the vehicle, where the plan has sides"),
    ("job", "job", "your job number or the vehicle"),
    ("tag", "tag", "tag on the harness"),
    ("by", "initials", "who builds"),
    ("customer", "customer", "reference, may stay empty; can be removed later"),
)


class IntakeScreen(StageScreen):
    """The form of a new job; for an open job it shows what was written."""

    STAGE = "intake"
    ABOUT = (
        "Fill in what is known and press Enter on the last line. A name of a file may be given relative to the folder "
        "that you started in."
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "begin", "begin the job", id="intake-begin", tooltip="begin the job with what is filled in"),
        Binding("down", "app.focus_next", "next line", id="intake-next", show=False),
        Binding("up", "app.focus_previous", "line before", id="intake-before", show=False),
        Binding("escape", "out", "to the keys", id="intake-out", show=False, tooltip="leave the line, so that ? helps"),
    ]

    def __init__(self) -> None:
        super().__init__()
        self.sides: tuple[str, ...] = ()
        self._told_of = ""

    def body(self) -> ComposeResult:
        with VerticalScroll(id="form", can_focus=False):
            for key, label, hint in FIELDS:
                with Horizontal(classes="row"):
                    yield Lines([[(f" {label}", "strong")]], classes="label")
                    yield Input(placeholder=hint, id=f"in-{key}", select_on_focus=False)
            yield Lines(id="about")

    def begin(self) -> None:
        options, job = self.bench.session.options, self.bench.session.job
        if job is None:
            given = {"plan": options.plan, "leads": " ".join(map(quoted, options.leads)), "side": options.side}
        else:
            given = {key: str(job.state.opened.get(key, "")) for key, _, _ in FIELDS}
            given["plan"] = job.state.plan_name
            given["leads"] = " ".join(quoted(name) for name, _ in job.state.leads)
        for key, text in given.items():
            self.query_one(f"#in-{key}", Input).value = text
        if job is not None:
            for field in self.query(Input):
                field.disabled = True
        self.call_after_refresh(self._first_look)
        super().begin()

    def _first_look(self) -> None:
        """What the plan says, and the first line that is still to be filled in."""
        job = self.bench.session.job
        self._about()
        first = next((f for f in self.query(Input) if not f.value and f.id != "in-side"), None)
        side = self.query_one("#in-side", Input)
        if job is None and self.sides and not side.value:
            first = side
        if first is not None and job is None:
            first.focus()
        self.show_strip()

    def next_words(self) -> str:
        if self.bench.session.job is not None:
            return "This job is open: press g to go to its next stage."
        return "Fill in the lines; Enter goes to the next, on the last one it begins the job."

    def on_input_submitted(self, event: Input.Submitted) -> None:
        fields = list(self.query(Input))
        at = fields.index(event.input)
        if event.input.id == "in-plan":
            self._about()
        if at + 1 < len(fields):
            fields[at + 1].focus()
        else:
            self.action_begin()

    def on_input_changed(self, event: Input.Changed) -> None:
        if self.note and event.input.has_focus:
            self.note = ""
            self.show_strip()

    def on_descendant_blur(self) -> None:
        self._about()

    def action_out(self) -> None:
        self.set_focus(None)

    def action_begin(self) -> None:
        session = self.bench.session
        if session.job is not None:
            self.bench.go_on()
            return
        given = {key: self.query_one(f"#in-{key}", Input).value.strip() for key, _, _ in FIELDS}
        plan, leads = given.pop("plan"), split_paths(given.pop("leads"))
        try:
            if not plan:
                raise self._missing("plan", "Which plan? Write the name of its file on the first line.")
            if not leads:
                raise self._missing("leads", "Which leads? Write the name of the lead map on the second line.")
            if self.sides and given["side"] not in self.sides:
                raise self._missing("side", f"Which side? Write {' or '.join(self.sides)} on the third line.")
            session.options.leads = leads
            session.start(plan, leads, {key: text for key, text in given.items() if text})
        except LoomwrightError as error:
            self.say(" ".join(str(error).split()))
            return
        if self.bench.board_info is not None:
            self.bench._keep_board(self.bench.board_info)
        self.bench.connect()
        self.bench.go_on()

    def _missing(self, key: str, words: str) -> InputError:
        """The cursor goes to the line that must be filled in."""
        self.query_one(f"#in-{key}", Input).focus()
        return InputError(words)

    def _about(self) -> None:
        """What the plan says of itself, or what is wrong with it."""
        from tester.job.files import read_text
        from tester.plan.load import load_plan

        name = self.query_one("#in-plan", Input).value.strip()
        if name == self._told_of:
            return
        self._told_of = name
        self.sides = ()
        lines: list[Block] = []
        if name:
            try:
                plan = load_plan(read_text(name, "plan"), name)
            except LoomwrightError as error:
                lines = said(str(error), "wrong", " ")
            else:
                self.sides = tuple(plan.sides)
                lines.append([(f" {plan.title or plan.id}", "strong"), (f", revision {plan.revision}", "plain")])
                if plan.vehicle:
                    lines.append([(f" for {plan.vehicle}", "plain")])
                if self.sides:
                    lines.append([(f" sides: {', '.join(self.sides)}", "plain")])
                checks = ", ".join(plan.checks)
                lines.append([(f" PASS needs: {checks}", "plain")])
                lines += said(plan.note, "dim", " ")
        self.query_one("#about", Lines).show(lines)
        known = bool(lines) and lines[0] and not isinstance(lines[0], Para)
        hint = " or ".join(self.sides) or ("this plan has no sides" if known else "side of the vehicle")
        self.query_one("#in-side", Input).placeholder = hint


def quoted(path: str) -> str:
    """A path as it is written on the leads line."""
    return f'"{path}"' if " " in path else path


def split_paths(text: str) -> list[str]:
    """Paths on one line, apart by blanks; quotes hold one with blanks together."""
    import shlex

    try:
        return shlex.split(text)
    except ValueError:
        return text.split()
