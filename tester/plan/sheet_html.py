"""The work sheet as one self-contained HTML page: no network, no script, prints in black and white."""

from __future__ import annotations

from collections.abc import Iterable
from io import BytesIO

from tester.plan.face_drawing import face_svg, markup
from tester.plan.page import StepRow, WorkPage

_STYLE = """
html{color:#000;background:#fff;font:11pt/1.4 system-ui,"DejaVu Sans",Arial,sans-serif}
body{max-width:60rem;margin:0 auto;padding:1rem}
h1{font-size:1.6rem;margin:0}h2{font-size:1.15rem;margin:1.2rem 0 .3rem;border-bottom:2px solid #000}
header{display:flex;gap:1rem;justify-content:space-between}header svg{flex:none}
ul,ol{margin:.3rem 0;padding-left:1.4rem}ol.steps{list-style:none;padding:0}
ol.steps li{margin:.35rem 0;padding-left:4.2rem;position:relative;break-inside:avoid}
ol.steps li.wire{border-top:1px dashed #000;padding-top:.35rem}
ol.steps .no{position:absolute;left:0;font-weight:700;white-space:nowrap}
.box{display:inline-block;width:.9em;height:.9em;border:2px solid #000;vertical-align:-.1em;margin-right:.5em}
.caution{font-weight:700;border-left:5px solid #000;padding-left:.5rem;display:block}
.note{display:block;font-style:italic}
figure{margin:.6rem 0;break-inside:avoid}figcaption{font-weight:600}svg.face{max-width:100%;height:auto}
.wide{overflow-x:auto}table{border-collapse:collapse}th,td{border:1px solid #000;padding:.15rem .4rem;text-align:left;
vertical-align:top}caption{text-align:left;font-weight:600}.code{font:8pt/1.3 "DejaVu Sans Mono",monospace;
overflow-wrap:anywhere}footer{margin-top:1.5rem;border-top:2px solid #000}
@media print{html{font-size:10pt}body{max-width:none;padding:0}h2{break-after:avoid}@page{size:A4;margin:14mm}}
"""


def code_svg(text: str, scale: float = 2.2) -> str:
    """The text as a QR code in SVG."""
    import segno

    out = BytesIO()
    segno.make_qr(text, error="m").save(
        out, kind="svg", scale=scale, border=4, xmldecl=False, svgns=True, title="Plan, revision and hash", nl=False
    )
    return out.getvalue().decode()


def sheet_html(page: WorkPage) -> str:
    """The page."""
    parts = [
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width,initial-scale=1">'
        f"<title>{markup(page.title)}</title><style>{_STYLE}</style></head><body>",
        f"<header><div><h1>{markup(page.title)}</h1>",
        *(f"<div>{markup(fact)}</div>" for fact in page.facts),
        f"</div>{code_svg(page.code)}</header>",
        *_list("Before you start", page.cautions),
        *_list("To settle first", page.open_items),
        *_faces(page),
        *_kit(page),
        "<h2>Steps</h2>",
        '<ol class="steps">',
        *(_step(row) for row in page.steps),
        "</ol>" if page.steps else "</ol><p>none</p>",
        *_list("Not on this harness", page.not_here),
        *_leads(page),
        *_functions(page),
        "<footer><p>Builder: ____________________ Tester: ____________________ Date: ____________________</p>",
        f'<p class="code">{markup(page.code)}</p></footer></body></html>\n',
    ]
    return "".join(parts)


def _list(title: str, items: Iterable[str]) -> list[str]:
    rows = [f"<li>{markup(item)}</li>" for item in items]
    return [f"<h2>{title}</h2><ul>", *rows, "</ul>"] if rows else []


def _faces(page: WorkPage) -> Iterable[str]:
    yield from _list("Connectors", page.connectors)
    for drawn in page.faces:
        yield f"<figure><figcaption>{markup(drawn.caption)}</figcaption>{face_svg(drawn)}</figure>"
    if page.faces:
        yield (
            "<p>Thick frame: a step works there; its number stands below the cavity's. "
            "Bold and underlined: the number is moulded on the plastic. Others: count.</p>"
        )


def _kit(page: WorkPage) -> Iterable[str]:
    if not page.kit:
        return
    yield "<h2>Kit</h2>"
    if page.kit_note:
        yield f'<p class="caution">{markup(page.kit_note)}</p>'
    yield '<div class="wide"><table><caption>Kit wires</caption><thead><tr>'
    yield "".join(f'<th scope="col">{word}</th>' for word in ("Wire", "Looks", "Length", "End a", "End b", "Note"))
    yield "</tr></thead><tbody>"
    for row in page.kit:
        cells = (row.look, row.length, row.a, row.b, row.note)
        yield f'<tr><th scope="row">{markup(row.id)}</th>' + "".join(f"<td>{markup(c)}</td>" for c in cells) + "</tr>"
    yield "</tbody></table></div>"


def _step(row: StepRow) -> str:
    caution = f'<span class="caution">{markup(row.caution)}</span>' if row.caution else ""
    note = f'<span class="note">{markup(row.note)}</span>' if row.note else ""
    photo = '<span class="note">Take a photo.</span>' if row.photo else ""
    start = ' class="wire"' if row.new_wire else ""
    return (
        f'<li{start}><span class="no"><span class="box"></span>{markup(row.number)}.</span>'
        f"{caution}{markup(row.says)}{note}{photo}</li>"
    )


def _leads(page: WorkPage) -> Iterable[str]:
    for name, rows in page.leads:
        yield '<h2>Leads</h2><div class="wide"><table>'
        yield f"<caption>Lead set {markup(name)}: channel and cavity</caption><tbody>"
        for start in range(0, len(rows), 8):
            cells = (f"<td><b>{channel}</b> {markup(cavity)}</td>" for channel, cavity in rows[start : start + 8])
            yield f"<tr>{''.join(cells)}</tr>"
        yield "</tbody></table></div>"


def _functions(page: WorkPage) -> Iterable[str]:
    if page.functions:
        rows = (f'<li><span class="box"></span>{markup(do)}: {markup(see)}</li>' for do, see in page.functions)
        yield f"<h2>After installing</h2><ul>{''.join(rows)}</ul>"
