"""The main board of the full build: processor, converter, reference, dead man."""

from __future__ import annotations

from . import kinds as k
from .card import R_PULL
from .cell import Value, resistor
from .model import OPEN, Circuit, Part, connect
from .supply import C_10U, capacitor, decouple, stack_header

R_REF = Value("100 0.1%", 100.0, 0.001)
R_CELL = Value("10.0 0.1%", 10.0, 0.001)
R_CELL_DRIVE = Value("1k8", 1800.0, 0.01)
R_TAP = Value("10k", 10e3, 0.01)
R_FAST = Value("100", 100.0, 0.05)
R_BUS = Value("4k7", 4700.0, 0.05)
R_LED = Value("1k", 1000.0, 0.05)
R_STRAP = Value("1k", 1000.0, 0.05)
R_PUMP = Value("330", 330.0, 0.05)
R_BLEED = Value("100k", 100e3, 0.05)
C_PUMP = Value("100n", 100e-9, 0.1)
C_HOLD = Value("1u", 1e-6, 0.1)
C_FILTER = Value("1n", 1e-9, 0.05)

MAIN_PINS = {
    "SDA": 4, "SCL": 5, "REF_EN": 12, "REF_SRC": 13, "RAIL_A": 14, "RAIL_EN": 15, "MISO": 16, "CS0": 17,
    "SCK": 18, "MOSI": 19, "CS1": 20, "LATCH": 21, "PUMP": 22, "STRAP": 26,
}  # fmt: skip
"""Signal -> GP number of the processor board."""


def main_board() -> Circuit:
    """The main board as data."""
    board = Circuit("main", "Main board")
    _processor(board)
    _converter(board)
    _dead_man(board)
    _reference_cell(board)
    stack_header(board, "J1", "M_MOSI", "to the first card")
    return board


def _processor(board: Circuit) -> None:
    nets = {pin.name: OPEN for pin in k.RP2040_BOARD.pins}
    nets |= {"GND": "GND", "3V3": "VDD", "VBUS": "V5"}
    local = {"MOSI": "M_MOSI", "SCK": "M_SCK", "CS0": "M_CS0", "CS1": "M_CS1"}
    nets |= {f"GP{number}": local.get(signal, signal) for signal, number in MAIN_PINS.items()}
    board.add(Part("A1", k.RP2040_BOARD, "RP2040 board", connect(k.RP2040_BOARD, nets), "processor", role="processor"))
    why = "damps the fast lines to the cards"
    for number, signal in enumerate(("SCK", "MOSI", "CS0", "CS1")):
        board.add(resistor(f"R{1 + number}", k.R_0805, R_FAST, f"M_{signal}", signal, why, "line"))
    why = "the state while the processor starts: nothing selected, nothing driven"
    board.add(resistor("R5", k.R_0805, R_PULL, "CS0", "VDD", why, "pull"))
    board.add(resistor("R6", k.R_0805, R_PULL, "CS1", "VDD", why, "pull"))
    board.add(resistor("R7", k.R_0805, R_PULL, "LATCH", "GND", why, "pull"))
    board.add(resistor("R8", k.R_0805, R_PULL, "RAIL_A", "GND", why, "pull"))
    board.add(resistor("R9", k.R_0805, R_PULL, "RAIL_EN", "GND", why, "pull"))
    board.add(resistor("R10", k.R_0805, R_PULL, "MISO", "VDD", why, "pull"))
    board.add(
        resistor("R11", k.R_0805, R_STRAP, "STRAP", "GND", "tells the firmware that this is the full build", "strap")
    )
    capacitor(board, "C1", C_10U, "V5", "5 V of the cards", serves="A1")
    capacitor(board, "C2", C_10U, "VDD", "3.3 V of the main board", serves="A1")


