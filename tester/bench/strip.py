"""The strip at the top that never goes away: which job, which stage, what to do next, what the board is doing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from tester.bench.lineview import LineView
from tester.bench.text import Part, fit, fold, length, plain

BOARD_SIGNS = {
    "none": ("◌ no board", "dim"),
    "seeking": ("◌ looking for the board", "doubt"),
    "rest": ("◇ board at rest", "plain"),
    "driving": ("◆ BOARD DRIVING", "live"),
    "lost": ("! BOARD LOST", "wrong"),
}
SOURCES = {
    "": ("", "dim"),
    "live": ("≈ live", "live"),
    "stored": ("▤ stored", "plain"),
    "replayed": ("↺ replayed", "doubt"),
}


@dataclass(frozen=True)
class StripState:
    """What the strip shows.

    `stages` in order, `stage` the one shown, `reached` how many of them are done, but for `skipped`; `board` of
    BOARD_SIGNS, `source` of SOURCES, with `when` beside it, such as the time of a stored scan.
    """

    job: str = ""
    about: str = ""
    stages: tuple[str, ...] = ()
    stage: str = ""
    reached: int = 0
    next: str = ""
    board: str = "none"
    source: str = ""
    when: str = ""
    note: str = ""
    skipped: tuple[str, ...] = ()


class TopStrip(LineView):
    """Four lines: job and board, the stages as beads on a wire, what to do next (two lines)."""

    DEFAULT_CSS = "TopStrip { height: 4; dock: top; overflow: hidden; scrollbar-size: 0 0; }"

    def __init__(self) -> None:
        super().__init__(id="strip")
        self.state = StripState()

    def on_mount(self) -> None:
        self.all_changed(4, 20)

    def on_resize(self) -> None:
        self.all_changed()

    def show(self, state: StripState) -> None:
        """Show this state."""
        if state != self.state:
            self.state = state
            self.all_changed()

    def line(self, y: int) -> Sequence[Part]:
        if y == 0:
            return self._job()
        if y == 1:
            return stage_wire(self.state, self.size.width)
        return self._next(y - 2)

    def text(self) -> str:
        """All lines as text, for tests."""
        return "\n".join("".join(part for part, _ in self.line(y)) for y in range(4))

    def _job(self) -> list[Part]:
        state, width = self.state, self.size.width
        sign, sign_role = BOARD_SIGNS[state.board]
        source, source_role = SOURCES[state.source]
        if state.when:
            source += f" {state.when}"
        right: list[Part] = [
            (source, source_role),
            ("   " if source else "", "plain"),
            (sign, sign_role),
            (" ", "plain"),
        ]
        room = width - length(right) - 2
        job = plain(state.job) or "no job open"
        left: list[Part] = [(" " + fit(job, room - 1), "strong")]
        about = fit(plain(state.about), room - length(left) - 2)
        if about:
            left.append(("  " + about, "plain"))
        return [*left, (" " * max(1, width - length(left) - length(right)), "plain"), *right]

    def _next(self, row: int) -> list[Part]:
        words = self.state.note or self.state.next
        lead, role = (" ! ", "wrong") if self.state.note else (" ▶ ", "strong")
        rows = fold(plain(words), self.size.width - 4)
        if len(rows) > 2:
            rows = [rows[0], fit(" ".join(rows[1:]), self.size.width - 4)]
        if row >= len(rows) or not words:
            return []
        return [(lead if row == 0 else "   ", role), (rows[row], "strong" if not self.state.note else "wrong")]


def stage_wire(state: StripState, width: int) -> list[Part]:
    """The stages on one wire: done ones thick, the one shown in a housing, those to come dotted.

    A screen beside the stages, such as the comeback, stands in its housing before the wire.
    """
    stages = state.stages
    if not stages:
        return []
    at = stages.index(state.stage) if state.stage in stages else -1
    aside: list[Part] = [(f" ▐{state.stage.upper()}▌", "head")] if state.stage and at < 0 else []
    whole = sum(len(stage) for stage in stages) + len(stages) + 3 + length(aside)
    if whole > width:
        where = f"stage {at + 1} of {len(stages)}: {state.stage}" if at >= 0 else ""
        if aside:
            where = f"the job stands at stage {state.reached + 1} of {len(stages)}: {stages[state.reached]}"
        return [*aside, (" " + fit(where, width - 2 - length(aside)), "plain" if aside else "head")]
    parts: list[Part] = [*aside, (" ", "plain")]
    gap = min(3, max(1, (width - whole) // len(stages) + 1))
    for n, stage in enumerate(stages):
        if n:
            parts.append(("━" * gap if n <= state.reached else "┄" * gap, "wire" if n <= state.reached else "dim"))
        if n == at:
            parts.append((f"▐{stage.upper()}▌", "head"))
        else:
            parts.append((stage, "wire" if n < state.reached and stage not in state.skipped else "dim"))
    return parts
