"""SPICE libraries of the boards, made from the same parts as the netlists.

`card_lib` and `starter_lib` are flat (no subcircuit), so a deck reaches every node by the name of its net and alters
every element. What a chip does is reduced to what matters at its pins: an output is a resistor to each supply, a
switch is a resistor, an input is its leakage and its two clamp diodes. A deck moves them with ``alter``:

    rh07, rl07   pin of channel 7 to the supply, to ground (1e12 = not driven)
    rsp07, rsn07, rfm07   multiplexer switch of channel 7 in the trees S+, S- and force (1e12 = open)
    rvh, rvl     rail driver to the supply, to ground
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

from .card import card
from .cell import full_cell
from .main import main_board
from .model import OPEN, Circuit, Part
from .starter import starter

OFF = "1e12"

MODELS = """\
* Models that all decks share. Currents and resistances marked (m) are from memory of data sheets.
.model DCL  D(IS=2.52n N=1.752 RS=0.568 CJO=1.5p TT=6n)
* silicon switching diode, one half of the BAV99, or a 1N4148 (m)
.model DESD D(IS=1e-14 N=1.0 RS=10)
* clamp inside a chip: 0.65 V at 1 mA, 10 ohm (m)
.model DSCH D(IS=5.3e-8 N=1.02 RS=0.8 CJO=30p)
* small Schottky diode, BAT54S (m)
.model DPOW D(IS=2e-5 N=1.05 RS=0.06)
* 1 A Schottky diode, 1N5817 (m)
.model DTVS D(BV=27 IBV=1m RS=0.6 IS=1e-14 N=1 CJO=60p)
* one half of a 24 V bidirectional suppressor: two of these back to back, 30 pF (m)
.model QPNP PNP(IS=1e-13 BF=100 RB=2 RE=0.05 RC=0.05 IKF=1.5)
* BD140 (m)
"""


def net(name: str) -> str:
    """Net name as a SPICE node."""
    return "0" if name == "GND" else name.lower()


def _tolerance(part: Part) -> str:
    """Corner parameter of a part's role, "" when it stays nominal."""
    return {
        "Rs": "t_rs",
        "R2": "t_r2",
        "Rpu": "t_rpu",
        "Rp": "t_rp",
        "Rlimit": "t_rl",
        "Rbleed": "t_bleed",
        "Chold": "t_hold",
    }.get(part.role, "")


def _value(part: Part) -> str:
    corner = _tolerance(part)
    return f"{{{part.number:g}*(1+{corner})}}" if corner else f"{part.number:g}"


def _resistor(part: Part) -> Iterator[str]:
    a, b = (net(n) for n in part.nets.values())
    yield f"{part.ref} {a} {b} {_value(part)}"


def _network(part: Part) -> Iterator[str]:
    bus, value = net(part.nets["1"]), _value(part)
    for pin in part.kind.pins[1:]:
        if part.nets[pin.number] != OPEN:
            yield f"R{part.ref}_{pin.number} {bus} {net(part.nets[pin.number])} {value}"


def _capacitor(part: Part) -> Iterator[str]:
    a, b = (net(n) for n in part.nets.values())
    yield f"{part.ref} {a} {b} {_value(part)}"


def _diode(model: str) -> Callable[[Part], Iterator[str]]:
    def lines(part: Part) -> Iterator[str]:
        yield f"{part.ref} {net(part.net('A'))} {net(part.net('K'))} {model}"

    return lines


def _diode_pair(model: str) -> Callable[[Part], Iterator[str]]:
    def lines(part: Part) -> Iterator[str]:
        middle = net(part.net("COM"))
        yield f"{part.ref}a {net(part.net('A'))} {middle} {model}"
        yield f"{part.ref}k {middle} {net(part.net('K'))} {model}"

    return lines


def _suppressor(part: Part) -> Iterator[str]:
    for pin in ("IO1", "IO2"):
        line = net(part.net(pin))
        yield f"{part.ref}{pin[-1]}a {line} m_{line} DTVS"
        yield f"{part.ref}{pin[-1]}b 0 m_{line} DTVS"


def _pnp(part: Part) -> Iterator[str]:
    yield f"{part.ref} {net(part.net('C'))} {net(part.net('B'))} {net(part.net('E'))} QPNP"


