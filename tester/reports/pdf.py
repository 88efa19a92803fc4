"""A page as PDF, A4, black on white. The writing of the fonts that travel with us: Latin, Greek, Cyrillic."""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

from tester.harness.verdict import FAIL, NOT_TESTED
from tester.reports.blocks import (
    Banner,
    Faces,
    Heading,
    Page,
    Pairs,
    Photos,
    Points,
    SignLines,
    Source,
    Table,
    Text,
)
from tester.reports.escape import visible
from tester.reports.faces import CELL_H, CELL_W, LEGEND, SIGNS, Cell, cells, size
from tester.reports.photos import media_of
from tester.reports.sheet import LINE, MARGIN, SIZE, Sheet, load_sheet

if TYPE_CHECKING:
    from fpdf import FPDF
    from fpdf.fonts import FontFace

FACE_SCALE = 0.25
"""Millimetres a unit of a face's drawing."""
PADDING = (0.5, 1.2)
"""Millimetres above and beside the text of a table's cell."""
MOST_LINES = 50
"""Lines of a table's row, such that it fits a page under the table's head."""
SURELY_FITS = 200
"""Signs that take fewer lines than that in the narrowest column."""


def page_pdf(page: Page) -> bytes:
    """The page as PDF. Signs that the fonts lack stand as boxes, and a line at the end says so."""
    sheet = load_sheet(page.title, page.foot, page.made)
    sheet.title_line(page.title)
    for block in page.blocks:
        _MAKERS[type(block)](sheet, block)
    if sheet.lacking:
        sheet.gap()
        sheet.paragraph("Some signs cannot be shown here and stand as \u25a1; the HTML page of this record shows them.")
    return sheet.finished()


def _heading(sheet: Sheet, block: Heading) -> None:
    sheet.gap(3 if block.level == 2 else 1.5)
    sheet.keep_together(18)
    sheet.paragraph(block.text, size=12 if block.level == 2 else SIZE, bold=True)
    if block.level == 2:
        sheet.rule()


def _text(sheet: Sheet, block: Text) -> None:
    sheet.paragraph(block.text, bold=block.strong)


def _points(sheet: Sheet, block: Points) -> None:
    for item in block.items:
        sheet.paragraph(item, indent=4, lead="•")


def _banner(sheet: Sheet, block: Banner) -> None:
    sheet.boxed(block.word, block.below, black=block.word == FAIL, dashed=block.word == NOT_TESTED)


def _pairs(sheet: Sheet, block: Pairs) -> None:
    for name, value in block.items:
        sheet.pair(name, value)


def _table(sheet: Sheet, block: Table) -> None:
    from fpdf.enums import TableBordersLayout
    from fpdf.fonts import FontFace

    black = FontFace(color=(255, 255, 255), fill_color=(0, 0, 0), emphasis="BOLD")
    head = FontFace(emphasis="BOLD", fill_color=(230, 230, 230))
    sheet.paragraph(block.caption, size=8)
    pdf = sheet.pdf
    pdf.set_font("plain", size=8)
    with pdf.table(
        col_widths=block.widths, text_align="LEFT", line_height=4, padding=PADDING, headings_style=head,
        borders_layout=TableBordersLayout.ALL, first_row_as_headings=True,
    ) as table:  # fmt: skip
        table.row([sheet.fit(name) for name in block.columns])
        for values in block.rows:
            style: FontFace | None = black if values[1:2] == (FAIL,) else None
            for part in _split([sheet.fit(value) for value in values], block.widths, pdf):
                table.row(part, style=style)
    pdf.set_font("plain", size=SIZE)
    sheet.gap()


def _split(values: list[str], widths: Sequence[float], pdf: FPDF) -> list[list[str]]:
    """The row as rows of at most `MOST_LINES` lines, since a row higher than a page cannot be drawn."""
    from fpdf.enums import MethodReturnValue

    if all(len(value) <= SURELY_FITS and "\n" not in value for value in values):
        return [values]
    room = [pdf.epw * width / sum(widths) - 2 * PADDING[1] for width in widths]
    cells: list[Any] = [
        pdf.multi_cell(width, text=value, padding=0, align="LEFT", dry_run=True, output=MethodReturnValue.LINES)
        for width, value in zip(room, values, strict=True)
    ]
    high = max(map(len, cells))
    if high <= MOST_LINES:
        return [values]
    starts = range(0, high, MOST_LINES)
    return [["\n".join(lines[at : at + MOST_LINES]) for lines in cells] for at in starts]


