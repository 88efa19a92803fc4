"""One card of the full build: 64 channels."""

from __future__ import annotations

from . import kinds as k
from .cell import Value, full_cell, resistor
from .model import OPEN, Circuit, Part, connect
from .supply import C_10U, capacitor, decouple, shunt, stack_header

CHANNELS = 64
GROUPS = 4
"""Expanders on a card, 16 channels each."""

R_LIMIT = Value("100", 100.0, 0.05)
R_SLOW = Value("2k2", 2200.0, 0.05)
R_MISO = Value("330", 330.0, 0.05)
R_CHAIN = Value("1k", 1000.0, 0.05)
R_PULL = Value("47k", 47e3, 0.05)
R_RAIL = Value("10k", 10e3, 0.01)

TREES = ("SENSE_P", "SENSE_N", "FORCE")
"""The three multiplexer trees in the order of their registers along the chain."""


def gpio_name(bit: int) -> str:
    """Expander pin of bit 0..15: port A first."""
    return f"GPA{bit}" if bit < 8 else f"GPB{bit - 8}"


def card() -> Circuit:
    """The card as data; references of cells carry the channel number (R112 is Rs of channel 12)."""
    board = Circuit("card", "Card, 64 channels")
    for channel in range(1, CHANNELS + 1):
        full_cell(board, channel)
    _expanders(board)
    _multiplexers(board)
    _registers(board)
    _buffers(board)
    _power(board)
    _connectors(board)
    return board


def _expanders(board: Circuit) -> None:
    for chip in range(GROUPS):
        nets = {
            "VDD": "VDD",
            "VSS": "GND",
            "CS": "CS_N",
            "SCK": "B_SCK",
            "SI": "B_MOSI",
            "SO": "X_MISO",
            "A0": "VDD" if chip & 1 else "GND",
            "A1": "VDD" if chip & 2 else "GND",
            "A2": "A2",
            "RESET": "RESET_N",
            "INTA": OPEN,
            "INTB": OPEN,
        }
        for bit in range(16):
            nets[gpio_name(bit)] = f"PIN{chip * 16 + bit + 1:02}"
        why = "drives and reads 16 channels"
        board.add(Part(f"U{chip + 1}", k.MCP23S17, "MCP23S17", connect(k.MCP23S17, nets), why, role="expander"))
    decouple(board, 1, ["U1", "U2", "U3", "U4"])


def _multiplexers(board: Circuit) -> None:
    for tree, name in enumerate(TREES):
        source = "PIN" if name == "FORCE" else "SNS"
        for chip in range(GROUPS):
            nets = {"COM": name, "GND": "GND", "VCC": "VDD", "E": f"{name}_E{chip}"}
            nets |= {f"S{bit}": f"{name}_A{bit}" for bit in range(4)}
            nets |= {f"I{bit}": f"{source}{chip * 16 + bit + 1:02}" for bit in range(16)}
            ref = f"U{(tree + 1) * 10 + chip + 1}"
            why = "switches one of 16 channels to a measuring bus"
            board.add(
                Part(ref, k.CD74HC4067, "CD74HC4067", connect(k.CD74HC4067, nets), why, role=f"multiplexer {name}")
            )
        decouple(board, 11 + 10 * tree, [f"U{(tree + 1) * 10 + chip + 1}" for chip in range(GROUPS)])


def _registers(board: Circuit) -> None:
    data = ["CHAIN_DS", "CHAIN_1", "CHAIN_2", "CHAIN_OUT"]
    for tree, name in enumerate(TREES):
        nets = {"GND": "GND", "VCC": "VDD", "MR": "VDD", "SHCP": "B_SCK", "STCP": "LATCH_C", "OE": "OE_N"}
        nets |= {"DS": data[tree], "Q7S": data[tree + 1]}
        nets |= {f"Q{bit}": f"{name}_A{bit}" for bit in range(4)}
        nets |= {f"Q{bit + 4}": f"{name}_E{bit}" for bit in range(4)}
        ref = f"U{41 + tree}"
        why = "address and enables of one multiplexer tree"
        board.add(Part(ref, k.HC595, "74HC595", connect(k.HC595, nets), why, role=f"register {name}"))
        why = "holds the tree off and its address still while the board is not armed"
        low = connect(k.NETWORK_4, {"BUS": "GND"} | {f"R{b + 1}": f"{name}_A{b}" for b in range(4)})
        high = connect(k.NETWORK_4, {"BUS": "VDD"} | {f"R{b + 1}": f"{name}_E{b}" for b in range(4)})
        for number, pull in ((41 + 2 * tree, low), (42 + 2 * tree, high)):
            board.add(
                Part(f"RN{number}", k.NETWORK_4, "4 x 47k", pull, why, R_PULL.number, R_PULL.tolerance, role="pull")
            )
    decouple(board, 41, ["U41", "U42", "U43"])


