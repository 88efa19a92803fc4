"""Pictures of the screen as SVG that need nothing from outside the machine that shows them."""

from __future__ import annotations

import re

_OUTSIDE = re.compile(r"@font-face\s*\{.*?\}\s*", re.DOTALL)
_MAKER = re.compile(r"<!--.*?-->\s*", re.DOTALL)
FONTS = "DejaVu Sans Mono, Menlo, Consolas, monospace"


def without_outside_fonts(svg: str) -> str:
    """The picture with fonts of the viewing machine instead of one that would be fetched from a server."""
    return _MAKER.sub("", _OUTSIDE.sub("", svg)).replace("Fira Code, monospace", FONTS).replace("Fira Code", FONTS)
