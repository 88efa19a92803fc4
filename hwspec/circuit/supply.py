"""Blocks that more than one board has: the shunt that catches a live wire, decoupling, stacking pins."""

from __future__ import annotations

from . import kinds as k
from .cell import Value, resistor
from .model import Circuit, Part, connect

C_100N = Value("100n", 100e-9, 0.1)
C_10U = Value("10u", 10e-6, 0.2)

SHUNT_TOP = Value("20k", 20e3, 0.01)
SHUNT_BOTTOM = Value("10k5", 10.5e3, 0.01)
SHUNT_BASE = Value("47", 47.0, 0.05)
SHUNT_BE = Value("470", 470.0, 0.05)

STACK_PINS = {
    1: "V5", 2: "V5", 3: "GND", 4: "GND", 5: "SCK", 6: "GND", 7: "MOSI", 8: "GND", 9: "MISO", 10: "GND",
    11: "CS0", 12: "CS1", 13: "LATCH", 14: "CHAIN", 15: "ARM", 16: "ARM_N", 17: "RAIL_A", 18: "RAIL_NOE",
    19: "GND", 20: "GND", 21: "FORCE", 22: "GND", 23: "SENSE_P", 24: "SENSE_N",
}  # fmt: skip
"""Pins between main board and cards. CHAIN is cut on each card: register data goes in below and out above."""


def capacitor(circuit: Circuit, ref: str, value: Value, net: str, why: str, serves: str = "") -> None:
    """Capacitor from `net` to ground: 0805 below 1 uF, 1206 above."""
    kind = k.C_0805 if value.number < 1e-6 else k.C_1206
    nets = {"1": net, "2": "GND"}
    circuit.add(Part(ref, kind, value.text, nets, why, value.number, value.tolerance, serves, role="decoupling"))


def decouple(circuit: Circuit, first: int, refs: list[str], net: str = "VDD") -> None:
    """100 nF for each chip, C<first>, C<first+1>, ..."""
    for offset, ref in enumerate(refs):
        capacitor(circuit, f"C{first + offset}", C_100N, net, "supply of one chip, next to its pins", serves=ref)


def shunt(circuit: Circuit, number: int) -> None:
    """TLV431 and PNP that hold VDD at 3.60 V when a live wire feeds it through the clamps (deck shunt)."""
    n = number
    why = "rail shunt: takes what live wires push into the rail (abuse, shunt)"
    circuit.add(resistor(f"R{n}", k.R_AXIAL, SHUNT_TOP, "VDD", "SHUNT_REF", why, "shunt top"))
    circuit.add(resistor(f"R{n + 1}", k.R_AXIAL, SHUNT_BOTTOM, "SHUNT_REF", "GND", why, "shunt bottom"))
    circuit.add(resistor(f"R{n + 2}", k.R_AXIAL, SHUNT_BE, "VDD", "SHUNT_B", why, "shunt be"))
    circuit.add(resistor(f"R{n + 3}", k.R_AXIAL, SHUNT_BASE, "SHUNT_B", "SHUNT_K", why, "shunt base"))
    reference = connect(k.TLV431, {"REF": "SHUNT_REF", "A": "GND", "K": "SHUNT_K"})
    circuit.add(Part(f"U{n}", k.TLV431, "TLV431", reference, why, 1.24, 0.015, role="shunt"))
    pnp = connect(k.BD140, {"E": "VDD", "C": "GND", "B": "SHUNT_B"})
    circuit.add(Part(f"Q{n}", k.BD140, "BD140", pnp, why, role="shunt"))


def stack_header(circuit: Circuit, ref: str, chain: str, why: str) -> None:
    """24 stacking pins; `chain` is the net at the cut pin."""
    nets = {str(n): chain if net == "CHAIN" else net for n, net in STACK_PINS.items()}
    circuit.add(Part(ref, k.STACK_24, "24 pins", nets, why, role="stack"))