def _shunt_reference(part: Part) -> Iterator[str]:
    """1 A/V above the reference voltage, at most 20 mA, no current below 1.2 V at the cathode (m)."""
    k, ref = net(part.net("K")), net(part.net("REF"))
    current = f"(v({ref})>{part.number:g} ? min((v({ref})-{part.number:g})*1,20m) : 0)"
    yield f"B{part.ref} {k} 0 I={current}*(1-exp(-max(v({k})-1.2,0)/0.05))"


def _regulator(part: Part) -> Iterator[str]:
    """Follows `v_ldo` down to 0.2 V of drop, cannot sink; `i_load` is what the card itself draws at 3.3 V."""
    vin, out = net(part.net("VIN")), net(part.net("VOUT"))
    target = f"min({{v_ldo}},v({vin})-0.2)"
    yield f"B{part.ref} {vin} {out} I=v({out})<{target} ? ({target}-v({out}))*20 : 0"
    yield f"Rload {out} 0 {{3.3/i_load}}"


def _pin_clamps(name: str, node: str, area: int = 1) -> Iterator[str]:
    size = f" area={area}" if area > 1 else ""
    yield f"D{name}h {node} vdd DESD{size}"
    yield f"D{name}l 0 {node} DESD{size}"


def _driver(channel: int, node: str, leak: str = "leak") -> Iterator[str]:
    """One pin of an expander or of the processor: two output resistances, clamps, leakage into the node."""
    yield f"rh{channel:02} vdd {node} {OFF}"
    yield f"rl{channel:02} {node} 0 {OFF}"
    yield from _pin_clamps(f"p{channel:02}", node)
    yield f"ilk{channel:02} 0 {node} DC {{{leak}}}"
    yield f"cp{channel:02} {node} 0 10p"


def _expander(part: Part) -> Iterator[str]:
    for pin in part.kind.pins:
        if pin.name.startswith("GP"):
            node = part.nets[pin.number]
            yield from _driver(int(node[-2:]), net(node))
    yield from _pin_clamps(f"{part.ref}r", net(part.net("RESET")))


def _multiplexer(part: Part) -> Iterator[str]:
    prefix = {"SENSE_P": "rsp", "SENSE_N": "rsn", "FORCE": "rfm"}[part.role.split()[1]]
    common = net(part.net("COM"))
    for pin in part.kind.pins:
        if pin.name.startswith("I"):
            node = part.nets[pin.number]
            yield f"{prefix}{node[-2:]} {net(node)} {common} {OFF}"
            if prefix == "rsp":
                yield from _pin_clamps(f"s{node[-2:]}", net(node), 2)


def _register(part: Part) -> Iterator[str]:
    for pin in ("OE", "STCP", "DS"):
        yield from _pin_clamps(f"{part.ref}{pin.lower()}", net(part.net(pin)))


def _rail_driver(part: Part) -> Iterator[str]:
    yield f"rvh vdd {net(part.net('Y'))} {OFF}"
    yield f"rvl {net(part.net('Y'))} 0 {OFF}"


def _processor(part: Part) -> Iterator[str]:
    """Pins of the starter build that are joined, and the current that the processor draws."""
    for pin in part.kind.pins:
        node = part.nets[pin.number]
        if node == "RAIL":
            yield f"rvh vdd rail {OFF}"
            yield f"rvl rail 0 {OFF}"
        elif pin.name.startswith("GP") and node != OPEN:
            yield from _driver(int(node[2:]) + 1, net(node))
    yield "Bldo 0 vdd I=v(vdd)<{v_ldo} ? ({v_ldo}-v(vdd))*20 : 0"
    yield "Rload vdd 0 {3.3/i_load}"


def _nothing(part: Part) -> Iterator[str]:
    yield from ()


_WRITERS: dict[str, Callable[[Part], Iterator[str]]] = {
    "resistor": _resistor,
    "resistor network 4 x bussed": _network,
    "capacitor": _capacitor,
    "electrolytic capacitor": _capacitor,
    "BAV99": _diode_pair("DCL"),
    "BAT54S": _diode_pair("DSCH"),
    "1N4148": _diode("DCL"),
    "1N5817": _diode("DPOW"),
    "NUP2105L": _suppressor,
    "BD140": _pnp,
    "TLV431": _shunt_reference,
    "MCP1700-3302E": _regulator,
    "MCP23S17": _expander,
    "CD74HC4067": _multiplexer,
    "74HC595": _register,
    "74LVC1G125": _rail_driver,
    "74LVC125A": _nothing,
    "RP2040 board, 40 pins": _processor,
    "stacking header": _nothing,
    "box header": _nothing,
    "pin header": _nothing,
    "pin header with jumper": _nothing,
}