def _converter(board: Circuit) -> None:
    nets = {
        "VDD": "VDD", "GND": "GND", "SCL": "SCL", "SDA": "SDA", "ADDR": "GND", "ALRT": OPEN,
        "A0": "SENSE_P", "A1": "SENSE_N", "A2": "FORCE", "A3": "AIN3",
    }  # fmt: skip
    why = "converter, 16 bits; all cards share it"
    board.add(Part("A2", k.ADS1115_BOARD, "ADS1115 board", connect(k.ADS1115_BOARD, nets), why, role="converter"))
    board.add(resistor("R21", k.R_0805, R_BUS, "SDA", "VDD", "bus pull-up", "pull"))
    board.add(resistor("R22", k.R_0805, R_BUS, "SCL", "VDD", "bus pull-up", "pull"))
    why = "the current is measured here; next to the converter, 25 ppm (resistance)"
    board.add(resistor("R23", k.R_AXIAL, R_REF, "FORCE", "GND", why, "Rref"))
    board.add(resistor("R24", k.R_0805, R_TAP, "SENSE_P", "AIN3", "single-ended input, protected (voltage)", "line"))
    filter_nets = {"1": "SENSE_P", "2": "SENSE_N"}
    why = "keeps radio out of the converter; settles in 0.1 ms"
    board.add(Part("C23", k.C_0805, "1n", filter_nets, why, C_FILTER.number, C_FILTER.tolerance, role="filter"))
    capacitor(board, "C21", C_10U, "VDD", "converter supply", serves="A2")


def _dead_man(board: Circuit) -> None:
    why = "dead man: only a pin that keeps toggling holds the board armed (deadman)"
    board.add(resistor("R31", k.R_0805, R_PUMP, "PUMP", "PUMP_1", why, "Rpump"))
    coupling = {"1": "PUMP_1", "2": "PUMP_2"}
    board.add(Part("C31", k.C_0805, "100n", coupling, why, C_PUMP.number, C_PUMP.tolerance, role="Cpump"))
    diodes = connect(k.BAT54S, {"A": "GND", "COM": "PUMP_2", "K": "PUMP_DC"})
    board.add(Part("D31", k.BAT54S, "BAT54S", diodes, why, role="Dpump"))
    hold = {"1": "PUMP_DC", "2": "GND"}
    board.add(Part("C32", k.C_0805, "1u", hold, why, C_HOLD.number, C_HOLD.tolerance, role="Chold"))
    board.add(resistor("R32", k.R_0805, R_BLEED, "PUMP_DC", "GND", why, "Rbleed"))
    gates = {
        "1A": "PUMP_DC", "1B": "PUMP_DC", "1Y": "ARM_N",
        "2A": "ARM_N", "2B": "ARM_N", "2Y": "ARM",
        "3A": "ARM", "3B": "RAIL_EN", "3Y": "RAIL_NOE",
        "4A": "ARM_N", "4B": "ARM_N", "4Y": "LED_A",
        "GND": "GND", "VCC": "VDD",
    }  # fmt: skip
    why = "Schmitt gates: armed, not armed, rail driver on only while armed"
    board.add(Part("U31", k.LVC132, "74LVC132A", connect(k.LVC132, gates), why, role="gates"))
    board.add(resistor("R33", k.R_0805, R_LED, "LED_A", "LED_K", "lamp: the board is armed", "led"))
    led = connect(k.LED_3MM, {"A": "LED_K", "K": "GND"})
    board.add(Part("D32", k.LED_3MM, "red", led, "lamp: the board is armed", role="led"))
    decouple(board, 33, ["U31"])


def _reference_cell(board: Circuit) -> None:
    why = "known resistance for the self-test"
    board.add(resistor("R41", k.R_AXIAL, R_CELL, "CELL_TOP", "CELL_LOW", why, "cell"))
    board.add(resistor("R42", k.R_0805, R_CELL_DRIVE, "REF_SRC", "CELL_TOP", why, "cell drive"))
    board.add(resistor("R43", k.R_0805, R_TAP, "CELL_TOP", "CELL_P", why, "cell tap"))
    board.add(resistor("R44", k.R_0805, R_TAP, "CELL_LOW", "CELL_N", why, "cell tap"))
    board.add(
        resistor("R45", k.R_0805, R_PULL, "REF_EN", "GND", "reference cell off while the processor starts", "pull")
    )
    nets = {
        "1E": "REF_EN", "1Y": "CELL_P", "1Z": "SENSE_P",
        "2E": "REF_EN", "2Y": "CELL_N", "2Z": "SENSE_N",
        "3E": "REF_EN", "3Y": "CELL_LOW", "3Z": "FORCE",
        "4E": "GND", "4Y": OPEN, "4Z": OPEN,
        "GND": "GND", "VCC": "VDD",
    }  # fmt: skip
    why = "puts the known resistance on the measuring buses"
    board.add(Part("U41", k.HC4066, "74HC4066", connect(k.HC4066, nets), why, role="cell switch"))
    decouple(board, 41, ["U41"])
