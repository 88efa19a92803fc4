"""Faces of connectors, drawn from the side that the person looks at, with the mark of every cavity; can be flipped."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from textual import events
from textual.geometry import Region

from tester.bench.lineview import LineView
from tester.bench.marks import CavityMark, Mark
from tester.bench.text import Part, fit, length, pad
from tester.harness.cavity import cavity
from tester.harness.connectors import MATING, Face

SIDES = {MATING: "from the mating side", "wire": "from the wire side"}
MOULDED = "▪"
GAP = 3
_NEUTRAL = (Mark.UNKNOWN, Mark.NO_LEAD, Mark.LONE, Mark.JOINED)
# Arms of a corner of the grid, as bits up 8, right 4, down 2, left 1.
_CORNERS = " ╴╷┐╶─┌┬╵┘│┤└┴├┼"


@dataclass(frozen=True)
class FacePlan:
    """What is drawn of one connector.

    `title` what people call it; `notes` are short words such as "seal a wire", shown beside the name.
    """

    connector: str
    face: Face
    title: str = ""
    moulded: frozenset[int] = frozenset()
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Block:
    """One face on the canvas: column and line of its corner, and how wide a cell is drawn."""

    plan: FacePlan
    face: Face
    x: int
    y: int
    cell: int
    grid: bool
    notes: bool = False
    rows: dict[int, int] = field(default_factory=dict)

    @property
    def pitch(self) -> int:
        """Columns from one cell to the next: a grid has a line between them."""
        return self.cell + 1 if self.grid else self.cell

    @property
    def width(self) -> int:
        columns = len(self.face.rows[0])
        return columns * self.pitch + (1 if self.grid else 2)

    @property
    def height(self) -> int:
        return block_height(self.plan, self.grid) + (1 if self.notes and self.plan.notes else 0)


def block_height(plan: FacePlan, grid: bool) -> int:
    """Lines of a face: caption, frame, one line a row; a grid has a line between rows too."""
    rows = len(plan.face.rows)
    return 1 + (2 * rows + 1 if grid else rows + 2)


def cell_text(number: int, mark: CavityMark, moulded: bool, cell: int) -> str:
    """One cavity in `cell` columns: sign, number, and whether the number is moulded: ``✓11▪``."""
    sign = mark.mark.sign
    right = MOULDED if moulded else " "
    if mark.chosen:
        sign = "▸" if mark.mark in _NEUTRAL else sign
        right = "◂"
    inner = f"{number:>{cell - 2}}"
    return f"{sign}{inner}{right}"


class FaceView(LineView):
    """All faces of a harness, packed side by side where there is room. `show`, `mark`, `choose`, `flip`.

    `share`: drawn as a grid only up to this share of the screen's height, without lines between cells beyond it.
    `notes_below`: lock and seal have a line of their own below each face, else they stand behind its name.
    """

    DEFAULT_CSS = "FaceView { height: auto; max-height: 100%; scrollbar-size: 1 1; }"

    def __init__(self, *, notes_below: bool = False, id: str | None = None, classes: str | None = None) -> None:
        super().__init__(id=id, classes=classes)
        self.notes_below = notes_below
        self.plans: tuple[FacePlan, ...] = ()
        self.share = 0.45
        self.flipped: set[str] = set()
        self.chosen: frozenset[str] = frozenset()
        self._marks: dict[str, Mark] = {}
        self._blocks: list[Block] = []
        self._where: dict[str, tuple[Block, int]] = {}

    def show(self, plans: Iterable[FacePlan]) -> None:
        """Draw these connectors."""
        fresh = tuple(plans)
        if fresh != self.plans:
            self.plans = fresh
            self._lay_out()

    def mark(self, marks: Mapping[str, Mark]) -> None:
        """Set marks of cavities; those not named keep theirs."""
        lines = set()
        for name, mark in marks.items():
            if self._marks.get(name) is not mark:
                self._marks[name] = mark
                if name in self._where:
                    lines.add(self._where[name][1])
        if lines:
            self.lines_changed(lines)

    def choose(self, names: Iterable[str]) -> None:
        """Frame these cavities, and bring the first into view."""
        order = list(names)
        fresh = frozenset(order)
        if fresh != self.chosen:
            changed = fresh ^ self.chosen
            self.chosen = fresh
            self.lines_changed({self._where[name][1] for name in changed if name in self._where})
        seen = [name for name in order if name in self._where]
        if seen:
            self.scroll_to_region(self._region(seen[0]), animate=False, force=True)

    def flip(self) -> None:
        """Show the other side of all connectors."""
        self.flipped ^= {plan.connector for plan in self.plans}
        self._lay_out()

    def mark_of(self, name: str) -> CavityMark:
        return CavityMark(self._marks.get(name, Mark.UNKNOWN), name in self.chosen)

    def on_resize(self, event: events.Resize) -> None:
        self._lay_out()

    def text(self) -> str:
        """All lines as text, for tests."""
        return "\n".join("".join(part for part, _ in self.line(y)) for y in range(self.virtual_size.height))

    def line(self, y: int) -> Sequence[Part]:
        parts: list[Part] = []
        for block in self._blocks:
            if block.y <= y < block.y + block.height:
                parts.append((" " * (block.x - length(parts)), "plain"))
                parts += self._block_line(block, y - block.y)
        return parts

    def _lay_out(self) -> None:
        width = self.size.width or 80
        blocks = pack(self.plans, self.flipped, width, True, self.notes_below)
        if _extent(blocks)[0] > width or _extent(blocks)[1] > self.screen.size.height * self.share:
            blocks = pack(self.plans, self.flipped, width, False, self.notes_below)
        self._blocks = blocks
        self._where = {
            cavity(block.plan.connector, number): (block, block.y + line)
            for block in blocks
            for number, line in block.rows.items()
        }
        columns, lines = _extent(blocks)
        grown = lines != self.virtual_size.height
        self.all_changed(lines, columns)
        if grown and self.styles.is_auto_height:
            self.refresh(layout=True)

    def _region(self, name: str) -> Region:
        block, line = self._where[name]
        _, column = block.face.place(int(name.rpartition("-")[2]))
        return Region(block.x + column * block.pitch, line - 1, block.cell + 2, 3)

    def _block_line(self, block: Block, y: int) -> list[Part]:
        if y == 0:
            return self._caption(block)
        if y >= block_height(block.plan, block.grid):
            return [(fit("; ".join(block.plan.notes), self.size.width - block.x), "dim")]
        rows = block.face.rows
        if not block.grid:
            if y in (1, len(rows) + 2):
                return [(_frame(block, y == 1), "dim")]
            return [("│", "dim"), *self._cells(block, rows[y - 2]), ("│", "dim")]
        if y % 2:
            return [(_grid_line(block, y // 2), "dim")]
        return self._cells(block, rows[y // 2 - 1])

    def _caption(self, block: Block) -> list[Part]:
        plan = block.plan
        parts: list[Part] = [(fit(plan.connector, block.width), "strong")]
        behind = () if block.notes else plan.notes
        words = ", ".join(part for part in (plan.title, SIDES.get(block.face.side, ""), *behind) if part)
        beside = [other.x - GAP for other in self._blocks if other.y == block.y and other.x > block.x]
        room = min([*beside, max(self.size.width, 30)]) - block.x - length(parts) - 1
        return [*parts, (" " + fit(words, room), "dim")]

    def _cells(self, block: Block, row: Sequence[int | None]) -> list[Part]:
        parts: list[Part] = []
        before: int | None = None
        for number in row:
            if block.grid:
                parts.append(("│" if before is not None or number is not None else " ", "dim"))
            if number is None:
                parts.append((" " * block.cell, "plain"))
            else:
                mark = self.mark_of(cavity(block.plan.connector, number))
                moulded = number in block.plan.moulded
                role = "goal" if mark.chosen else mark.mark.role
                parts.append((cell_text(number, mark, moulded, block.cell), role))
            before = number
        if block.grid:
            parts.append(("│" if before is not None else " ", "dim"))
        return parts


def pack(plans: Sequence[FacePlan], flipped: set[str], width: int, grid: bool, notes: bool) -> list[Block]:
    """Places for these faces on a canvas `width` columns wide, left to right, then below."""
    blocks: list[Block] = []
    x = y = below = 0
    for plan in plans:
        face = plan.face.flipped() if plan.connector in flipped else plan.face
        digits = max(len(str(n)) for row in face.rows for n in row if n is not None)
        block = Block(plan, face, x, y, digits + 2, grid, notes)
        room = max(block.width, min(30, width))
        if x and x + room > width:
            x, y = 0, below
            block = Block(plan, face, x, y, digits + 2, grid, notes)
        for index, row in enumerate(face.rows):
            line = 2 + 2 * index if grid else 2 + index
            block.rows.update({number: line for number in row if number is not None})
        blocks.append(block)
        x += room + GAP
        below = max(below, y + block.height)
    return blocks


def _extent(blocks: Sequence[Block]) -> tuple[int, int]:
    return max((b.x + b.width for b in blocks), default=0), max((b.y + b.height for b in blocks), default=0)


def _frame(block: Block, top: bool) -> str:
    left, right = ("╭", "╮") if top else ("╰", "╯")
    return left + "─" * (block.width - 2) + right


def _grid_line(block: Block, line: int) -> str:
    rows = block.face.rows

    def there(row: int, column: int) -> bool:
        return 0 <= row < len(rows) and 0 <= column < len(rows[row]) and rows[row][column] is not None

    text = []
    columns = len(rows[0])
    for column in range(columns + 1):
        up = there(line - 1, column - 1) or there(line - 1, column)
        down = there(line, column - 1) or there(line, column)
        left = there(line - 1, column - 1) or there(line, column - 1)
        right = there(line - 1, column) or there(line, column)
        text.append(_CORNERS[8 * up + 4 * right + 2 * down + left])
        if column < columns:
            text.append(("─" if right else " ") * block.cell)
    return pad("".join(text), block.width)
