"""Sheets of the main board and of the starter board."""

from __future__ import annotations

from ..kinds import RP2040_BOARD
from ..main import main_board
from ..starter import starter
from .cards import shunt_block
from .pen import Pen

_LEFT = [f"GP{n}" for n in range(16)]
_RIGHT = ["VBUS", "3V3", "GND", "", *(f"GP{n}" for n in (16, 17, 18, 19, 20, 21, 22, 26, 27, 28))]
_REST = ["VSYS", "3V3_EN", "RUN", "ADC_VREF"]


def processor_sheet() -> tuple[str, set[str]]:
    """Processor, lines, stacking header."""
    pen = Pen(main_board(), "Main board: processor and stacking header")
    pen.chip("A1", 0, 0, _LEFT + _REST, _RIGHT, 4.4, "RP2040 board, seen by function, not by place")
    for row, ref in enumerate(("R1", "R2", "R3", "R4")):
        pen.loose(ref, 12.4, 11.2 - row * 1.2)
    for row, ref in enumerate(("R5", "R6", "R7", "R8", "R9", "R10", "R11")):
        pen.loose(ref, 12.4, 6.0 - row * 1.1)
    pen.loose("C1", 12.4, -1.9)
    pen.loose("C2", 16.8, -1.9)
    odd, even = [str(n) for n in range(1, 24, 2)], [str(n) for n in range(2, 25, 2)]
    pen.chip("J1", 20.0, 2.0, odd, even, 1.8, "to the first card")
    notes = (
        "x: left open. GND: pins 3, 8, 13, 18, 23, 28, 33 and 38 of the processor board.",
        "R11 (strap) tells the firmware that this is the full build.",
    )
    return pen.svg(notes), pen.used


def measure_sheet() -> tuple[str, set[str]]:
    """Converter, reference resistor, reference cell."""
    pen = Pen(main_board(), "Main board: converter, reference resistor, reference cell")
    ends = pen.chip(
        "A2", 9.0, 0, ("A0", "A1", "A2", "A3"), ("VDD", "GND", "SCL", "SDA", "ADDR", "ALRT"), 2.6, tags=False
    )
    for name, net in (("VDD", "VDD"), ("GND", "GND"), ("SCL", "SCL"), ("SDA", "SDA"), ("ADDR", "GND")):
        pen.text(ends[name][0] + 0.1, ends[name][1], net, 9)
    x0, y0 = ends["A0"]
    y1, y2, y3 = ends["A1"][1], ends["A2"][1], ends["A3"][1]
    pen.wire((x0, y0), (1.0, y0))
    pen.tag(1.0, y0, "SENSE_P", "left")
    pen.wire((x0, y1), (6.6, y1), (6.6, 1.6), (1.0, 1.6))
    pen.tag(1.0, 1.6, "SENSE_N", "left")
    pen.two("C23", (3.2, y0, "SENSE_P"), (3.2, 1.6, "SENSE_N"))
    pen.dot(3.2, y0)
    pen.dot(3.2, 1.6)
    pen.wire((x0, y2), (7.4, y2), (7.4, -0.4), (1.0, -0.4))
    pen.tag(1.0, -0.4, "FORCE", "left")
    pen.dot(3.2, -0.4)
    pen.two("R23", (3.2, -0.4, "FORCE"), (3.2, -2.4, "GND"), loc="bottom")
    pen.tag(3.2, -2.4, "GND")
    pen.wire((x0, y3), (7.9, y3), (7.9, -1.6))
    pen.tag(7.9, -1.6, "AIN3", "down")
    pen.loose("R24", 10.4, -1.8)
    pen.loose("R21", 16.0, 2.4)
    pen.loose("R22", 16.0, 1.2)
    pen.loose("C21", 16.0, -0.2, "at A2")
    _cell(pen, 22.0)
    notes = (
        "R23 is the reference: 0.1 %, next to the converter, its ground end on the converter's ground.",
        "The reference cell R41 is switched to the buses by REF_EN and fed by REF_SRC: the self-test.",
    )
    return pen.svg(notes), pen.used


def _cell(pen: Pen, x: float) -> None:
    pen.tag(x, 2.4, "REF_SRC", "left")
    pen.two("R42", (x, 2.4, "REF_SRC"), (x + 2.6, 2.4, "CELL_TOP"))
    pen.dot(x + 2.6, 2.4)
    pen.two("R41", (x + 2.6, 2.4, "CELL_TOP"), (x + 2.6, -0.8, "CELL_LOW"), loc="top")
    pen.dot(x + 2.6, -0.8)
    pen.two("R43", (x + 2.6, 2.4, "CELL_TOP"), (x + 5.2, 2.4, "CELL_P"))
    pen.tag(x + 5.2, 2.4, "CELL_P")
    pen.two("R44", (x + 2.6, -0.8, "CELL_LOW"), (x + 5.2, -0.8, "CELL_N"))
    pen.tag(x + 5.2, -0.8, "CELL_N")
    pen.wire((x + 2.6, -0.8), (x + 2.6, -1.8))
    pen.tag(x + 2.6, -1.8, "CELL_LOW", "down")
    left = ("1Y", "2Y", "3Y", "4Y", "1E", "2E", "3E", "4E")
    pen.chip("U41", x + 9.8, -1.8, left, ("1Z", "2Z", "3Z", "4Z", "", "VCC", "GND"), 2.2)
    pen.loose("R45", x + 15.6, 2.0)
    pen.loose("C41", x + 15.6, 0.6, "at U41")


