"""``python -m hwspec.virtual --harness F --leads L``: a board on a pseudo-terminal."""

from __future__ import annotations

import argparse
import signal
import sys
from pathlib import Path

from hwspec.virtual.board import STARTER_CHANNELS, Options, VirtualBoard
from hwspec.virtual.files import BadFile
from hwspec.virtual.harness import load_harness
from hwspec.virtual.leads import load_leads
from hwspec.virtual.micropython import find_micropython
from hwspec.virtual.parts import PER_CARD
from hwspec.virtual.server import Server
from hwspec.virtual.store import FolderStore
from hwspec.virtual.trace import Trace

MOST_CARDS = 4


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="python -m hwspec.virtual",
        description="A virtual scan board on a pseudo-terminal. The first line on standard output names the port; "
        "the board runs until standard input closes.",
    )
    parser.add_argument("--harness", type=Path, required=True, help="virtual harness file: what is plugged in")
    parser.add_argument("--leads", type=Path, required=True, help="lead map: which channel goes to which cavity")
    parser.add_argument("--wired-by", type=Path, help="wire the harness by this other lead map (a wrong lead set)")
    parser.add_argument("--channels", type=int, help="channels that may be wired; also says how many cards")
    parser.add_argument("--cards", type=int, help="cards of 64 channels (default: as many as the lead map needs)")
    parser.add_argument("--build", choices=("full", "starter"), default="full")
    parser.add_argument("--firmware", choices=("cpython", "micropython"), default="cpython")
    parser.add_argument("--seed", type=int, default=0, help="which board out of the drawer: tolerances and noise")
    parser.add_argument("--nominal", action="store_true", help="every part at its nominal value, no noise")
    parser.add_argument("--worst-leakage", action="store_true", help="leakage at the limits of the data sheets")
    parser.add_argument("--defect", action="append", default=[], help="a board soldered badly, see defects.py")
    parser.add_argument("--trace", type=Path, help="write what the chips did as JSON lines")
    parser.add_argument("--store", type=Path, help="folder that keeps what the firmware stores (calibration)")
    parser.add_argument("--root", default="", help="folder of the firmware slots, for updates")
    parser.add_argument("--link", type=Path, help="symbolic link to the port, renewed when it is plugged in again")
    parser.add_argument("--json", action="store_true", help="no effect: standard output is JSON lines always")
    return parser


def _cards(given: argparse.Namespace, highest: int) -> int:
    needed = max(1, -(-(given.channels or highest) // PER_CARD))
    cards = needed if given.cards is None else int(given.cards)
    if not 1 <= cards <= MOST_CARDS:
        raise BadFile(f"--cards {cards}: a board has 1 to {MOST_CARDS} cards of {PER_CARD} channels")
    return cards


def _board(given: argparse.Namespace) -> VirtualBoard:
    if given.channels is not None and not 1 <= given.channels <= MOST_CARDS * PER_CARD:
        raise BadFile(f"--channels {given.channels}: a board has 1 to {MOST_CARDS * PER_CARD} channels")
    harness = load_harness(given.harness)
    limit = STARTER_CHANNELS if given.build == "starter" else MOST_CARDS * PER_CARD
    limit = min(limit, given.channels or limit, (given.cards or MOST_CARDS) * PER_CARD)
    leads = load_leads(given.leads, limit)
    if given.wired_by is not None:
        leads = load_leads(given.wired_by, limit)
    cards = _cards(given, max([*leads.channels, leads.probe or 1]))
    if given.firmware == "micropython" and find_micropython() is None:
        raise BadFile("--firmware micropython: no micropython found beside this Python or on the PATH")
    options = Options(
        build=given.build,
        cards=cards,
        channels=given.channels,
        seed=given.seed,
        worst_leakage=given.worst_leakage,
        defects=tuple(given.defect),
        store=FolderStore(given.store) if given.store is not None else {},
    )
    if given.nominal:
        options.parts = options.nominal()
    try:
        trace = Trace(given.trace.open("w", encoding="utf-8") if given.trace else None)
    except OSError as wrong:
        raise BadFile(f"{given.trace}: cannot be written: {(wrong.strerror or str(wrong)).lower()}") from None
    return VirtualBoard(harness, leads, options, trace)


def main(argv: list[str] | None = None) -> int:
    """Serve. 0 when standard input closed, 3 for a bad file or option, 4 after an electrical fault."""
    try:
        given = _parser().parse_args(argv)
    except SystemExit as wrong:
        return 3 if wrong.code else 0
    try:
        board = _board(given)
    except BadFile as wrong:
        print(wrong, file=sys.stderr)
        return 3
    signal.signal(signal.SIGTERM, signal.default_int_handler)
    try:
        return Server(board, given.firmware, given.link, given.root).serve()
    except KeyboardInterrupt:
        return 0


if __name__ == "__main__":
    sys.exit(main())
