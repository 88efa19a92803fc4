"""Writes everything that is made from the description of the board.

``python -m hwspec.circuit.generate`` writes, ``--check`` only compares (exit status 1 when a file is stale).
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path

from . import bom, budget, kicad, pins, spice, strip, timing
from .card import card
from .decks import catalogue
from .decks.run import read_table
from .main import main_board
from .model import Circuit, CircuitError
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


def spice_files() -> dict[str, str]:
    """Path in the checkout -> text: SPICE libraries and decks."""
    texts = spice.libraries() | {f"{deck.name}.cir": deck.text for deck in catalogue.decks()}
    return {f"schematics/spice/{name}": text for name, text in texts.items()}


def derived_tables() -> dict[str, str]:
    """Path in the checkout -> text: tables computed from committed results of decks."""
    settle = (ROOT / "schematics/spice/results/settle.txt").read_text(encoding="utf-8")
    return {"schematics/spice/results/timing.txt": timing.table(read_table(settle))}


def drawings() -> dict[str, str]:
    """Path in the checkout -> SVG of every sheet. Needs schemdraw."""
    from .draw.sheets import sheets
    from .draw.stripboard import stripboard_svg

    pictures = {f"schematics/{name}.svg": svg for name, (svg, _) in sheets().items()}
    pictures["schematics/starter-strip.svg"] = stripboard_svg()
    pictures["schematics/starter-strip.txt"] = strip.table()
    return pictures


def filled_pages() -> dict[str, str]:
    """Path in the checkout -> text: pages whose marked tables are made here, the rest written by hand."""
    resistance = read_table((ROOT / "schematics/spice/results/resistance.txt").read_text(encoding="utf-8"))
    blocks = {"budget": budget.text(), "boards": budget.compared(resistance)}
    page = (ROOT / "hwspec/accuracy.md").read_text(encoding="utf-8")
    for name, block in blocks.items():
        start, end = f"<!-- {name}: made by hwspec.circuit.generate -->", f"<!-- end of {name} -->"
        if start not in page or end not in page:
            raise CircuitError(f"hwspec/accuracy.md has no marks for the table {name}")
        before, rest = page.split(start, 1)
        page = f"{before}{start}\n{block}\n{end}{rest.split(end, 1)[1]}"
    return {"hwspec/accuracy.md": page}


def outputs() -> dict[str, str]:
    """Path in the checkout -> text of every generated file."""
    return tables() | spice_files() | derived_tables() | drawings() | filled_pages()


def stale(files: dict[str, str]) -> list[str]:
    """Paths whose committed text differs from what the description gives now."""
    return [
        path
        for path, text in files.items()
        if not (ROOT / path).is_file() or (ROOT / path).read_text(encoding="utf-8") != text
    ]


def write(files: dict[str, str]) -> None:
    """Write files below the checkout, with their folders."""
    for path, text in files.items():
        (ROOT / path).parent.mkdir(parents=True, exist_ok=True)
        (ROOT / path).write_text(text, encoding="utf-8")


def main(arguments: list[str]) -> int:
    """Write (or with ``--check`` only compare) the generated files."""
    files = outputs()
    old = stale(files)
    if "--check" in arguments:
        for path in old:
            print(f"stale: {path}; run python -m hwspec.circuit.generate")
        return 1 if old else 0
    write({path: files[path] for path in old})
    for path in old:
        print(f"wrote {path}")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
