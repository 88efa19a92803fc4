"""A list to choose from: steps, faults, cautions, jobs. Plain text, wrapped, moved by keys."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import ClassVar

from textual import events
from textual.binding import Binding, BindingType
from textual.geometry import Region
from textual.message import Message

from tester.bench.lineview import LineView
from tester.bench.text import Part, fit, fold, length, plain


@dataclass(frozen=True)
class Pick:
    """One entry. `sign` and `role` as in marks; `text` may be long; `tail` stands at its right edge."""

    key: str
    text: str
    sign: str = " "
    role: str = "plain"
    tail: str = ""


class PickList(LineView, can_focus=True):
    """Entries with a cursor. Posts `Moved` when the cursor comes to an entry and `Picked` on Enter or a click."""

    DEFAULT_CSS = "PickList { height: 1fr; scrollbar-size: 1 1; }"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("up", "cursor(-1)", "up", show=False, id="list-up", tooltip="up in the list"),
        Binding("down", "cursor(1)", "down", show=False, id="list-down", tooltip="down in the list"),
        Binding("pageup", "cursor(-8)", "page up", show=False, id="list-pageup", tooltip="a page up"),
        Binding("pagedown", "cursor(8)", "page down", show=False, id="list-pagedown", tooltip="a page down"),
        Binding("home", "cursor(-9999)", "first", show=False, id="list-first", tooltip="first in the list"),
        Binding("end", "cursor(9999)", "last", show=False, id="list-last", tooltip="last in the list"),
    ]

    @dataclass
    class Moved(Message):
        """The cursor came to the entry with this key."""

        list: PickList
        key: str

        @property
        def control(self) -> PickList:
            return self.list

    @dataclass
    class Picked(Message):
        """The entry with this key was chosen."""

        list: PickList
        key: str

        @property
        def control(self) -> PickList:
            return self.list

    def __init__(
        self, *, empty: str = "nothing here", lines: int = 4, id: str | None = None, classes: str | None = None
    ) -> None:
        super().__init__(id=id, classes=classes)
        self.empty = empty
        self.most_lines = lines
        self.picks: tuple[Pick, ...] = ()
        self.at = 0
        self._laid: list[tuple[int, int, str]] = []
        self._first: list[int] = []

    @property
    def key(self) -> str:
        """Key of the entry under the cursor, "" when there is none."""
        return self.picks[self.at].key if self.picks else ""

    def show(self, picks: Iterable[Pick], at: str | None = None) -> None:
        """Replace the entries; the cursor stays on the entry with the same key, or goes to `at`."""
        want = self.key if at is None else at
        fresh = tuple(picks)
        if fresh == self.picks and at is None:
            return
        self.picks = fresh
        place = {pick.key: n for n, pick in enumerate(fresh)}
        self.at = place.get(want, min(self.at, max(0, len(fresh) - 1)))
        self._lay_out()
        self._into_view()

    def go(self, key: str) -> None:
        """Put the cursor on the entry with this key."""
        for n, pick in enumerate(self.picks):
            if pick.key == key:
                self._move_to(n)

    def action_cursor(self, by: int) -> None:
        if self.picks:
            self._move_to(min(max(self.at + by, 0), len(self.picks) - 1))

    def pick(self) -> None:
        """Choose the entry under the cursor."""
        if self.picks:
            self.post_message(self.Picked(self, self.key))

    def on_click(self, event: events.Click) -> None:
        y = event.y + self.scroll_offset.y
        if self.picks and 0 <= y < len(self._laid):
            n = self._laid[y][0]
            if n == self.at:
                self.pick()
            else:
                self._move_to(n)

    def on_focus(self) -> None:
        self.all_changed()

    def on_blur(self) -> None:
        self.all_changed()

    def on_resize(self, event: events.Resize) -> None:
        self._lay_out()
        self._into_view()

    def text(self) -> str:
        """All lines as text, for tests."""
        return "\n".join("".join(part for part, _ in self.line(y)) for y in range(self.virtual_size.height))

    def line(self, y: int) -> Sequence[Part]:
        if not self.picks:
            return [(fit(f" {self.empty}", self.size.width), "dim")]
        n, row, words = self._laid[y]
        pick, here = self.picks[n], n == self.at
        role = "cursor" if here else "plain" if pick.role in ("right", "wrong", "doubt", "live", "wire") else pick.role
        lead: list[Part] = [("▸" if here and row == 0 else " ", "strong" if here else "plain")]
        lead.append((f"{pick.sign} " if row == 0 else "  ", pick.role))
        parts = [*lead, (words, role)]
        if row == 0 and pick.tail:
            room = self.size.width - length(parts) - 1
            tail = fit(pick.tail, room)
            parts.append((tail.rjust(room) if tail else "", "dim"))
        return parts

    def _move_to(self, n: int) -> None:
        if n == self.at:
            return
        old, self.at = self.at, n
        self.lines_changed(y for y, (owner, _, _) in enumerate(self._laid) if owner in (old, n))
        self._into_view()
        self.post_message(self.Moved(self, self.key))

    def _lay_out(self) -> None:
        width = max(8, self.size.width or 80)
        laid: list[tuple[int, int, str]] = []
        self._first = []
        for n, pick in enumerate(self.picks):
            self._first.append(len(laid))
            tail = min(len(pick.tail) + 2, width // 2) if pick.tail else 0
            rows = fold(plain(pick.text), width - 4 - tail)
            if self.most_lines and len(rows) > self.most_lines:
                cut = " ".join(rows[self.most_lines - 1 :])
                rows = [*rows[: self.most_lines - 1], fit(cut, width - 4 - tail)]
            laid += [(n, row, words) for row, words in enumerate(rows)]
        self._laid = laid
        self.all_changed(max(1, len(laid)), min(width, 20))

    def _into_view(self) -> None:
        if self._laid and self.at < len(self._first):
            last = self._first[self.at + 1] if self.at + 1 < len(self._first) else len(self._laid)
            top = self._first[self.at]
            self.scroll_to_region(Region(0, top, 1, max(1, last - top)), animate=False, force=True)