def _buffers(board: Circuit) -> None:
    fast = {
        "1OE": "GND", "1A": "SCK", "1Y": "B_SCK",
        "2OE": "GND", "2A": "MOSI", "2Y": "B_MOSI",
        "3OE": "GND", "3A": "CS_IN", "3Y": "CS_N",
        "4OE": "CS_IN", "4A": "X_MISO", "4Y": "C_MISO",
        "GND": "GND", "VCC": "VDD",
    }  # fmt: skip
    why = "keeps a card whose rail is down from being fed through its inputs, and its load off the bus (current)"
    board.add(Part("U51", k.LVC125, "74LVC125A", connect(k.LVC125, fast), why, role="buffer"))
    rail = {"OE": "RAIL_NOE_C", "A": "RAIL_A_C", "GND": "GND", "VCC": "VDD", "Y": "VPU"}
    why = "drives the pull-up rail high or low; off, the two 10k hold it at half the supply (splice)"
    board.add(Part("U52", k.LVC1G125, "74LVC1G125", connect(k.LVC1G125, rail), why, role="rail driver"))
    decouple(board, 51, ["U51", "U52"])

    why = "slow line from the main board; little current even when this card's rail is down (current)"
    for number, (bus, net) in enumerate(
        (
            ("ARM", "RESET_N"),
            ("ARM_N", "OE_N"),
            ("LATCH", "LATCH_C"),
            ("RAIL_A", "RAIL_A_C"),
            ("RAIL_NOE", "RAIL_NOE_C"),
        )
    ):
        board.add(resistor(f"R{51 + number}", k.R_0805, R_SLOW, bus, net, why, "line"))
    board.add(resistor("R56", k.R_0805, R_CHAIN, "CHAIN_IN", "CHAIN_DS", "register data from the board below", "line"))
    board.add(
        resistor(
            "R57", k.R_0805, R_MISO, "C_MISO", "MISO", "limits what a live card pushes into the main board", "line"
        )
    )

    why = "the state without a main board: expanders in reset, multiplexers and rail driver off"
    board.add(resistor("R58", k.R_0805, R_PULL, "RESET_N", "GND", why, "pull"))
    board.add(resistor("R59", k.R_0805, R_PULL, "OE_N", "VDD", why, "pull"))
    board.add(resistor("R60", k.R_0805, R_PULL, "RAIL_NOE_C", "VDD", why, "pull"))
    board.add(resistor("R65", k.R_0805, R_PULL, "X_MISO", "GND", "no floating input while no expander answers", "pull"))
    board.add(resistor("R66", k.R_0805, R_PULL, "CS_IN", "VDD", "not selected while the jumper is missing", "pull"))
    why = "holds the released rail at half the supply; leaking neighbours then move it little (splice)"
    board.add(resistor("R61", k.R_0805, R_RAIL, "VDD", "VPU", why, "rail"))
    board.add(resistor("R62", k.R_0805, R_RAIL, "VPU", "GND", why, "rail"))


def _power(board: Circuit) -> None:
    diode = connect(k.D_1N5817, {"A": "V5", "K": "V5_D"})
    board.add(Part("D71", k.D_1N5817, "1N5817", diode, "keeps a live harness from feeding the computer", role="supply"))
    why = "limits all that a card can ever drive (current)"
    board.add(resistor("R71", k.R_AXIAL_06, R_LIMIT, "V5_D", "VIN", why, "Rlimit"))
    regulator = connect(k.MCP1700, {"GND": "GND", "VIN": "VIN", "VOUT": "VDD"})
    board.add(Part("U71", k.MCP1700, "MCP1700-3302E", regulator, "3.3 V of the card", 3.3, 0.02, role="regulator"))
    capacitor(board, "C71", C_10U, "VIN", "regulator input", serves="U71")
    capacitor(board, "C72", C_10U, "VDD", "regulator output and rail", serves="U71")
    shunt(board, 81)


def _connectors(board: Circuit) -> None:
    stack_header(board, "J1", "CHAIN_IN", "to the main board or the card below")
    stack_header(board, "J2", "CHAIN_OUT", "to the card above")
    for half in range(2):
        nets = {str(n): f"TP{half * 32 + n:02}" for n in range(1, 33)} | {"33": OPEN, "34": OPEN}
        why = "32 channels to the lead set"
        board.add(Part(f"J{3 + half}", k.BOX_34, "34 pins", nets, why, role="harness"))
    address = connect(k.JUMPER_3, {"A": "GND", "C": "A2", "B": "VDD"})
    why = "A2 of the expanders: GND on the first card of a pair, VDD on the second"
    board.add(Part("JP1", k.JUMPER_3, "A2", address, why, role="jumper"))
    select = connect(k.JUMPER_3, {"A": "CS0", "C": "CS_IN", "B": "CS1"})
    why = "chip select: CS0 on the first two cards, CS1 on the others"
    board.add(Part("JP2", k.JUMPER_3, "CS", select, why, role="jumper"))
