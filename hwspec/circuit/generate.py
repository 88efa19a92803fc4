"""Writes everything that is made from the description of the board.

``python -m hwspec.circuit.generate`` writes, ``--check`` only compares (exit status 1 when a file is stale).
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path

from . import bom, kicad, pins
from .card import card
from .main import main_board
from .model import Circuit
from .starter import starter

ROOT = Path(__file__).resolve().parents[2]

BOARDS: dict[str, Callable[[], Circuit]] = {"card": card, "main": main_board, "starter": starter}


def tables() -> dict[str, str]:
    """Path in the checkout -> text: netlists, parts lists, channel tables."""
    files = {}
    for name, make in BOARDS.items():
        board = make()
        files[f"schematics/kicad/{name}.net"] = kicad.netlist(board)
        files[f"hwspec/circuit/parts/{name}.csv"] = bom.parts_list(board)
    files["hwspec/circuit/pins.csv"] = pins.pins_csv()
    files["hwspec/circuit/starter_pins.csv"] = pins.starter_csv()
    files["hwspec/circuit/wiring.py"] = pins.wiring_module()
    return files


def outputs() -> dict[str, str]:
    """Path in the checkout -> text of every generated file."""
    return tables()


def stale(files: dict[str, str]) -> list[str]:
    """Paths whose committed text differs from what the description gives now."""
    return [
        path
        for path, text in files.items()
        if not (ROOT / path).is_file() or (ROOT / path).read_text(encoding="utf-8") != text
    ]


def main(arguments: list[str]) -> int:
    """Write (or with ``--check`` only compare) the generated files."""
    files = outputs()
    old = stale(files)
    if "--check" in arguments:
        for path in old:
            print(f"stale: {path}; run python -m hwspec.circuit.generate")
        return 1 if old else 0
    for path in old:
        (ROOT / path).parent.mkdir(parents=True, exist_ok=True)
        (ROOT / path).write_text(files[path], encoding="utf-8")
        print(f"wrote {path}")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
