"""The starter board: 20 channels straight on the pins of an RP2040 board. Continuity only."""

from __future__ import annotations

from . import kinds as k
from .cell import STARTER_RPU, Value, resistor, starter_cell
from .model import OPEN, Circuit, Part, connect
from .supply import shunt

CHANNELS = 20
RAIL_PIN = 20
R_RAIL = Value("330", 330.0, 0.05)


def starter() -> Circuit:
    """The starter board as data; R1nn is the series resistor of channel nn, on pin GP(nn-1)."""
    board = Circuit("starter", "Starter board, 20 channels")
    nets = {pin.name: OPEN for pin in k.RP2040_BOARD.pins}
    nets |= {"GND": "GND", "3V3": "VDD", f"GP{RAIL_PIN}": "RAIL"}
    nets |= {f"GP{c - 1}": f"GP{c - 1:02}" for c in range(1, CHANNELS + 1)}
    board.add(Part("A1", k.RP2040_BOARD, "RP2040 board", connect(k.RP2040_BOARD, nets), "processor", role="processor"))
    for channel in range(1, CHANNELS + 1):
        starter_cell(board, channel)
    _pull_ups(board)
    shunt(board, 81)
    can = connect(k.C_CAN, {"plus": "VDD", "minus": "GND"})
    board.add(Part("C1", k.C_CAN, "10u", can, "rail", 10e-6, 0.2, serves="A1", role="decoupling"))
    harness = {str(n): f"TP{n:02}" for n in range(1, CHANNELS + 1)}
    board.add(Part("J1", k.BOX_20, "20 pins", harness, "20 channels to the lead set", role="harness"))
    return board


def _pull_ups(board: Circuit) -> None:
    why = "pull-ups to the switched rail, eight in one piece (starter)"
    for number in range(3):
        first = number * 8 + 1
        channels = {f"R{i + 1}": first + i for i in range(8)}
        nets = {name: f"N{c:02}" if c <= CHANNELS else OPEN for name, c in channels.items()}
        joined = connect(k.NETWORK_8, {"BUS": "VPU"} | nets)
        board.add(
            Part(
                f"RN{number + 1}",
                k.NETWORK_8,
                "8 x 330k",
                joined,
                why,
                STARTER_RPU.number,
                STARTER_RPU.tolerance,
                role="Rpu",
            )
        )
    why = "rail from a pin: low for the check of held wires, high for scanning"
    board.add(resistor("R3", k.R_AXIAL, R_RAIL, "RAIL", "VPU", why, "rail"))
