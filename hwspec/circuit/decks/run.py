"""Runs decks with ngspice, writes and compares their tables."""

from __future__ import annotations

import math
import re
import shutil
import subprocess
import time
from collections.abc import Sequence
from pathlib import Path

from .deck import Cell, Deck, Row, rows_as_read

SECONDS_MAX = 180


class DeckError(Exception):
    """ngspice is missing, or a deck did not run to its end."""


def run(deck: Deck, folder: Path) -> list[Row]:
    """Rows of a deck. Its file and the libraries lie in `folder`."""
    program = shutil.which("ngspice")
    if program is None:
        raise DeckError("ngspice is not installed: it runs the decks (Debian and relatives: apt-get install ngspice)")
    try:
        done = subprocess.run(
            [program, "-b", f"{deck.name}.cir"],
            cwd=folder,
            capture_output=True,
            text=True,
            timeout=SECONDS_MAX,
            check=False,
        )
    except subprocess.TimeoutExpired as slow:
        raise DeckError(f"{deck.name}: not done after {SECONDS_MAX} s") from slow
    talk = done.stdout + done.stderr
    trouble = [line for line in talk.splitlines() if re.search(r"\berror\b|singular|no convergence|fatal", line, re.I)]
    raw = [line.split()[1:] for line in done.stdout.replace('"', "").splitlines() if line.startswith("ROW ")]
    if done.returncode or trouble or not raw:
        raise DeckError(f"{deck.name}: ngspice ended with {done.returncode}: {trouble[:3] or talk[-300:]}")
    rows = (deck.finish or rows_as_read)(raw)
    for row in rows:
        if len(row) != len(deck.columns):
            raise DeckError(f"{deck.name}: row {row} has {len(row)} values for {len(deck.columns)} columns")
    return rows


def shown(value: Cell) -> str:
    """A value as the tables print it: four significant digits."""
    if isinstance(value, str):
        return value
    return f"{value:.4g}"


def table(deck: Deck, rows: Sequence[Row]) -> str:
    """Text of a results file: title, notes, columns, rows, all aligned."""
    cells = [list(deck.columns), *[[shown(value) for value in row] for row in rows]]
    widths = [max(len(row[i]) for row in cells) for i in range(len(deck.columns))]
    lines = [f"# {deck.title}", *(f"# {note}" for note in deck.notes)]
    lines += ["  ".join(word.rjust(width) for word, width in zip(row, widths, strict=True)).rstrip() for row in cells]
    return "\n".join(lines) + "\n"


def read_table(text: str) -> list[dict[str, Cell]]:
    """Rows of a results file by column name."""
    lines = [line.split() for line in text.splitlines() if line and not line.startswith("#")]
    names, body = lines[0], lines[1:]
    return [dict(zip(names, rows_as_read([words])[0], strict=True)) for words in body]


def differences(old: str, new: str, relative: float = 0.01) -> list[str]:
    """Where two results files differ by more than `relative` of the value, or of 1e-5 of its column's largest."""
    before, after = read_table(old), read_table(new)
    if len(before) != len(after) or (before and list(before[0]) != list(after[0])):
        return ["rows or columns are not the same"]
    found = []
    for name in before[0] if before else ():
        column = [row[name] for row in before]
        largest = max((abs(cell) for cell in column if isinstance(cell, float)), default=0.0)
        for number, (one, other) in enumerate(zip(before, after, strict=True), start=1):
            value, now = one[name], other[name]
            if isinstance(value, str) or isinstance(now, str):
                same = value == now
            else:
                same = math.isclose(value, now, rel_tol=relative, abs_tol=max(1e-9, 1e-5 * largest))
            if not same:
                found.append(f"row {number} {name}: {shown(value)} before, {shown(now)} now")
    return found


def timed(deck: Deck, folder: Path) -> tuple[str, float]:
    """Table of a deck and the seconds it took."""
    start = time.monotonic()
    rows = run(deck, folder)
    return table(deck, rows), time.monotonic() - start
