"""Sheets of the card: expanders, multiplexers, registers and lines, supply, connectors."""

from __future__ import annotations

from ..card import GROUPS, TREES, card, gpio_name
from .pen import Pen

EXPANDER_LEFT = ("VDD", "VSS", "", "CS", "SCK", "SI", "SO", "", "A0", "A1", "A2", "RESET", "", "INTA", "INTB")
MUX_LEFT = ("VCC", "GND", "", "COM", "", "S0", "S1", "S2", "S3", "E")


def expanders_sheet() -> tuple[str, set[str]]:
    """The four expanders."""
    pen = Pen(card(), "Card: expanders")
    for chip in range(GROUPS):
        note = f"channels {chip * 16 + 1} to {chip * 16 + 16}"
        x = chip * 7.6
        pen.chip(f"U{chip + 1}", x, 0, EXPANDER_LEFT, [gpio_name(bit) for bit in range(16)], 3.2, note)
        pen.loose(f"C{chip + 1}", x + 0.7, -1.9, f"at U{chip + 1}")
    return pen.svg(
        ("x: left open. A2 is set by jumper JP1. 100n stands next to the supply pins of its chip.",)
    ), pen.used


def multiplexers_sheet() -> tuple[str, set[str]]:
    """Three trees of four multiplexers."""
    pen = Pen(card(), "Card: multiplexers")
    words = {"SENSE_P": "S+", "SENSE_N": "S-", "FORCE": "force"}
    for tree, name in enumerate(TREES):
        for chip in range(GROUPS):
            x, y = chip * 8.2, -tree * 14.4
            note = f"tree {words[name]}, channels {chip * 16 + 1} to {chip * 16 + 16}"
            pen.chip(f"U{(tree + 1) * 10 + chip + 1}", x, y, MUX_LEFT, [f"I{bit}" for bit in range(16)], 2.6, note)
            pen.loose(f"C{(tree + 1) * 10 + chip + 1}", x + 0.4, y - 1.7, f"at U{(tree + 1) * 10 + chip + 1}")
    return pen.svg(("Commons of one tree are tied: SENSE_P, SENSE_N, FORCE go to the stacking headers.",)), pen.used


def registers_sheet() -> tuple[str, set[str]]:
    """Registers of the trees with their resting levels, buffers, lines from the main board, address jumpers."""
    pen = Pen(card(), "Card: registers, buffers, lines from the main board")
    left = ("VCC", "GND", "", "DS", "SHCP", "STCP", "OE", "MR", "", "Q7S")
    for tree in range(3):
        x = tree * 9.6
        pen.chip(f"U{41 + tree}", x, 0, left, [f"Q{bit}" for bit in range(8)], 2.6, f"tree {TREES[tree]}")
        pen.loose(f"C{41 + tree}", x + 0.4, -1.6, f"at U{41 + tree}")
        for number, offset in ((41 + 2 * tree, -6.2), (42 + 2 * tree, -10.4)):
            pen.chip(f"RN{number}", x, offset, ("BUS",), ("R1", "R2", "R3", "R4"), 1.8)
    fast = ("1A", "1OE", "2A", "2OE", "3A", "3OE", "4A", "4OE", "VCC", "GND")
    pen.chip("U51", 29.6, 0, fast, ("1Y", "", "2Y", "", "3Y", "", "4Y"), 2.4, "clock, data, select, answer")
    pen.loose("C51", 29.8, -1.6, "at U51")
    pen.chip("JP1", 29.2, -5.8, ("A", "C", "B"), (), 1.6, "jumper C-A: first of a pair, C-B: second")
    pen.chip("JP2", 29.2, -9.6, ("A", "C", "B"), (), 1.6, "jumper C-A: cards 0, 1; C-B: cards 2, 3")
    for row, ref in enumerate(("R51", "R52", "R53", "R54", "R55", "R56", "R57")):
        pen.loose(ref, 39.0, 5.6 - row * 1.2)
    for row, ref in enumerate(("R58", "R59", "R60", "R65", "R66")):
        pen.loose(ref, 39.0, -4.0 - row * 1.2)
    notes = (
        "RN: common pin at VDD keeps the enables off, at GND keeps the address still, while the board is not armed.",
        "The register data comes in as CHAIN_IN from the board below and leaves as CHAIN_OUT to the card above.",
    )
    return pen.svg(notes), pen.used


