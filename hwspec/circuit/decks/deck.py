"""What a deck is, and the pieces that decks share."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

Cell = float | str
Row = tuple[Cell, ...]

VDD_LOW = 3.3 * 0.98
"""Rail of a card at the lower end of its regulator's tolerance, volt (2 %, from memory of the data sheet)."""

VIL, VIH = 0.2, 0.8
"""Thresholds of the expander as a share of its supply (data sheet)."""

LEAK_WORST = 1.4e-6
"""Leakage into or out of one point, ampere: expander 1 uA (data sheet), three multiplexer inputs and clamp (memory)."""

LEAK_TYPICAL = 50e-9

ROL_WEAK, ROH_WEAK = 90, 233
ROL_STRONG, ROH_STRONG = 25, 50
"""Output resistance of an expander pin, ohm, weakest and strongest."""

OFF = "1e12"


@dataclass(frozen=True)
class Deck:
    """One question to ngspice.

    `columns` names the table's columns with units; `finish` turns the raw ROW lines into rows of the table (default:
    numbers as they are); `notes` stand above the table. `tolerance`: how far, relative, another version of ngspice may
    be off a committed cell (more where a last digit decides which step of the converter a board falls on).
    """

    name: str
    title: str
    columns: tuple[str, ...]
    text: str
    notes: tuple[str, ...] = ()
    finish: Callable[[Sequence[Sequence[str]]], list[Row]] | None = None
    tolerance: float = 0.01


def rows_as_read(raw: Sequence[Sequence[str]]) -> list[Row]:
    """Numbers where a word is one, text elsewhere."""
    return [tuple(as_cell(word) for word in words) for words in raw]


def as_cell(word: str) -> Cell:
    """``"1.2e3"`` -> 1200.0, other words unchanged."""
    try:
        return float(word)
    except ValueError:
        return word


def text(title: str, body: Sequence[str], control: Sequence[str]) -> str:
    """A deck's file: title, circuit, control block."""
    lines = [title, *body, ".control", "set noaskquit", "set numdgt=7", *control, "quit 0", ".endc", ".end"]
    return "\n".join(lines) + "\n"


def card(params: Mapping[str, float | str], body: Sequence[str]) -> list[str]:
    """Circuit with the whole card, powered from 5 V and armed; `params` over the nominal corner."""
    from ..spice import CORNERS

    corner = {**CORNERS, **{key: f"{value:g}" if isinstance(value, float) else value for key, value in params.items()}}
    settings = " ".join(f"{key}={value}" for key, value in corner.items())
    return [
        ".include models.lib",
        ".include card.lib",
        f".param {settings}",
        "V5 v5 0 5",
        "Varm arm 0 3.3",
        "Varm_n arm_n 0 0",
        "Vlatch latch 0 0",
        "Vchain chain_in 0 0",
        *body,
    ]


def drive(low: Sequence[int] = (), high: Sequence[int] = (), rol: float = ROL_WEAK, roh: float = ROH_WEAK) -> list[str]:
    """Control lines that drive channels low and high; others stay as they were."""
    return [f"alter rl{c:02} = {rol:g}" for c in low] + [f"alter rh{c:02} = {roh:g}" for c in high]


def release(channels: Sequence[int]) -> list[str]:
    """Control lines that let channels go."""
    return [f"alter r{side}{c:02} = {OFF}" for c in channels for side in "lh"]


def rail(state: str) -> list[str]:
    """Control lines for the pull-up rail: "low", "high" or "released"."""
    low, high = ("20", OFF) if state == "low" else (OFF, "20") if state == "high" else (OFF, OFF)
    return [f"alter rvl = {low}", f"alter rvh = {high}"]


def hub(name: str, channels: Sequence[int], ohms: float = 0.05) -> list[str]:
    """Leads from test points to a common node."""
    return [f"Rw{c:02} tp{c:02} {name} {ohms:g}" for c in channels]
