"""Sheets of one channel: the full cell and the starter cell."""

from __future__ import annotations

from ..card import card
from ..starter import starter
from .pen import Pen


def cell_sheet() -> tuple[str, set[str]]:
    """Channel nn of a card, drawn from channel 2 (which shares its suppressor with channel 1)."""
    pen = Pen(card(), "One channel of a card (nn = 01 to 64)")
    for old, new in (
        ("R102", "R1nn"), ("R202", "R2nn"), ("R302", "R3nn"), ("R402", "R4nn"), ("D102", "D1nn"), ("D201", "D2mm"),
        ("TP02", "TPnn"), ("N02", "Nnn"), ("PIN02", "PINnn"), ("SNS02", "SNSnn"),
    ):  # fmt: skip
        pen.rename(old, new)
    pen.tag(0, 0, "TP02", "up")
    pen.text(-0.3, 0, "lead set, J3 / J4", align="right")
    pen.wire((0, 0), (4.2, 0))
    pen.suppressor("D201", "IO2", 1.0, 0, "TP02")
    pen.dot(4.2, 0)
    pen.two("R102", (4.2, 0, "TP02"), (6.4, 0, "N02"))
    pen.wire((6.4, 0), (10.4, 0))
    pen.text(6.2, -0.3, "Nnn", 9)
    pen.clamp("D102", 7.0, 0, "N02")
    pen.dot(10.4, 0)
    pen.two("R302", (10.4, 0, "N02"), (10.4, 2.4, "VPU"), loc="bottom")
    pen.tag(10.4, 2.4, "VPU", "up")
    pen.two("R202", (10.4, 0, "N02"), (13.0, 0, "PIN02"))
    pen.wire((13.0, 0), (13.4, 0))
    pen.tag(13.4, 0, "PIN02", "right")
    pen.text(15.0, 0, "pin of U1 to U4, input of U31 to U34 (force)")
    pen.wire((4.2, 0), (4.2, -3.0))
    pen.two("R402", (4.2, -3.0, "TP02"), (6.4, -3.0, "SNS02"))
    pen.wire((6.4, -3.0), (13.4, -3.0))
    pen.tag(13.4, -3.0, "SNS02", "right")
    pen.text(15.0, -3.0, "inputs of U11 to U14 (S+) and of U21 to U24 (S-)")
    notes = (
        "Channel nn: R1nn, R2nn, R3nn, R4nn, D1nn.",
        "One suppressor serves two channels: D2mm has channel 2 x mm - 1 on pin 1 and channel 2 x mm on pin 2.",
        "VPU is the switched pull-up rail: high while scanning, low and high for the voltage check, half for ohms.",
    )
    return pen.svg(notes), {"cell", *pen.used}


def starter_cell_sheet() -> tuple[str, set[str]]:
    """Channel nn of the starter board, drawn from channel 1."""
    pen = Pen(starter(), "One channel of the starter board (nn = 01 to 20)")
    for old, new in (
        ("R101", "R1nn"), ("R201", "R2nn"), ("D101", "D1nn"), ("D201", "D2nn"), ("TP01", "TPnn"), ("N01", "Nnn"),
        ("GP00", "GP(nn-1)"), ("R301", "R3nn"),
    ):  # fmt: skip
        pen.rename(old, new)
    pen.tag(0, 0, "TP01", "up")
    pen.text(-0.3, 0, "lead set, J1 / J2", align="right")
    pen.two("R101", (0, 0, "TP01"), (3.4, 0, "N01"))
    pen.wire((3.4, 0), (8.0, 0))
    pen.text(3.6, -0.3, "Nnn", 9)
    pen.dot(5.0, 0)
    pen.two("D101", (5.0, 0, "N01"), (5.0, 2.0, "VDD"), loc="bottom")
    pen.supply(5.0, 2.0)
    pen.two("D201", (5.0, -2.0, "GND"), (5.0, 0, "N01"), loc="bottom")
    pen.tag(5.0, -2.0, "GND")
    pen.dot(8.0, 0)
    pen.two("R301", (8.0, 0, "N01"), (8.0, 2.4, "VPU"), loc="bottom")
    pen.tag(8.0, 2.4, "VPU", "up")
    pen.two("R201", (8.0, 0, "N01"), (11.2, 0, "GP00"))
    pen.wire((11.2, 0), (12.0, 0))
    pen.tag(12.0, 0, "GP00", "right")
    pen.text(14.0, 0, "pin of the RP2040 board")
    notes = (
        "Channel 1 is on GP0, channel 20 on GP19. A diode's band is its cathode: D1nn's at VDD, D2nn's at Nnn.",
        "VPU comes from GP20 through R3: low for the check of held wires, high for scanning.",
    )
    return pen.svg(notes), {"cell", *pen.used}
