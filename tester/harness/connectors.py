"""Connectors and their faces: which cavity is where, seen from the side that the person looks at."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

MATING, WIRE = "mating", "wire"
_RANGE = re.compile(r"(\d{1,4})(?:-(\d{1,4}))?")


@dataclass(frozen=True)
class Face:
    """Cavity numbers of a connector as rows, left to right, top to bottom; None where there is no cavity.

    `side` is the side that one looks at: "mating" (into the plug) or "wire" (where the wires go in).
    All rows have the same length.
    """

    rows: tuple[tuple[int | None, ...], ...]
    side: str = WIRE

    def flipped(self) -> Face:
        """The same connector from its other side: left and right exchanged."""
        return Face(tuple(tuple(reversed(row)) for row in self.rows), MATING if self.side == WIRE else WIRE)

    def seen_from(self, side: str) -> Face:
        """This face, flipped if it is not drawn from `side`."""
        return self if side == self.side else self.flipped()

    def place(self, number: int) -> tuple[int, int]:
        """Row and column of a cavity, from 0. KeyError when it is not on the face."""
        for y, row in enumerate(self.rows):
            if number in row:
                return y, row.index(number)
        raise KeyError(number)

    def corners(self) -> tuple[int, ...]:
        """First and last cavity of the first and last row: the numbers most often moulded."""
        ends = [[n for n in row if n is not None] for row in (self.rows[0], self.rows[-1])]
        return tuple(dict.fromkeys(n for row in ends if row for n in (row[0], row[-1])))


def parse_row(text: str) -> list[int | None]:
    """A row as written: numbers and ranges, ``.`` for a gap: ``"1-4 . 5 6"``, ``"9-1"``. Raises ValueError."""
    row: list[int | None] = []
    for part in text.replace(",", " ").split():
        if part == ".":
            row.append(None)
            continue
        found = _RANGE.fullmatch(part)
        if found is None:
            raise ValueError(f'"{part}" in row "{text}" is no cavity number; write such as "1-9" or "1 2 . 3"')
        first, last = int(found[1]), int(found[2] or found[1])
        row += range(first, last + 1) if first <= last else range(first, last - 1, -1)
    return row


def make_face(rows: Sequence[str], numbers: Sequence[int], side: str = WIRE) -> Face:
    """Face from rows as written. Every one of `numbers` must be there exactly once. Raises ValueError."""
    if not rows:
        return default_face(numbers, side)
    parsed = [parse_row(row) for row in rows]
    drawn = [n for row in parsed for n in row if n is not None]
    for number in drawn:
        if number not in numbers:
            raise ValueError(f"the rows show cavity {number}, which this connector does not have")
        if drawn.count(number) > 1:
            raise ValueError(f"the rows show cavity {number} twice")
    missing = [n for n in numbers if n not in drawn]
    if missing:
        raise ValueError(f"the rows do not show cavity {', '.join(map(str, missing))}")
    return _padded(parsed, side)


def default_face(numbers: Sequence[int], side: str = WIRE) -> Face:
    """One row up to ten cavities, else two."""
    order: list[int | None] = list(numbers)
    if len(order) <= 10:
        return _padded([order], side)
    half = (len(order) + 1) // 2
    return _padded([order[:half], order[half:]], side)


def _padded(rows: Sequence[Sequence[int | None]], side: str) -> Face:
    width = max(len(row) for row in rows)
    return Face(tuple((*row, *[None] * (width - len(row))) for row in rows), side)
