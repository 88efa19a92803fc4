"""Main board and cards plugged together, jumpers set: the whole full build as one circuit."""

from __future__ import annotations

from .card import card
from .main import main_board
from .model import Circuit, merged
from .supply import STACK_PINS

CARDS_MAX = 4


def jumpers(position: int) -> tuple[str, str]:
    """Card 0..3 -> (net of A2 on the card, chip select): ("GND" or "VDD", "CS0" or "CS1")."""
    return ("VDD" if position % 2 else "GND"), f"CS{position // 2}"


def prefix(position: int) -> str:
    """What references and nets of card 0..3 begin with in the whole circuit."""
    return f"c{position}."


def full_build(cards: int) -> Circuit:
    """Main board with 1..4 cards. Nets of the stacking pins keep their names, all others get a prefix."""
    bus = {net: net for net in STACK_PINS.values() if net != "CHAIN"}
    boards: list[tuple[str, Circuit, dict[str, str]]] = [("m.", main_board(), bus | {"M_MOSI": "CHAIN_0"})]
    for position in range(cards):
        mark = prefix(position)
        a2, select = jumpers(position)
        rename = bus | {
            "CHAIN_IN": f"CHAIN_{position}",
            "CHAIN_OUT": f"CHAIN_{position + 1}",
            "A2": "GND" if a2 == "GND" else mark + "VDD",
            "CS_IN": select,
        }
        boards.append((mark, card(), rename))
    return merged("full", f"Full build, {cards} cards", boards)