CORNERS = {
    "t_rs": "0",
    "t_r2": "0",
    "t_rpu": "0",
    "t_rp": "0",
    "t_rl": "0",
    "leak": "50n",
    "v_ldo": "3.3",
    "i_load": "8m",
}
"""Corner parameters of a library with their nominal values: relative deviations, leakage of a point (into its node)."""


def board_lines(board: Circuit) -> list[str]:
    """Elements of a board, in the order of its parts."""
    return [line for part in board.parts for line in _WRITERS[part.kind.name](part)]


def _lib(title: str, board: Circuit) -> str:
    used = [f"* {title}: made from hwspec/circuit by python -m hwspec.circuit.generate; do not edit"]
    return "\n".join([*used, *board_lines(board)]) + "\n"


def card_lib() -> str:
    """Flat library of the card. Lines from the main board (ARM, ARM_N, LATCH, CHAIN_IN, ...) are left to the deck."""
    skip = {"MISO", "C_MISO", "X_MISO", "CS_IN", "CHAIN_1", "CHAIN_2", "CHAIN_OUT", "RAIL_A", "RAIL_NOE", "RAIL_NOE_C"}
    board = card()
    kept = [part for part in board.parts if part.role not in ("line", "pull") or not skip & set(part.nets.values())]
    kept = [part for part in kept if part.kind.name != "resistor network 4 x bussed"]
    lib = _lib("Card, 64 channels", Circuit("card", "card", kept))
    commons = [line for bus in ("sense_p", "sense_n", "force") for line in _pin_clamps(bus, bus, 4)]
    return lib + "\n".join(commons) + "\n"


def cell_lib() -> str:
    """Subcircuit `cell`: `n` equal points in parallel, pins not driven; ports test point, pin node, rail, supply."""
    board = Circuit("cell", "cell")
    full_cell(board, 2)
    lines = ["* One cell, or n in parallel: made from hwspec/circuit; do not edit"]
    lines.append(".subckt cell tp02 pin02 vpu vdd n=1 t_rs=0 t_r2=0 t_rpu=0 t_rp=0 leak=0")
    for line in [*board_lines(board), *_pin_clamps("p02", "pin02"), *_pin_clamps("s02", "sns02", 2)]:
        name, *rest = line.split()
        if "tp01" in line:  # the other half of the suppressor belongs to the neighbour
            continue
        if name[0] in "Dd":
            size = "*2" if rest[-1].startswith("area") else ""
            lines.append(f"{name} {' '.join(rest[:3])} area={{n{size}}}")
        elif name[0] in "Rr":
            lines.append(f"{name} {rest[0]} {rest[1]} {{({rest[2].strip('{}')})/n}}")
    lines += ["ilk 0 pin02 DC {leak*n}", "cp pin02 0 {10p*n}", ".ends cell"]
    return "\n".join(lines) + "\n"


def pump_lib() -> str:
    """Subcircuit `pump`: from the processor's pin to the input of the Schmitt gates."""
    roles = ("Rpump", "Cpump", "Dpump", "Chold", "Rbleed")
    parts = [part for part in main_board().parts if part.role in roles]
    lines = ["* Dead man: made from hwspec/circuit; do not edit", ".subckt pump pump pump_dc t_hold=0 t_bleed=0"]
    lines += board_lines(Circuit("pump", "pump", parts))
    return "\n".join([*lines, ".ends pump"]) + "\n"


def shunt_lib() -> str:
    """Subcircuit `shunt`: rail to ground, with the card's rail capacitor."""
    parts = [part for part in card().parts if part.role.startswith("shunt") or part.ref == "C72"]
    lines = ["* Rail shunt: made from hwspec/circuit; do not edit", ".subckt shunt vdd"]
    lines += board_lines(Circuit("shunt", "shunt", parts))
    return "\n".join([*lines, ".ends shunt"]) + "\n"


def starter_lib() -> str:
    """Flat library of the starter board."""
    return _lib("Starter board, 20 channels", starter())


def libraries() -> dict[str, str]:
    """File name in schematics/spice -> text."""
    return {
        "models.lib": MODELS,
        "card.lib": card_lib(),
        "cell.lib": cell_lib(),
        "pump.lib": pump_lib(),
        "shunt.lib": shunt_lib(),
        "starter.lib": starter_lib(),
    }