def supply_sheet() -> tuple[str, set[str]]:
    """5 V in, 3.3 V, shunt, pull-up rail."""
    pen = Pen(card(), "Card: supply, shunt, pull-up rail")
    pen.tag(0, 0, "V5", "left")
    pen.two("D71", (0, 0, "V5"), (2.4, 0, "V5_D"))
    pen.two("R71", (2.4, 0, "V5_D"), (5.2, 0, "VIN"))
    pen.dot(5.2, 0)
    pen.two("C71", (5.2, 0, "VIN"), (5.2, -2, "GND"), loc="bottom")
    pen.tag(5.2, -2, "GND")
    pen.wire((5.2, 0), (7.05, 0))
    ends = pen.chip("U71", 7.8, -1.0, ("VIN", "", "GND"), ("VOUT",), 2.0, tags=False)
    pen.wire(ends["VIN"], (7.05, 0), (7.05, 0))
    pen.wire(ends["GND"], (ends["GND"][0], -2))
    pen.tag(ends["GND"][0], -2, "GND")
    out = ends["VOUT"]
    pen.wire(out, (12.2, out[1]))
    pen.dot(12.2, out[1])
    pen.two("C72", (12.2, out[1], "VDD"), (12.2, -2, "GND"), loc="bottom")
    pen.tag(12.2, -2, "GND")
    pen.wire((12.2, out[1]), (20.8, out[1]))
    pen.supply(14.2, out[1])
    shunt_block(pen, 15.2, out[1])
    pen.chip("U52", 26.0, -0.6, ("A", "OE", "", "VCC", "GND"), ("Y",), 2.0, "rail driver")
    pen.loose("C52", 26.2, -2.4, "at U52")
    pen.two("R61", (33.0, 2.4, "VDD"), (33.0, 0.4, "VPU"), loc="bottom")
    pen.supply(33.0, 2.4)
    pen.two("R62", (33.0, 0.4, "VPU"), (33.0, -1.6, "GND"), loc="bottom")
    pen.tag(33.0, -1.6, "GND")
    pen.dot(33.0, 0.4)
    pen.wire((33.0, 0.4), (31.6, 0.4))
    pen.tag(31.6, 0.4, "VPU", "left")
    notes = (
        "The shunt conducts at 3.60 V, above the regulator: only live wires bring the rail there.",
        "The resistor of 100 ohm in the supply limits all that a card can ever drive.",
    )
    return pen.svg(notes), pen.used


def shunt_block(pen: Pen, x: float, y: float, number: int = 81) -> None:
    """Divider, reference, PNP between the rail at (x, y) and ground."""
    n = number
    pen.dot(x, y)
    pen.two(f"R{n}", (x, y, "VDD"), (x, y - 2, "SHUNT_REF"), loc="bottom")
    pen.dot(x, y - 2)
    pen.two(f"R{n + 1}", (x, y - 2, "SHUNT_REF"), (x, y - 4, "GND"), loc="top")
    pen.tag(x, y - 4, "GND")
    pen.wire((x, y - 2), (x + 0.9, y - 2), (x + 0.9, y - 2.6))
    ends = pen.chip(f"U{n}", x + 2.4, y - 4.4, ("REF", "A"), ("K",), 1.4, tags=False)
    pen.wire((x + 0.9, y - 2.6), (x + 0.9, ends["REF"][1]), ends["REF"])
    pen.wire(ends["A"], (ends["A"][0], y - 4.9))
    pen.tag(ends["A"][0], y - 4.9, "GND")
    pen.wire(ends["K"], (x + 5.6, ends["K"][1]), (x + 5.6, y - 3.2))
    pen.two(f"R{n + 3}", (x + 5.6, y - 3.2, "SHUNT_K"), (x + 5.6, y - 1.7, "SHUNT_B"), loc="bottom")
    pen.dot(x + 5.6, y - 1.7)
    pen.two(f"R{n + 2}", (x + 5.6, y - 1.7, "SHUNT_B"), (x + 5.6, y, "VDD"), loc="top")
    pen.dot(x + 5.6, y)
    pen.pnp(f"Q{n}", (x + 6.8, y - 1.7), y, y - 4.0, "SHUNT_B")
    pen.wire((x + 5.6, y - 1.7), (x + 6.8, y - 1.7))
    pen.wire((x + 5.6, y), (x + 7.5, y))


def connectors_sheet() -> tuple[str, set[str]]:
    """Stacking headers and harness connectors."""
    pen = Pen(card(), "Card: connectors (as numbered: odd pins one row, even pins the other)")
    odd, even = [str(n) for n in range(1, 24, 2)], [str(n) for n in range(2, 25, 2)]
    pen.chip("J1", 0, 0, odd, even, 1.8, "below: main board or card")
    pen.chip("J2", 8.6, 0, odd, even, 1.8, "above: next card")
    odd, even = [str(n) for n in range(1, 34, 2)], [str(n) for n in range(2, 35, 2)]
    pen.chip("J3", 17.2, 0, odd, even, 1.8, "channels 1 to 32")
    pen.chip("J4", 24.4, 0, odd, even, 1.8, "channels 33 to 64")
    notes = ("Pin 14 is the only one that J1 and J2 do not share. x: left open.",)
    return pen.svg(notes), pen.used
