"""A label for a small label printer: record, harness tag, result, date, end of the chain, and all of it as QR code.

Black and white only, in millimetres, as SVG or PDF. The code holds capitals, digits and `:-. /` only, so that it stays
small: ``LOOMWRIGHT BENCH-0001 BENCH:12:0123456789ABCDEF``.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, tzinfo
from textwrap import wrap

from tester.errors import InputError
from tester.harness.verdict import NOT_TESTED
from tester.reports.content import JobRecord
from tester.reports.escape import markup
from tester.reports.pages import moment

WIDTH, HEIGHT = 50.0, 25.0
QUIET = 4
"""Empty modules around the code, as its standard (ISO/IEC 18004) asks for."""
EDGE = 1.5
LONGEST = 32


@dataclass(frozen=True)
class Label:
    """What stands on a label: lines of text, largest first, and the text of the code."""

    lines: tuple[str, ...]
    code: str


def label_for(record: JobRecord, head: str, zone: tzinfo = UTC) -> Label:
    """The label of a job. `head`: short chain head, which is what makes the label evidence."""
    verdict = record.verdict
    word = verdict.verdict if verdict else NOT_TESTED
    scope = wrap(", ".join(verdict.scope), LONGEST, max_lines=2, placeholder=" …") if verdict else []
    bench, _, rest = head.partition(":")
    lines = (
        record.record,
        word,
        *scope,
        f"tag {record.tag}" if record.tag else "",
        moment(record.verdict_at or record.made, zone),
        f"{bench}:{rest.partition(':')[0]}" if head else "",
        rest.partition(":")[2],
    )
    return Label(
        tuple(line if len(line) <= LONGEST else line[: LONGEST - 1] + "…" for line in lines if line),
        f"LOOMWRIGHT {record.record} {head}".strip().upper(),
    )


def label_svg(label: Label, width: float = WIDTH, height: float = HEIGHT) -> str:
    """The label as SVG of `width` by `height` millimetres."""
    modules, unit = _code(label, width, height)
    top = (height - unit * len(modules)) / 2
    path = "".join(
        f"M{_mm((QUIET + x) * unit)} {_mm(top + y * unit)}h{_mm(unit)}v{_mm(unit)}h-{_mm(unit)}z"
        for y, row in enumerate(modules)
        for x, dark in enumerate(row)
        if dark
    )
    texts = "".join(
        f'<text x="{_mm(x)}" y="{_mm(y)}" font-size="{_mm(size)}"{bold} textLength="{_mm(room)}"'
        f' lengthAdjust="spacingAndGlyphs">{markup(line)}</text>'
        if room
        else f'<text x="{_mm(x)}" y="{_mm(y)}" font-size="{_mm(size)}"{bold}>{markup(line)}</text>'
        for line, x, y, size, room, bold in _placed(label, unit * (len(modules) + 2 * QUIET), width, height)
    )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{_mm(width)}mm" height="{_mm(height)}mm"'
        f' viewBox="0 0 {_mm(width)} {_mm(height)}" font-family="DejaVu Sans, Arial, sans-serif">'
        f'<rect width="100%" height="100%" fill="#fff"/><path d="{path}" shape-rendering="crispEdges"/>{texts}</svg>\n'
    )


def label_pdf(label: Label, width: float = WIDTH, height: float = HEIGHT) -> bytes:
    """The label as a PDF page of that size."""
    from fpdf import FPDF

    from tester.reports.sheet import Sheet, add_fonts

    modules, unit = _code(label, width, height)
    paper = FPDF(unit="mm", format=(width, height))
    paper.set_margin(0)
    paper.set_auto_page_break(False)
    add_fonts(paper)
    paper.add_page(orientation="P")
    sheet = Sheet(paper)
    top = (height - unit * len(modules)) / 2
    paper.set_fill_color(0)
    for y, row in enumerate(modules):
        x = 0
        while x < len(row):
            run = x
            while run < len(row) and row[run]:
                run += 1
            if run > x:
                paper.rect((QUIET + x) * unit, top + y * unit, (run - x) * unit, unit, style="F")
            x = max(run, x + 1)
    for line, x_mm, y_mm, size, room, bold in _placed(label, unit * (len(modules) + 2 * QUIET), width, height):
        paper.set_font("plain", "B" if bold else "", size / 0.3528)
        text = sheet.fit(line)
        paper.set_stretching(min(100.0, 100 * room / paper.get_string_width(text)) if room else 100)
        paper.text(x_mm, y_mm, text)
    return bytes(paper.output())


def _code(label: Label, width: float, height: float) -> tuple[list[list[bool]], float]:
    """The code's modules, and the side of one in millimetres."""
    import segno

    modules = [[bool(value) for value in row] for row in segno.make(label.code, error="m", micro=False).matrix]
    unit = min(height, width * 0.52) / (len(modules) + 2 * QUIET)
    if unit < 0.25:
        raise InputError(
            f"a label of {width:g} by {height:g} mm is too small for its code", "take one at least 20 mm high"
        )
    return modules, unit


def _placed(
    label: Label, left: float, width: float, height: float
) -> list[tuple[str, float, float, float, float, str]]:
    """Lines with place, size, the room they must be squeezed into (0: they fit), and whether bold."""
    room = width - left - EDGE
    step = (height - 2 * EDGE) / max(len(label.lines), 6)
    placed = []
    for number, line in enumerate(label.lines):
        strong = number < 2
        size = step * (0.92 if strong else 0.74)
        wide = len(line) * size * (0.72 if strong else 0.62)
        bold = ' font-weight="bold"' if strong else ""
        placed.append((line, left, EDGE + step * (number + 0.8), size, room if wide > room else 0.0, bold))
    return placed


def _mm(value: float) -> str:
    return f"{value:.3f}".rstrip("0").rstrip(".")
