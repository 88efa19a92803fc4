"""The work sheet on paper. Draws on a sheet that it is given (fonts, margins and page breaks are not its business)."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, Protocol

from tester.plan.face_drawing import FaceDrawing, steps_text
from tester.plan.page import StepRow, WorkPage

_LINE = 4.8
_CODE_MM = 30.0


class Paper(Protocol):
    """What is needed of a sheet: `pdf` is an fpdf2 document in mm whose font family is "plain"."""

    pdf: Any

    def fit(self, text: str) -> str: ...
    def gap(self, height: float = ...) -> None: ...
    def keep_together(self, height: float) -> None: ...
    def title_line(self, text: str) -> None: ...
    def paragraph(
        self, text: str, *, size: float = ..., bold: bool = ..., indent: float = ..., lead: str = ...
    ) -> None: ...


def draw_sheet(page: WorkPage, paper: Paper) -> None:
    """Write the whole sheet onto `paper`, from where it stands."""
    _code(page, paper)
    width = paper.pdf.r_margin
    paper.pdf.set_right_margin(width + _CODE_MM + 2)
    paper.title_line(page.title)
    for fact in page.facts:
        paper.paragraph(fact)
    paper.paragraph(page.code, size=6)
    paper.pdf.set_right_margin(width)
    paper.pdf.set_y(max(paper.pdf.get_y(), paper.pdf.t_margin + _CODE_MM))
    _list(paper, "Before you start", page.cautions, "\u2022")
    _list(paper, "To settle first", page.open_items, "?")
    _list(paper, "Connectors", page.connectors, "\u2022")
    for drawn in page.faces:
        _face(paper, drawn)
    if page.faces:
        paper.paragraph(
            "Thick frame: a step works there; its number stands below the cavity's. Bold and underlined: the number is "
            "moulded on the plastic. Others: count.",
            size=8,
        )
    _kit(page, paper)
    _heading(paper, "Steps")
    for row in page.steps:
        _step(paper, row)
    _list(paper, "Not on this harness", page.not_here, "-")
    _leads(page, paper)
    if page.functions:
        _heading(paper, "After installing")
        for do, see in page.functions:
            _boxed(paper, "", f"{do}: {see}")
    paper.gap(3)
    paper.keep_together(_LINE)
    paper.paragraph("Builder: ________________   Tester: ________________   Date: ________________")


def _heading(paper: Paper, text: str) -> None:
    paper.keep_together(30)
    paper.gap(2)
    paper.paragraph(text, size=12.5, bold=True)
    pdf = paper.pdf
    pdf.set_line_width(0.5)
    pdf.line(pdf.l_margin, pdf.get_y(), pdf.w - pdf.r_margin, pdf.get_y())
    pdf.set_line_width(0.2)
    paper.gap(1)


def _list(paper: Paper, title: str, items: Iterable[str], sign: str) -> None:
    rows = list(items)
    if not rows:
        return
    _heading(paper, title)
    for row in rows:
        paper.paragraph(row, indent=5, lead=sign)


def _code(page: WorkPage, paper: Paper) -> None:
    """The QR code in the upper right corner, drawn as squares."""
    import segno

    matrix = list(segno.make_qr(page.code, error="m").matrix)
    pdf = paper.pdf
    size = _CODE_MM / len(matrix)
    left, top = pdf.w - pdf.r_margin - _CODE_MM, pdf.t_margin
    pdf.set_fill_color(0)
    for y, row in enumerate(matrix):
        start: int | None = None
        for x, dark in enumerate([*row, 0]):
            if dark and start is None:
                start = x
            elif not dark and start is not None:
                pdf.rect(left + start * size, top + y * size, (x - start) * size, size, style="F")
                start = None


def _face(paper: Paper, drawn: FaceDrawing) -> None:
    pdf = paper.pdf
    wide = min(13.0, pdf.epw / drawn.columns)
    high = 10.0
    paper.keep_together(drawn.rows * high + 2 * _LINE + 2)
    paper.gap(1.5)
    paper.paragraph(drawn.caption, bold=True)
    top, left = pdf.get_y() + 1, pdf.l_margin
    small = max(4.5, min(8.5, wide * 0.65))
    for one in drawn.cells:
        x, y = left + one.column * wide, top + one.row * high
        pdf.set_line_width(0.9 if one.steps else 0.2)
        pdf.rect(x + 0.6, y + 0.6, wide - 1.2, high - 1.2)
        pdf.set_xy(x, y + 1.2)
        pdf.set_font("plain", "BU" if one.moulded else "", small)
        pdf.cell(wide, 4, str(one.number), align="C")
        if one.steps:
            pdf.set_xy(x, y + 5)
            pdf.set_font("plain", "", min(7.0, small))
            pdf.cell(wide, 3.4, paper.fit(steps_text(one.steps)), align="C")
    pdf.set_line_width(0.2)
    pdf.set_xy(left, top + drawn.rows * high + 1.5)


def _kit(page: WorkPage, paper: Paper) -> None:
    if not page.kit:
        return
    _heading(paper, "Kit")
    if page.kit_note:
        paper.paragraph(page.kit_note, bold=True, indent=5, lead="!")
    for row in page.kit:
        facts = (row.look, row.length, f"a: {row.a}", f"b: {row.b}", row.note)
        paper.keep_together(2 * _LINE)
        paper.paragraph("; ".join(fact for fact in facts if fact), indent=14, lead=paper.fit(row.id[:8]))


def _boxed(paper: Paper, number: str, text: str) -> None:
    """A line with a box to tick in front of it."""
    pdf = paper.pdf
    paper.keep_together(2 * _LINE)
    y = pdf.get_y()
    pdf.set_line_width(0.5)
    pdf.rect(pdf.l_margin, y + 0.6, 3.4, 3.4)
    pdf.set_line_width(0.2)
    paper.paragraph(text, indent=14, lead=f"      {number}")


def _step(paper: Paper, row: StepRow) -> None:
    if row.new_wire:
        paper.keep_together(5 * _LINE)
        paper.gap(1)
        pdf = paper.pdf
        pdf.set_dash_pattern(dash=1, gap=1)
        pdf.line(pdf.l_margin, pdf.get_y(), pdf.w - pdf.r_margin, pdf.get_y())
        pdf.set_dash_pattern()
        paper.gap(1)
    if row.caution:
        paper.paragraph(row.caution, bold=True, indent=14, lead="     !")
    _boxed(paper, f"{row.number}.", row.says)
    if row.note:
        paper.paragraph(row.note, size=8.5, indent=14)
    if row.photo:
        paper.paragraph("Take a photo.", size=8.5, indent=14)
    paper.gap(0.5)


def _leads(page: WorkPage, paper: Paper) -> None:
    for name, rows in page.leads:
        _heading(paper, f"Lead set {name}: channel and cavity")
        paper.paragraph("   ".join(f"{channel}\u00a0{cavity}" for channel, cavity in rows), size=8.5)
