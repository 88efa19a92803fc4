"""The starter board: 20 channels straight on the pins of an RP2040 board. Continuity only."""

from __future__ import annotations

from . import kinds as k
from .cell import Value, resistor, starter_cell
from .model import OPEN, Circuit, Part, connect
from .supply import shunt

CHANNELS = 20
RAIL_PIN = 20
R_RAIL = Value("330", 330.0, 0.05)

ROWS = 20
"""Pins on one side of the processor board; J1 has a pin beside each pin of its left side, J2 beside the last five of
its right side."""


def row_of(gp: int) -> tuple[str, int]:
    """Side ("left", "right") and row 1..20 of a GP pin of the processor board, counted from its USB end."""
    number = int(k.RP2040_BOARD.pin(f"GP{gp}").number)
    return ("left", number) if number <= ROWS else ("right", 2 * ROWS + 1 - number)


def starter() -> Circuit:
    """The starter board as data; R1nn is the series resistor of channel nn, on pin GP(nn-1)."""
    board = Circuit("starter", "Starter board, 20 channels")
    nets = {pin.name: OPEN for pin in k.RP2040_BOARD.pins}
    nets |= {"GND": "GND", "3V3": "VDD", f"GP{RAIL_PIN}": "RAIL"}
    nets |= {f"GP{c - 1}": f"GP{c - 1:02}" for c in range(1, CHANNELS + 1)}
    board.add(Part("A1", k.RP2040_BOARD, "RP2040 board", connect(k.RP2040_BOARD, nets), "processor", role="processor"))
    for channel in range(1, CHANNELS + 1):
        starter_cell(board, channel)
    why = "rail from a pin: low for the check of held wires, high for scanning"
    board.add(resistor("R3", k.R_AXIAL, R_RAIL, "RAIL", "VPU", why, "rail"))
    shunt(board, 81)
    can = connect(k.C_CAN, {"plus": "VDD", "minus": "GND"})
    board.add(Part("C1", k.C_CAN, "10u", can, "rail", 10e-6, 0.2, serves="A1", role="decoupling"))
    _headers(board)
    return board


def _headers(board: Circuit) -> None:
    left = {str(row): OPEN for row in range(1, ROWS + 1)}
    right = {str(pin): OPEN for pin in range(1, 6)}
    for channel in range(1, CHANNELS + 1):
        side, row = row_of(channel - 1)
        if side == "left":
            left[str(row)] = f"TP{channel:02}"
        else:
            right[str(row - 15)] = f"TP{channel:02}"
    board.add(Part("J1", k.ROW_20, "20 pins", left, "channels 1 to 16 to the lead set", role="harness"))
    board.add(Part("J2", k.ROW_5, "5 pins", right, "channels 17 to 20 to the lead set", role="harness"))
