"""A page as one self-contained HTML file: no script, nothing fetched, black on white, made to be printed."""

from __future__ import annotations

import base64
import re
from collections.abc import Callable
from typing import Any

from tester.reports.blocks import (
    Banner,
    Block,
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
from tester.reports.escape import markup
from tester.reports.faces import LEGEND, face_svg
from tester.reports.photos import media_of

_STYLE = """
html{color:#000;background:#fff;font:11pt/1.45 system-ui,"DejaVu Sans",Arial,sans-serif}
body{max-width:52rem;margin:0 auto;padding:1rem;overflow-wrap:anywhere}
h1{font-size:1.6rem;margin:0 0 .6rem}h2{font-size:1.2rem;margin:1.4rem 0 .4rem;border-bottom:1px solid #000}
h3{font-size:1rem;margin:1rem 0 .3rem}p,ul{margin:.4rem 0}
.verdict{border:3px solid #000;padding:.5rem .8rem;margin:.8rem 0}
.verdict strong{display:block;font-size:1.9rem;line-height:1.2}
.verdict.FAIL{background:#000;color:#fff}.verdict.NOT{border-style:dashed}
.whole{white-space:nowrap}
dl{display:grid;grid-template-columns:minmax(8rem,14rem) 1fr;gap:.15rem .8rem;margin:.4rem 0}
dt{font-weight:600}dd{margin:0}
.wide{overflow-x:auto}table{border-collapse:collapse;width:100%;font-size:.92em}
caption{text-align:left;font-style:italic;padding:.2rem 0}
th,td{border:1px solid #555;padding:.2rem .4rem;text-align:left;vertical-align:top}thead th{background:#e6e6e6}
tr.FAIL td,tr.FAIL th{background:#000;color:#fff;font-weight:700}tr.NOT td:nth-child(2){font-style:italic}
figure{margin:.6rem 0;break-inside:avoid}svg.face{max-width:100%;height:auto;font-family:inherit}
img{max-width:100%;max-height:22rem;border:1px solid #555}
pre{white-space:pre-wrap;border:1px solid #555;padding:.5rem;font:9pt/1.35 "DejaVu Sans Mono",monospace}
.sign{display:flex;flex-wrap:wrap;gap:1.5rem;margin:2.2rem 0 .6rem}.sign span{flex:1 1 11rem;border-top:1px solid #000}
footer{margin-top:1.5rem;border-top:1px solid #555;font-size:.85em}
@page{size:A4;margin:14mm}
@media print{html{font-size:9.5pt}body{max-width:none;padding:0}thead{display:table-header-group}
caption{break-after:avoid}thead,caption{break-inside:avoid}
tr,.verdict,dl>*{break-inside:avoid}h2,h3{break-after:avoid}
.verdict.FAIL,tr.FAIL td,tr.FAIL th,thead th{-webkit-print-color-adjust:exact;print-color-adjust:exact}
.wide{overflow:visible}}
"""

_POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:"


_CAVITY = re.compile(r"(?<![\w&#;-])[^\W\d_][\w.]{0,20}-\d{1,4}(?![\w-])")


def page_html(page: Page) -> str:
    """The page as HTML text."""
    body = "\n".join(_block(block) for block in page.blocks)
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{markup(_POLICY)}">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        '<meta name="referrer" content="no-referrer">\n'
        f"<title>{markup(page.title)}</title>\n<style>{_STYLE}</style>\n</head>\n<body>\n<main>\n"
        f"<h1>{markup(page.title)}</h1>\n{body}\n</main>\n<footer>{markup(page.foot)}</footer>\n</body>\n</html>\n"
    )


def _block(block: Block) -> str:
    return _MAKERS[type(block)](block)


def _shown(text: str) -> str:
    """Escaped text in which a cavity's name is never broken at its hyphen."""
    return _CAVITY.sub(r'<span class="whole">\g<0></span>', markup(text))


def _heading(block: Heading) -> str:
    level = 3 if block.level == 3 else 2
    return f"<h{level}>{_shown(block.text)}</h{level}>"


def _text(block: Text) -> str:
    inner = _shown(block.text)
    return f"<p><strong>{inner}</strong></p>" if block.strong else f"<p>{inner}</p>"


def _points(block: Points) -> str:
    return "<ul>" + "".join(f"<li>{_shown(item)}</li>" for item in block.items) + "</ul>"


def _banner(block: Banner) -> str:
    kind = block.word.split()[0]
    return f'<div class="verdict {markup(kind)}"><strong>{markup(block.word)}</strong>{markup(block.below)}</div>'


def _pairs(block: Pairs) -> str:
    return "<dl>" + "".join(f"<dt>{_shown(k)}</dt><dd>{_shown(v)}</dd>" for k, v in block.items) + "</dl>"


def _table(block: Table) -> str:
    head = "".join(f'<th scope="col">{markup(name)}</th>' for name in block.columns)
    rows = []
    for row in block.rows:
        kind = next((f' class="{word.split()[0]}"' for word in row[1:2] if word in ("FAIL", "NOT TESTED")), "")
        first = f'<th scope="row">{_shown(row[0])}</th>'
        rows.append(f"<tr{kind}>{first}" + "".join(f"<td>{_shown(value)}</td>" for value in row[1:]) + "</tr>")
    total = sum(block.widths)
    widths = "".join(f'<col style="width:{100 * width / total:.1f}%">' for width in block.widths)
    return (
        f'<div class="wide"><table><caption>{markup(block.caption)}</caption><colgroup>{widths}</colgroup>'
        f"<thead><tr>{head}</tr></thead><tbody>{''.join(rows)}</tbody></table></div>"
    )


def _faces(block: Faces) -> str:
    drawn = []
    for one in block.connectors:
        title = f"{one.id}: {one.title}" if one.title else one.id
        svg = face_svg(one.id, title, one.face, block.marks, block.edited)
        side = f"seen from the {one.face.side} side"
        drawn.append(f"<figure>{svg}<figcaption>{markup(title)}, {side}</figcaption></figure>")
    return "".join(drawn) + f"<p>{markup(LEGEND)}</p>"


def _source(block: Source) -> str:
    return f"<pre>{markup(block.text, lines=True)}</pre>"


def _photos(block: Photos) -> str:
    drawn = []
    for one in block.items:
        said = ", ".join(part for part in (one.name, one.note) if part)
        image = ""
        media = media_of(one.content or b"")
        if one.content is not None and media:
            data = base64.b64encode(one.content).decode("ascii")
            image = f'<img alt="{markup(one.note or one.name)}" src="data:{media};base64,{data}"><br>'
        drawn.append(f"<figure>{image}<figcaption>{markup(said)} (SHA-256 {markup(one.sha256)})</figcaption></figure>")
    return "".join(drawn)


def _sign(block: SignLines) -> str:
    return '<div class="sign">' + "".join(f"<span>{markup(role)}, date</span>" for role in block.roles) + "</div>"


_MAKERS: dict[type, Callable[[Any], str]] = {
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
