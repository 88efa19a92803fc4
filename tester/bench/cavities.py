"""The list of all cavities, one a line, live: mark, channel, what it is joined to, a note."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from textual.geometry import Region
from textual.message import Message

from tester.bench.lineview import LineView
from tester.bench.marks import Mark
from tester.bench.text import Part, pad


@dataclass(frozen=True)
class CavityLine:
    """What the list shows of a cavity. `channel` as text, "" when it is not on a lead; `joined` partners in order."""

    cavity: str
    channel: str = ""
    mark: Mark = Mark.UNKNOWN
    joined: tuple[str, ...] | None = None
    note: str = ""


class CavityList(LineView, can_focus=True):
    """All cavities, each a line. `show` sets the lines, `update` changes some, `choose` highlights."""

    DEFAULT_CSS = "CavityList { height: 1fr; scrollbar-size: 1 1; }"

    @dataclass
    class Moved(Message):
        """The cursor came to this cavity."""

        cavity: str

    def __init__(self, *, id: str | None = None, classes: str | None = None) -> None:
        super().__init__(id=id, classes=classes)
        self._lines: list[CavityLine] = []
        self._place: dict[str, int] = {}
        self.chosen: frozenset[str] = frozenset()
        self._names = 6

    def show(self, lines: Iterable[CavityLine]) -> None:
        """Replace all lines."""
        self._lines = list(lines)
        self._place = {line.cavity: y for y, line in enumerate(self._lines)}
        self._names = min(14, max((len(line.cavity) for line in self._lines), default=4) + 1)
        self.all_changed(len(self._lines), 20)

    def update_lines(self, changes: Mapping[str, Mapping[str, object]]) -> None:
        """Change fields of some cavities: name -> fields of CavityLine."""
        changed = []
        for name, fields in changes.items():
            y = self._place.get(name)
            if y is None:
                continue
            fresh = replace(self._lines[y], **fields)  # type: ignore[arg-type]
            if fresh != self._lines[y]:
                self._lines[y] = fresh
                changed.append(y)
        if changed:
            self.lines_changed(changed)

    def choose(self, names: Iterable[str]) -> None:
        """Highlight these cavities, and bring the first into view."""
        order = [name for name in names if name in self._place]
        changed = frozenset(order) ^ self.chosen
        self.chosen = frozenset(order)
        self.lines_changed(self._place[name] for name in changed if name in self._place)
        if order:
            self.scroll_to_region(Region(0, self._place[order[0]], 1, 1), animate=False, force=True)

    def line(self, y: int) -> Sequence[Part]:
        held = self._lines[y]
        chosen = held.cavity in self.chosen
        left, right = ("▸", "◂") if chosen else (" ", " ")
        width = self.size.width
        role = "goal" if chosen else "strong"
        parts: list[Part] = [
            (left, role), (held.mark.sign + " ", held.mark.role), (pad(held.cavity, self._names), role),
            (f"{held.channel:>4} ", "dim"),
        ]  # fmt: skip
        used = 1 + 2 + self._names + 5
        words = self._joined(held)
        if held.note:
            words = f"{words}  {held.note}" if words else held.note
        parts.append((pad(words, max(0, width - used - 1)), "plain" if held.joined else "dim"))
        parts.append((right, role))
        return parts

    def text(self) -> str:
        """All lines as text, for tests."""
        return "\n".join("".join(part for part, _ in self.line(y)) for y in range(len(self._lines)))

    def _joined(self, held: CavityLine) -> str:
        if held.joined is None:
            return ""
        return "with " + ", ".join(held.joined) if held.joined else "joined to nothing"
