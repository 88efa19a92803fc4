"""Connector faces as boxes on a plane, and as SVG. Verdicts differ by shape and word, not by colour. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from tester.harness.cavity import cavity
from tester.harness.connectors import Face
from tester.harness.verdict import FAIL, NOT_TESTED, PASS
from tester.reports.escape import markup

CELL_W, CELL_H = 34.0, 30.0
SIGNS = {PASS: "ok", FAIL: "X", NOT_TESTED: "?", "": ""}
LEGEND = "ok: PASS.  X on black: FAIL.  ? in a dashed box: NOT TESTED.  empty: not judged.  corner: edited by this job."


@dataclass(frozen=True)
class Cell:
    """One cavity on a drawing: its number, place of its upper left corner, verdict ("" if none), edited or not."""

    number: int
    x: float
    y: float
    verdict: str
    edited: bool


def cells(connector: str, face: Face, marks: Mapping[str, str], edited: frozenset[str]) -> list[Cell]:
    """The cavities of a face with their places."""
    return [
        Cell(number, column * CELL_W, row * CELL_H, marks.get(name, ""), name in edited)
        for row, numbers in enumerate(face.rows)
        for column, number in enumerate(numbers)
        if number is not None
        for name in (cavity(connector, number),)
    ]


def size(face: Face) -> tuple[float, float]:
    """Width and height of the drawing."""
    return max((len(row) for row in face.rows), default=0) * CELL_W, len(face.rows) * CELL_H


def face_svg(connector: str, title: str, face: Face, marks: Mapping[str, str], edited: frozenset[str]) -> str:
    """A face as SVG. Its description lists what did not pass, for those who cannot see it."""
    width, height = size(face)
    drawn = cells(connector, face, marks, edited)
    bad = [f"{cavity(connector, one.number)} {one.verdict}" for one in drawn if one.verdict in (FAIL, NOT_TESTED)]
    said = f"Face of {connector} seen from the {face.side} side. " + ("; ".join(bad) if bad else "Nothing to mend.")
    parts = [
        f'<svg class="face" role="img" viewBox="-2 -2 {width + 4:g} {height + 4:g}" width="{width + 4:g}"'
        f' aria-label="{markup(title)}"><title>{markup(title)}</title><desc>{markup(said)}</desc>'
    ]
    parts += [_cell_svg(one) for one in drawn]
    return "".join(parts) + "</svg>"


def _cell_svg(one: Cell) -> str:
    fill, ink, dash = "#fff", "#000", ""
    if one.verdict == FAIL:
        fill, ink = "#000", "#fff"
    elif one.verdict == NOT_TESTED:
        dash = ' stroke-dasharray="3 2"'
    box = (
        f'<rect x="{one.x + 1:g}" y="{one.y + 1:g}" width="{CELL_W - 2:g}" height="{CELL_H - 2:g}" rx="3"'
        f' fill="{fill}" stroke="#000"{dash}/>'
    )
    corner = f'<path d="M{one.x + 2:g} {one.y + 2:g}h8l-8 8z" fill="{ink}"/>' if one.edited else ""
    middle = one.x + CELL_W / 2
    number = (
        f'<text x="{middle:g}" y="{one.y + 14:g}" font-size="12" text-anchor="middle" fill="{ink}">{one.number}</text>'
    )
    sign = SIGNS.get(one.verdict, "")
    below = (
        f'<text x="{middle:g}" y="{one.y + 25:g}" font-size="9" text-anchor="middle" fill="{ink}">{sign}</text>'
        if sign
        else ""
    )
    return box + corner + number + below
