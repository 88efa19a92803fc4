"""Parts lists as CSV: what to order for one board."""

from __future__ import annotations

import csv
import io
import re

from .model import Circuit, Part

COLUMNS = ("part", "value", "package", "quantity", "tolerance", "references", "why")


def parts_list(board: Circuit) -> str:
    """One line for each part, value and package; quantity for one board, reasons of all uses joined by "; "."""
    groups: dict[tuple[str, str, str, str], list[Part]] = {}
    for part in board.parts:
        tolerance = "" if part.tolerance is None or part.role in ("regulator", "shunt") else f"{part.tolerance:.3g}"
        groups.setdefault((part.kind.name, part.value, part.kind.package, tolerance), []).append(part)
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for (name, value, package, tolerance), parts in sorted(groups.items(), key=lambda item: _order(item[1][0])):
        why = "; ".join(dict.fromkeys(part.why for part in parts))
        percent = f"{float(tolerance) * 100:g} %" if tolerance else ""
        writer.writerow((name, value, package, len(parts), percent, _ranges([p.ref for p in parts]), why))
    return out.getvalue()


def _split(ref: str) -> tuple[str, int]:
    match = re.fullmatch(r"([A-Z]+)(\d+)", ref)
    if match is None:
        return ref, 0
    return match[1], int(match[2])


def _order(part: Part) -> tuple[str, str, int]:
    letter, number = _split(part.ref)
    return letter, part.kind.name, number


def _ranges(refs: list[str]) -> str:
    """``R101 R102 R103 R107`` -> ``R101-R103 R107``."""
    parts = sorted(_split(ref) for ref in refs)
    runs: list[list[tuple[str, int]]] = []
    for letter, number in parts:
        if runs and runs[-1][-1] == (letter, number - 1):
            runs[-1].append((letter, number))
        else:
            runs.append([(letter, number)])
    return " ".join(
        f"{run[0][0]}{run[0][1]}" if len(run) == 1 else f"{run[0][0]}{run[0][1]}-{run[-1][0]}{run[-1][1]}"
        for run in runs
    )