def _faces(sheet: Sheet, block: Faces) -> None:
    pdf = sheet.pdf
    for one in block.connectors:
        width, height = size(one.face)
        scale = min(FACE_SCALE, pdf.epw / max(width, 1))
        sheet.keep_together(height * scale + 10)
        title = f"{one.id}: {one.title}" if one.title else one.id
        sheet.paragraph(f"{title}, seen from the {one.face.side} side", bold=True)
        left, top = pdf.l_margin, pdf.get_y()
        for place in cells(one.id, one.face, block.marks, block.edited):
            _cell(sheet, place, left, top, scale)
        pdf.set_y(top + height * scale + 2)
    sheet.paragraph(LEGEND, size=8)


def _cell(sheet: Sheet, place: Cell, left: float, top: float, scale: float) -> None:
    pdf = sheet.pdf
    x, y = left + place.x * scale, top + place.y * scale
    width, height = CELL_W * scale - 0.5, CELL_H * scale - 0.5
    failed = place.verdict == FAIL
    pdf.set_fill_color(0 if failed else 255)
    if place.verdict == NOT_TESTED:
        pdf.set_dash_pattern(dash=0.8, gap=0.6)
    pdf.rect(x, y, width, height, style="DF")
    pdf.set_dash_pattern()
    pdf.set_text_color(255 if failed else 0)
    if place.edited:
        pdf.set_fill_color(255 if failed else 0)
        pdf.polygon([(x, y), (x + 2, y), (x, y + 2)], style="F")
    for text, offset, points in ((str(place.number), 0.08, 7.5), (SIGNS.get(place.verdict, ""), 0.52, 6)):
        pdf.set_font("plain", size=points * scale / FACE_SCALE)
        pdf.set_xy(x, y + height * offset)
        pdf.cell(width, height * 0.42, text, align="C")
    pdf.set_text_color(0)
    pdf.set_font("plain", size=SIZE)


def _source(sheet: Sheet, block: Source) -> None:
    pdf = sheet.pdf
    pdf.set_font("plain", size=7)
    for line in visible(block.text, lines=True).split("\n"):
        kept = len(line) - len(line.lstrip(" "))
        pdf.set_x(pdf.l_margin)
        pdf.multi_cell(
            0, 3.2, sheet.fit("\u00a0" * kept + line[kept:]) or " ", align="L", new_x="LMARGIN", new_y="NEXT"
        )
    pdf.set_font("plain", size=SIZE)


def _photos(sheet: Sheet, block: Photos) -> None:
    pdf = sheet.pdf
    for one in block.items:
        if one.content is not None and media_of(one.content):
            sheet.keep_together(70)
            try:
                picture = io.BytesIO(one.content)
                pdf.image(picture, w=90, h=60, keep_aspect_ratio=True, alt_text=visible(one.note or one.name))
                pdf.set_x(pdf.l_margin)
            except Exception:  # noqa: BLE001 - a picture library meets whatever a file may hold
                sheet.paragraph("(this picture cannot be drawn)", size=8)
        said = ", ".join(part for part in (one.name, one.note) if part)
        sheet.paragraph(f"{said} (SHA-256 {one.sha256})", size=8)


def _sign(sheet: Sheet, block: SignLines) -> None:
    pdf = sheet.pdf
    sheet.keep_together(26)
    pdf.set_y(pdf.get_y() + 14)
    width = pdf.epw / len(block.roles)
    top = pdf.get_y()
    for number, role in enumerate(block.roles):
        left = MARGIN + number * width
        pdf.line(left, top, left + width - 5, top)
        pdf.set_xy(left, top + 0.5)
        pdf.cell(width - 5, LINE, sheet.fit(f"{role}, date"))
    pdf.set_xy(MARGIN, top + LINE + 2)


_MAKERS: dict[type, Callable[[Sheet, Any], None]] = {
    Heading: _heading,
    Text: _text,
    Points: _points,
    Banner: _banner,
    Pairs: _pairs,
    Table: _table,
    Faces: _faces,
    Source: _source,
    Photos: _photos,
    SignLines: _sign,
}
