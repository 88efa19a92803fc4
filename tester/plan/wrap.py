"""Text for a terminal of 80 columns: a head, then what it is about, wrapped under it. Pure."""

from __future__ import annotations

import textwrap

WIDTH = 80


def wrapped(head: str, text: str, indent: int | None = None) -> list[str]:
    """Lines that begin with `head` and go on under its end, or `indent` blanks in; the head alone without text."""
    under = " " * (len(head) if indent is None else indent)
    found = textwrap.wrap(text, WIDTH, initial_indent=head, subsequent_indent=under, break_long_words=False)
    return found or [head]
