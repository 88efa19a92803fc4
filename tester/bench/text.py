"""Data on the screen is plain text: cleaned of what could steer a terminal, measured in cells, cut to fit."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable

from rich.cells import cell_len

Part = tuple[str, str]
"""A run of text and the role it is drawn in, such as ``("H-11", "strong")``. Roles: `lineview.ROLES`."""

_SPACED = {"\t": " ", "\n": " ", "\r": " ", "\v": " ", "\f": " ", "\u2028": " ", "\u2029": " "}


def plain(text: str) -> str:
    """The text without control, formatting and unassigned characters; line breaks and tabs become blanks.

    A name can hold an escape sequence, or marks that turn the writing direction round for the rest of the line.
    """
    if text.isascii() and text.isprintable():
        return text
    kept = []
    for char in text:
        if char in _SPACED:
            kept.append(" ")
        elif "\ufe00" <= char <= "\ufe0f" or char == "\u200d":
            continue
        elif unicodedata.category(char) not in ("Cc", "Cf", "Cs", "Co", "Cn"):
            kept.append(char)
        else:
            kept.append("\ufffd")
    return "".join(kept)


def fit(text: str, cells: int) -> str:
    """The text cut to `cells` columns, with `…` where something was cut off. Wide characters count two."""
    if cells <= 0:
        return ""
    if cell_len(text) <= cells:
        return text
    room, kept = cells - 1, []
    for char in text:
        room -= cell_len(char)
        if room < 0:
            break
        kept.append(char)
    return "".join(kept) + "…"


def pad(text: str, cells: int) -> str:
    """The text cut or filled with blanks to exactly `cells` columns."""
    cut = fit(text, cells)
    return cut + " " * max(0, cells - cell_len(cut))


def fold(text: str, cells: int) -> list[str]:
    """The text in lines of at most `cells` columns, broken between words where that is possible."""
    cells = max(2, cells)
    lines: list[str] = []
    line = ""
    for word in text.split():
        if line and cell_len(line) + 1 + cell_len(word) <= cells:
            line = f"{line} {word}"
            continue
        if line:
            lines.append(line)
        *whole, line = _chop(word, cells)
        lines.extend(whole)
    if line or not lines:
        lines.append(line)
    return lines


def _chop(word: str, cells: int) -> list[str]:
    """A word in pieces of at most `cells` columns; `cells` is at least 2."""
    pieces, room = [""], cells
    for char in word:
        wide = cell_len(char)
        if wide > room:
            pieces.append("")
            room = cells
        pieces[-1] += char
        room -= wide
    return pieces


def length(parts: Iterable[Part]) -> int:
    """Columns that these parts take."""
    return sum(cell_len(text) for text, _ in parts)


def count(number: int, one: str, many: str = "") -> str:
    """`1 cavity`, `3 cavities`."""
    return f"{number} {one if number == 1 else many or one + 's'}"
