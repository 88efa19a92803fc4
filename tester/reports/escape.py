"""Text that anybody may have typed, made fit to stand in a page, a sheet, an XML file. Pure."""

from __future__ import annotations

import html

_BIDI = frozenset("\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
_UNSEEN = frozenset("\u00ad\u200b\u2028\u2029\u2060\ufeff\ufffe\uffff")
REPLACEMENT = "\ufffd"

_FORMULA = ("=", "+", "-", "@", "\uff1d", "\uff0b", "\uff0d", "\uff20", "\u2212", "|", "%")


def visible(text: str, lines: bool = False) -> str:
    """The text with everything that does not print replaced by U+FFFD: control characters, characters that turn the
    direction of writing around or hide, halves of surrogate pairs. `lines` keeps line ends; tabs become blanks."""
    if lines:
        text = text.replace("\r\n", "\n").replace("\r", "\n").replace("\t", "    ")
    return "".join(
        c
        if (c == "\n" and lines)
        or not (ord(c) < 32 or 127 <= ord(c) < 160 or 0xD800 <= ord(c) <= 0xDFFF or c in _BIDI or c in _UNSEEN)
        else REPLACEMENT
        for c in text
    )


def markup(text: str, lines: bool = False) -> str:
    """Text for HTML, SVG and XML, in an element or in a quoted attribute."""
    return html.escape(visible(text, lines), quote=True)


def cell(value: object) -> str:
    """A value for a spreadsheet. Text that a sheet would run as a formula gets an apostrophe in front, which sheets
    show as text. Numbers stay numbers."""
    if isinstance(value, bool) or value is None:
        return "" if value is None else str(value).lower()
    if isinstance(value, (int, float)):
        return repr(value)
    text = visible(str(value))
    return "'" + text if text.lstrip(" \u00a0\u3000'\"" + REPLACEMENT).startswith(_FORMULA) else text
