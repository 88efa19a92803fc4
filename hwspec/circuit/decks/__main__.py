"""``python -m hwspec.circuit.decks [NAME ...]`` runs decks and writes their tables; ``--check`` only compares."""

from __future__ import annotations

import sys

from ..generate import ROOT, spice_files, stale, write
from . import catalogue
from .deck import Deck
from .run import DeckError, differences, timed

SPICE = ROOT / "schematics" / "spice"


def main(arguments: list[str]) -> int:
    """Exit status 0 when all decks ran (and, with ``--check``, gave the committed tables), 1 otherwise."""
    check = "--check" in arguments
    names = [word for word in arguments if not word.startswith("-")]
    unknown = set(names) - set(catalogue.names())
    if unknown:
        print(f"no deck {', '.join(sorted(unknown))}; there are: {', '.join(catalogue.names())}", file=sys.stderr)
        return 1
    bad = 0
    if check:
        old_decks = stale(spice_files())
        bad += bool(old_decks)
        for name in old_decks:
            print(f"stale: {name}; run python -m hwspec.circuit.generate")
    else:
        write(spice_files())
    total = 0.0
    for deck in catalogue.decks():
        if names and deck.name not in names:
            continue
        try:
            new, seconds = timed(deck, SPICE)
        except DeckError as wrong:
            print(wrong, file=sys.stderr)
            bad += 1
            continue
        total += seconds
        found = _compare(deck, new)
        print(f"{deck.name:14} {seconds:6.1f} s  {'as committed' if not found else f'{len(found)} differences'}")
        if check:
            bad += bool(found)
            for difference in found[:10]:
                print(f"    {difference}")
        else:
            write({f"schematics/spice/results/{deck.name}.txt": new})
    print(f"{total:.0f} s in all")
    return 1 if bad else 0


def _compare(deck: Deck, new: str) -> list[str]:
    """Differences between the committed table of a deck and a new one."""
    path = SPICE / "results" / f"{deck.name}.txt"
    if not path.is_file():
        return ["no table is committed"]
    return differences(path.read_text(encoding="utf-8"), new, deck.tolerance)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