def dead_man_sheet() -> tuple[str, set[str]]:
    """Pump, gates, lamp."""
    pen = Pen(main_board(), "Main board: dead man")
    pen.tag(0, 0, "PUMP", "left")
    pen.two("R31", (0, 0, "PUMP"), (2.2, 0, "PUMP_1"))
    pen.two("C31", (2.2, 0, "PUMP_1"), (4.4, 0, "PUMP_2"))
    pen.pump_diodes("D31", (4.4, 0), (6.8, 0), "PUMP_2", "PUMP_DC")
    pen.wire((6.8, 0), (11.4, 0))
    pen.dot(8.0, 0)
    pen.two("C32", (8.0, 0, "PUMP_DC"), (8.0, -2.0, "GND"), loc="bottom")
    pen.tag(8.0, -2.0, "GND")
    pen.dot(10.0, 0)
    pen.two("R32", (10.0, 0, "PUMP_DC"), (10.0, -2.0, "GND"), loc="bottom")
    pen.tag(10.0, -2.0, "GND")
    pen.tag(11.4, 0, "PUMP_DC", "right")
    left = ("1A", "1B", "2A", "2B", "3A", "3B", "4A", "4B")
    right = ("1Y", "", "2Y", "", "3Y", "", "4Y", "", "VCC", "GND")
    pen.chip("U31", 16.4, -3.6, left, right, 2.6, "four Schmitt NAND gates")
    pen.loose("C33", 16.8, -5.2, "at U31")
    pen.tag(23.6, -1.0, "LED_A", "left")
    pen.two("R33", (23.6, -1.0, "LED_A"), (26.0, -1.0, "LED_K"))
    pen.two("D32", (26.0, -1.0, "LED_K"), (28.2, -1.0, "GND"))
    pen.tag(28.2, -1.0, "GND")
    notes = (
        "The firmware toggles PUMP only while a host holds a lease. ARM is high while it does; a pin standing still,",
        "high or low, lets it fall within 180 ms. The lamp D32 is lit while the board is armed.",
    )
    return pen.svg(notes), pen.used


def starter_sheet() -> tuple[str, set[str]]:
    """The starter board without its channels."""
    pen = Pen(starter(), "Starter board: processor, rail, shunt, connectors")
    pen.chip("A1", 0, 0, _LEFT + _REST, _RIGHT, 4.4, "RP2040 board, seen by function, not by place")
    pen.loose("R3", 12.4, 12.0)
    pen.loose("C1", 12.4, 10.4)
    pen.supply(11.4, 7.6)
    pen.wire((11.4, 7.6), (13.4, 7.6))
    pen.wire((13.4, 7.6), (19.0, 7.6))
    shunt_block(pen, 13.4, 7.6)
    pen.chip("J1", 27.0, 0.0, (), [str(n) for n in range(1, 21)], 1.8, "beside the left side of A1")
    pen.chip("J2", 33.0, 0.0, (), [str(n) for n in range(1, 6)], 1.8, "right side, rows 16 to 20")
    notes = (
        "Pins of the processor board by function; their places are printed on it. x: left open.",
        f"GND: pins {', '.join(p.number for p in RP2040_BOARD.pins if p.name == 'GND')} of it; one is enough.",
    )
    return pen.svg(notes), pen.used


def overview_sheet() -> tuple[str, set[str]]:
    """Blocks of the full build."""
    pen = Pen(main_board(), "Full build: what talks to what")
    pen.box(0, 3.4, 3.4, 1.6, ("computer", "USB serial"))
    pen.arrow((3.4, 4.2), (5.6, 4.2))
    pen.box(5.6, 0.4, 12.6, 7.4, ())
    pen.text(5.9, 7.4, "main board")
    pen.box(6.2, 3.0, 3.4, 2.4, ("processor", "RP2040"))
    pen.box(12.2, 5.0, 5.4, 1.8, ("dead man", "armed only while toggled"))
    pen.box(12.2, 2.8, 5.4, 1.8, ("converter, Rref", "16 bits, 100 ohm 0.1 %"))
    pen.box(12.2, 0.7, 5.4, 1.7, ("reference cell", "10.0 ohm 0.1 %"))
    pen.arrow((9.6, 4.9), (12.2, 5.9))
    pen.text(10.2, 5.7, "pump", 9)
    pen.arrow((9.6, 4.0), (12.2, 3.7), "I2C")
    pen.arrow((9.6, 3.3), (12.2, 1.6))
    pen.box(24.6, 0.4, 15.6, 7.4, ())
    pen.text(24.9, 7.4, "card (1 to 4): 64 channels")
    pen.box(25.2, 5.2, 5.2, 1.8, ("4 expanders", "drive low, high; read"))
    pen.box(25.2, 2.9, 5.2, 1.8, ("3 x 4 multiplexers", "S+, S-, force"))
    pen.box(25.2, 0.7, 5.2, 1.8, ("supply, shunt", "100 ohm limits all"))
    pen.box(34.4, 2.4, 5.0, 3.4, ("64 cells", "820 ohm, clamps,", "330k to the rail"))
    pen.arrow((18.2, 6.1), (25.2, 6.1), "SPI, ARM, rail level")
    pen.arrow((18.2, 3.8), (25.2, 3.8), "S+, S-, force")
    pen.arrow((18.2, 1.6), (25.2, 1.6), "5 V")
    pen.arrow((30.4, 6.1), (34.4, 5.2))
    pen.arrow((30.4, 3.8), (34.4, 3.8))
    pen.arrow((39.4, 4.1), (43.0, 4.1))
    pen.box(43.0, 3.2, 3.8, 1.8, ("lead set", "harness"))
    return pen.svg(("The starter board has no card: its processor drives and reads 20 channels itself.",)), pen.used
