"""Small windows over a stage: yes or no, one line of text, one of several, and the help made from the bindings."""

from __future__ import annotations

from collections.abc import Sequence
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical, VerticalScroll
from textual.screen import ModalScreen, Screen
from textual.widgets import Input

from tester.bench.keyrail import KeyRail, key_name
from tester.bench.lineview import Block, Lines, said
from tester.bench.marks import Mark
from tester.bench.picks import Pick, PickList
from tester.bench.text import Part, fold, pad, plain

WIDTH = 66


class Dialog(ModalScreen[str]):
    """Base: a title, what it says, and keys in its own bottom line. Ends with "" when it was left with Esc."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape", "dismiss('')", "leave it", id="dialog-leave")]

    def __init__(self, title: str, text: str = "") -> None:
        super().__init__(classes="dialog")
        self.words = [*said(title, "head"), *(said(text) if text else [])]

    def compose(self) -> ComposeResult:
        with Vertical():
            yield Lines(self.words, id="said")
            yield from self.rest()
        yield KeyRail()

    def rest(self) -> ComposeResult:
        """What stands below the words."""
        yield from ()


class YesNo(Dialog):
    """A question: "yes", "no", or "" when it was left open."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("y", "dismiss('yes')", "yes", id="yes"),
        Binding("n", "dismiss('no')", "no", id="no"),
    ]


class AskText(Dialog):
    """One line of text. Enter on an empty line leaves it."""

    def __init__(self, title: str, text: str = "", value: str = "") -> None:
        super().__init__(title, text)
        self.value = value

    def rest(self) -> ComposeResult:
        yield Input(self.value, id="answer")

    def on_mount(self) -> None:
        self.query_one(Input).focus()

    def on_input_submitted(self, event: Input.Submitted) -> None:
        event.stop()
        self.dismiss(event.value.strip())


class Choose(Dialog):
    """One of several. Ends with the key of the entry."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("enter,space", "take", "take this", id="take")]

    def __init__(self, title: str, picks: Sequence[Pick], text: str = "", at: str = "") -> None:
        super().__init__(title, text)
        self.picks = tuple(picks)
        self.start = at

    def rest(self) -> ComposeResult:
        yield PickList(id="choices")

    def on_mount(self) -> None:
        choices = self.query_one(PickList)
        choices.styles.height = min(14, max(1, len(self.picks)))
        choices.show(self.picks, at=self.start)
        choices.focus()

    def action_take(self) -> None:
        self.dismiss(self.query_one(PickList).key)

    def on_pick_list_picked(self, event: PickList.Picked) -> None:
        event.stop()
        self.dismiss(event.key)


class Help(ModalScreen[None]):
    """All keys of the screen below, made from its bindings, and what each sign means."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape,enter,q,question_mark", "dismiss", "close help", id="help-close"),
        Binding("down", "scroll(1)", "down", show=False),
        Binding("up", "scroll(-1)", "up", show=False),
        Binding("pagedown,space", "scroll(12)", "page down", show=False),
        Binding("pageup", "scroll(-12)", "page up", show=False),
    ]

    def __init__(self, below: Screen[object], about: str = "") -> None:
        super().__init__(classes="dialog")
        self.words = help_lines(below, about)

    def compose(self) -> ComposeResult:
        with VerticalScroll(id="help"):
            yield Lines(self.words, id="said")
        yield KeyRail()

    def action_scroll(self, by: int) -> None:
        self.query_one(VerticalScroll).scroll_relative(y=by, animate=False)


def folded_keys(keys: str, words: str) -> list[Block]:
    """Keys, and beside them what they do."""
    rows = fold(plain(words), WIDTH - 18)
    first: list[Part] = [(pad("  " + keys, 18), "key"), (rows[0], "plain")]
    rest: list[list[Part]] = [[(" " * 18 + row, "plain")] for row in rows[1:]]
    return [first, *rest]


def help_lines(below: Screen[object], about: str) -> list[Block]:
    """Keys with their words, those of the stage before those that work everywhere, then the signs."""
    lines: list[Block] = []
    if about:
        lines += [*said(about), []]
    here: dict[str, tuple[list[str], str, bool]] = {}
    for active in below.active_bindings.values():
        binding = active.binding
        if binding.id is None or not active.enabled:  # ours have an id; what widgets bring along by themselves has none
            continue
        own = active.node is not below.app
        keys = here.setdefault(binding.action, ([], binding.tooltip or binding.description, own))
        name = binding.key_display or key_name(binding.key)
        if name not in keys[0]:
            keys[0].append(name)
    for title, wanted in (("keys of this screen", True), ("keys that work everywhere", False)):
        chosen = [(names, words) for names, words, own in here.values() if own is wanted]
        chosen.sort(key=lambda one: one[1].endswith((" list", "a page up", "a page down")))
        if chosen:
            lines.append([(title, "head")])
            for names, words in chosen:
                lines += folded_keys("  ".join(names), words)
            lines.append([])
    lines.append([("signs", "head")])
    lines += [[(f"  {mark.sign}", mark.role), (f"   {mark.means}", "plain")] for mark in Mark]
    lines.append([("  ▪", "plain"), ("   this cavity's number is moulded on the housing", "plain")])
    lines.append([("  ▸ ◂", "goal"), (" the cavity that is meant now", "plain")])
    return lines
