"""Sheets of paper to write on: fonts, margins, page breaks, a line at the foot. Loads the PDF library when asked."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from tester.reports.escape import visible

if TYPE_CHECKING:
    from fpdf import FPDF

MARGIN, SIZE, LINE = 15.0, 9.5, 4.8
FONTS = Path(__file__).parent / "fonts"
LACKING = "\u25a1"
NAME_W = 46.0


def load_sheet(title: str, foot: str, made: datetime) -> Sheet:
    """An empty A4 sheet with our fonts, its title in the file's properties and `foot` on every page."""
    import logging

    from fpdf import FPDF

    for name in ("fpdf", "fontTools"):
        logging.getLogger(name).setLevel(logging.ERROR)

    class Paper(FPDF):
        def footer(self) -> None:
            self.set_y(-11)
            self.set_font("plain", size=7.5)
            self.cell(0, 5, said, align="L")
            self.set_y(-11)
            self.cell(0, 5, f"{self.page_no()} of {{nb}}", align="R")
            self.set_font("plain", size=SIZE)

    paper = Paper(unit="mm", format="A4")
    add_fonts(paper)
    sheet = Sheet(paper)
    said = sheet.fit(foot)
    paper.set_margins(MARGIN, MARGIN, MARGIN)
    paper.set_auto_page_break(True, margin=15)
    paper.set_lang("en")
    paper.set_title(visible(title))
    paper.set_creation_date(made)
    paper.add_page()
    paper.set_font("plain", size=SIZE)
    return sheet


def add_fonts(paper: FPDF) -> None:
    """Our two fonts under the names `plain` and `plain` bold."""
    paper.add_font("plain", "", FONTS / "plain.ttf")
    paper.add_font("plain", "B", FONTS / "bold.ttf")


class Sheet:
    """Writes downwards. `lacking` holds signs that the fonts do not have."""

    def __init__(self, paper: FPDF) -> None:
        from fpdf.fonts import TTFFont

        self.pdf = paper
        self.lacking: set[str] = set()
        font = paper.fonts["plain"]
        assert isinstance(font, TTFFont)
        self._known = frozenset(map(chr, font.cmap))

    def fit(self, text: str) -> str:
        """Text with what the fonts lack as boxes."""
        text = visible(text)
        missing = {c for c in text if c not in self._known}
        self.lacking |= missing
        return "".join(LACKING if c in missing else c for c in text) if missing else text

    def gap(self, height: float = 1.5) -> None:
        """Empty space."""
        self.pdf.set_y(self.pdf.get_y() + height)

    def keep_together(self, height: float) -> None:
        """Go on to the next page unless `height` millimetres are left."""
        if self.pdf.get_y() + height > self.pdf.page_break_trigger and self.pdf.get_y() > MARGIN + 1:
            self.pdf.add_page()

    def rule(self) -> None:
        """A line across."""
        y = self.pdf.get_y()
        self.pdf.line(self.pdf.l_margin, y, self.pdf.w - self.pdf.r_margin, y)
        self.gap(1)

    def title_line(self, text: str) -> None:
        """The title of the first sheet."""
        self.paragraph(text, size=17, bold=True)
        self.gap(1)

    def paragraph(
        self, text: str, *, size: float = SIZE, bold: bool = False, indent: float = 0, lead: str = ""
    ) -> None:
        """Text from margin to margin, with a sign in front if asked."""
        pdf = self.pdf
        pdf.set_font("plain", "B" if bold else "", size)
        pdf.set_x(pdf.l_margin)
        if lead:
            pdf.cell(indent, LINE, lead)
        pdf.set_x(pdf.l_margin + indent)
        pdf.multi_cell(0, LINE * max(1.0, size / SIZE), self.fit(text), align="L", new_x="LMARGIN", new_y="NEXT")
        pdf.set_font("plain", size=SIZE)

    def pair(self, name: str, value: str) -> None:
        """A name with its value beside it."""
        pdf = self.pdf
        self.keep_together(2 * LINE)
        top, page = pdf.get_y(), pdf.page
        pdf.set_font("plain", "B", SIZE)
        pdf.multi_cell(NAME_W - 2, LINE, self.fit(name), align="L", new_x="LMARGIN", new_y="NEXT")
        below, after = pdf.get_y(), pdf.page
        pdf.set_font("plain", size=SIZE)
        if after == page:
            pdf.set_y(top)
        pdf.set_x(pdf.l_margin + NAME_W)
        pdf.multi_cell(0, LINE, self.fit(value) or " ", align="L", new_x="LMARGIN", new_y="NEXT")
        if pdf.page == after:
            pdf.set_y(max(below, pdf.get_y()))

    def boxed(self, word: str, below: str, *, black: bool, dashed: bool) -> None:
        """The verdict in a frame: black for a failed one, dashed for one that says little."""
        pdf = self.pdf
        self.gap(2)
        pdf.set_font("plain", size=SIZE)
        lines = pdf.multi_cell(pdf.epw - 8, LINE, self.fit(below), dry_run=True, output="LINES")
        height = 13 + LINE * (len(lines) if isinstance(lines, list) else 1) + 2
        self.keep_together(height + 2)
        top = pdf.get_y()
        pdf.set_line_width(0.8)
        pdf.set_fill_color(0 if black else 255)
        if dashed:
            pdf.set_dash_pattern(dash=2, gap=1.5)
        pdf.rect(pdf.l_margin, top, pdf.epw, height, style="DF")
        pdf.set_dash_pattern()
        pdf.set_line_width(0.2)
        pdf.set_text_color(255 if black else 0)
        pdf.set_font("plain", "B", 20)
        pdf.set_xy(pdf.l_margin + 4, top + 2)
        pdf.cell(0, 10, self.fit(word))
        pdf.set_font("plain", size=SIZE)
        pdf.set_xy(pdf.l_margin + 4, top + 12.5)
        pdf.multi_cell(pdf.epw - 8, LINE, self.fit(below), align="L")
        pdf.set_text_color(0)
        pdf.set_xy(pdf.l_margin, top + height + 2)

    def finished(self) -> bytes:
        """The file."""
        return bytes(self.pdf.output())
