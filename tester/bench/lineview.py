"""Base of all live widgets: lines of plain text in roles, drawn one line at a time and only where they changed."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from rich.cells import cell_len
from rich.segment import Segment
from rich.style import Style
from textual import events
from textual.color import Color
from textual.geometry import Size
from textual.scroll_view import ScrollView
from textual.strip import Strip

from tester.bench.big import big
from tester.bench.text import Part, fold, length, plain

_BOLD, _REVERSED, _MARKED = Style(bold=True), Style(bold=True, reverse=True), Style(bold=True, underline=True)
# Role -> colour of the text, of the ground (variables of the theme), and weight; the last one with few colours.
ROLES: dict[str, tuple[str, str, Style, Style]] = {
    "plain": ("foreground", "", Style(), Style()),
    "dim": ("bench-dim", "", Style(), Style()),
    "strong": ("foreground", "", _BOLD, _BOLD),
    "right": ("success", "", Style(), Style()),
    "wrong": ("error", "", _BOLD, _BOLD),
    "doubt": ("warning", "", _BOLD, _BOLD),
    "goal": ("bench-on", "primary", _BOLD, _REVERSED),
    "live": ("secondary", "", _BOLD, _BOLD),
    "wire": ("primary", "", Style(), Style()),
    "cursor": ("foreground", "bench-cursor", _BOLD, _MARKED),
    "head": ("primary", "", _BOLD, _BOLD),
    "key": ("primary", "", _BOLD, _MARKED),
}
_NO_GROUND = ("goal", "cursor", "key")


def role_style_of(role: str, variables: Mapping[str, str], few: bool) -> Style:
    """The style of a role under a theme. `few`: sixteen colours or none, so weights and reversal tell it."""
    text, ground, weight, weight_few = ROLES[role]
    if few:
        colour = None if role in _NO_GROUND else Color.parse(variables[text]).rich_color
        return Style(color=colour) + weight_few
    back = Color.parse(variables[ground]).rich_color if ground else None
    return Style(color=Color.parse(variables[text]).rich_color, bgcolor=back) + weight


class LineView(ScrollView, can_focus=False):
    """Lines of parts. A subclass gives `line(y)` and says how many lines and columns there are.

    All text goes through `plain`; nothing in it is read as markup.
    """

    def __init__(self, *, id: str | None = None, classes: str | None = None) -> None:
        super().__init__(id=id, classes=classes)
        self._strips: dict[int, tuple[int, Strip]] = {}
        self._role_styles: dict[str, Style] = {}
        self._base: Style | None = None
        self.drawn = 0

    def line(self, y: int) -> Sequence[Part]:
        """Parts of line `y`, from 0. Overridden."""
        raise NotImplementedError

    def lines_changed(self, ys: Iterable[int]) -> None:
        """Draw these lines anew, and no others."""
        changed = list(ys)
        for y in changed:
            self._strips.pop(y, None)
        top = self.scroll_offset.y
        seen = [y for y in changed if top <= y < top + self.size.height]
        if len(seen) * 2 > self.size.height:
            self.refresh()
            return
        for y in seen:
            self.refresh_line(y)

    def all_changed(self, lines: int | None = None, columns: int | None = None) -> None:
        """Draw everything anew; `lines` and `columns` set the new extent."""
        self._strips.clear()
        if lines is not None or columns is not None:
            old = self.virtual_size
            self.virtual_size = Size(
                old.width if columns is None else columns, old.height if lines is None else max(lines, 0)
            )
        self.refresh()

    def notify_style_update(self) -> None:
        """Theme or focus changed: styles are looked up anew."""
        self._strips.clear()
        self._role_styles.clear()
        self._base = None
        super().notify_style_update()

    def role_style(self, role: str) -> Style:
        """The style of a role on this widget's ground."""
        style = self._role_styles.get(role)
        if style is None:
            variables = self.app.theme_variables
            style = self.base_style + role_style_of(role, variables, self.app.current_theme.ansi)
            self._role_styles[role] = style
        return style

    @property
    def base_style(self) -> Style:
        """The widget's own style, looked up once for each theme."""
        if self._base is None:
            self._base = self.rich_style
        return self._base

    def render_line(self, y: int) -> Strip:
        at = y + self.scroll_offset.y
        width = self.size.width
        held = self._strips.get(at)
        if held is None or held[0] != width:
            held = (width, self._strip(at))
            self._strips[at] = held
            self.drawn += 1
        left = self.scroll_offset.x
        return held[1].crop_extend(left, left + width, self.base_style)

    def _strip(self, y: int) -> Strip:
        if not 0 <= y < self.virtual_size.height:
            return Strip([])
        parts = [(plain(text), role) for text, role in self.line(y)]
        return Strip([Segment(text, self.role_style(role)) for text, role in parts], length(parts))


@dataclass(frozen=True)
class Para:
    """A paragraph that is folded to the width there is: `lead` before its first line, blanks before the others."""

    text: str
    role: str = "plain"
    lead: str = ""


@dataclass(frozen=True)
class Big:
    """Text in large letters, where they fit."""

    text: str
    role: str = "strong"
    lead: str = ""


Block = Para | Big | Sequence[Part]


def said(text: str, role: str = "plain", lead: str = "") -> list[Block]:
    """Paragraphs of a text, one a line of it."""
    return [Para(line, role, lead) for line in text.split("\n")]


def folded(block: Block, width: int) -> list[Sequence[Part]]:
    """The lines of one block at this width."""
    if isinstance(block, Para):
        after = " " * cell_len(block.lead)
        rows = fold(plain(block.text), width - len(after))
        return [[(block.lead if n == 0 else after, block.role), (row, block.role)] for n, row in enumerate(rows)]
    if isinstance(block, Big):
        return [[(block.lead + row, block.role)] for row in big(plain(block.text), width - len(block.lead))]
    return [block]


class Lines(LineView):
    """Blocks of text that are set from outside, folded anew when the width changes."""

    DEFAULT_CSS = "Lines { height: auto; scrollbar-size: 1 1; }"

    def __init__(self, blocks: Sequence[Block] = (), **names: str | None) -> None:
        super().__init__(**names)
        self._blocks: list[Block] = list(blocks)
        self._lines: list[Sequence[Part]] = []
        self._width = 0

    def on_mount(self) -> None:
        self._lay_out(self.size.width or self.app.size.width)

    def on_resize(self, event: events.Resize) -> None:
        if event.size.width != self._width:
            self._lay_out(event.size.width)

    def show(self, blocks: Sequence[Block]) -> None:
        """Replace everything."""
        fresh = list(blocks)
        if fresh != self._blocks:
            self._blocks = fresh
            self._lay_out(self.size.width or self._width or self.app.size.width)

    def line(self, y: int) -> Sequence[Part]:
        return self._lines[y]

    def text(self) -> str:
        """What stands there, for tests and the clipboard."""
        return "\n".join("".join(text for text, _ in line) for line in self._lines)

    def _lay_out(self, width: int) -> None:
        self._width = width
        before = len(self._lines)
        self._lines = [line for block in self._blocks for line in folded(block, max(8, width - 1))]
        self.all_changed(len(self._lines), max((length(line) for line in self._lines), default=0))
        if len(self._lines) != before:
            self.refresh(layout=True)
