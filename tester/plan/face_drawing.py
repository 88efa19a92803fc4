"""Connector faces for the work sheet: where each step works, which numbers can be read on the plastic.

Black and white is enough: cavities that a step works on have a thick frame and the step's number below theirs; numbers
that are moulded stand in bold and underlined, the others are plain.
"""

from __future__ import annotations

import html
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from tester.harness.cavity import cavity
from tester.harness.connectors import Face
from tester.plan.models import Connector

CELL_W, CELL_H = 40.0, 34.0


def markup(text: str) -> str:
    """Text for HTML and SVG: escaped, and whatever does not print or turns writing around replaced by U+FFFD."""
    shown = (c if c == "\n" or unicodedata.category(c) not in ("Cc", "Cf", "Cs") else "\ufffd" for c in text)
    return html.escape("".join(shown), quote=True)


@dataclass(frozen=True)
class Cell:
    """One cavity: its number, column and row from 0, whether its number is moulded, and the steps that work on it."""

    number: int
    column: int
    row: int
    moulded: bool
    steps: tuple[str, ...]


@dataclass(frozen=True)
class FaceDrawing:
    """A face as it is drawn: `side` that one looks at, size in cells."""

    connector: str
    title: str
    side: str
    columns: int
    rows: int
    cells: tuple[Cell, ...]

    @property
    def caption(self) -> str:
        """Such as ``D, door coupling, seen from the wire side``."""
        looked = "where the wires go in" if self.side == "wire" else "into the mating face"
        return ", ".join(
            part for part in (self.connector, self.title, f"seen from the {self.side} side ({looked})") if part
        )


def draw_face(connector: Connector, side: str, steps: Mapping[str, Sequence[str]]) -> FaceDrawing:
    """The face of a connector from `side` ("wire" or "mating"); `steps`: cavity -> numbers of its steps."""
    face: Face = connector.face.seen_from(side)
    cells = [
        Cell(number, x, y, number in connector.moulded, tuple(steps.get(cavity(connector.id, number), ())))
        for y, row in enumerate(face.rows)
        for x, number in enumerate(row)
        if number is not None
    ]
    return FaceDrawing(connector.id, connector.title, side, len(face.rows[0]), len(face.rows), tuple(cells))


def steps_text(steps: Sequence[str]) -> str:
    """Numbers of steps as they fit into a cell: ``3,4``, ``3..17`` when there are many."""
    joined = ",".join(steps)
    return joined if len(joined) <= 6 else f"{steps[0]}..{steps[-1]}"


def face_svg(drawn: FaceDrawing) -> str:
    """The drawing as SVG, with its content in words for those who cannot see it."""
    width, height = drawn.columns * CELL_W + 4, drawn.rows * CELL_H + 4
    used = [f"{drawn.connector}-{one.number}: step {', '.join(one.steps)}" for one in drawn.cells if one.steps]
    said = "; ".join(used) or "no step works here"
    parts = [
        f'<svg class="face" role="img" viewBox="-2 -2 {width:g} {height:g}" width="{width:g}" height="{height:g}"'
        f' xmlns="http://www.w3.org/2000/svg" aria-label="{markup(drawn.caption)}">'
        f"<title>{markup(drawn.caption)}</title><desc>{markup(said)}</desc>"
    ]
    return "".join(parts + [_cell_svg(drawn.connector, one) for one in drawn.cells]) + "</svg>"


def _cell_svg(connector: str, one: Cell) -> str:
    x, y = one.column * CELL_W, one.row * CELL_H
    middle = x + CELL_W / 2
    weight = ' font-weight="bold" text-decoration="underline"' if one.moulded else ""
    box = (
        f'<rect x="{x + 2:g}" y="{y + 2:g}" width="{CELL_W - 4:g}" height="{CELL_H - 4:g}" rx="4" fill="#fff"'
        f' stroke="#000" stroke-width="{3 if one.steps else 1}"/>'
    )
    number = (
        f'<text data-cavity="{markup(connector)}-{one.number}" x="{middle:g}" y="{y + 15:g}" font-size="12"'
        f' text-anchor="middle"{weight}>{one.number}</text>'
    )
    steps = ""
    if one.steps:
        said = steps_text(one.steps)
        steps = f'<text x="{middle:g}" y="{y + 27:g}" font-size="10" text-anchor="middle">{markup(said)}</text>'
    return box + number + steps
