"""One channel: what stands between a test point and the chips. The full cell and the starter cell."""

from __future__ import annotations

from dataclasses import dataclass

from . import kinds as k
from .model import Circuit, Kind, Part, connect


@dataclass(frozen=True)
class Value:
    """A printed value with its number (ohm, farad, volt) and relative tolerance."""

    text: str
    number: float
    tolerance: float


# The values of the full cell. Each reason names the deck that it rests on.
RS = Value("820", 820.0, 0.01)
R2 = Value("100", 100.0, 0.01)
RPU = Value("330k", 330e3, 0.01)
RP = Value("10k", 10e3, 0.01)

# The values of the starter cell.
STARTER_RS = Value("2k2", 2200.0, 0.01)
STARTER_R2 = Value("100", 100.0, 0.01)
STARTER_RPU = Value("330k", 330e3, 0.01)

WHY_RS = "limits the current of a channel; 60 points still read low (net60), survives 24 V for ever (abuse)"
WHY_R2 = "keeps the current in the expander's own clamp under 1 mA (abuse)"
WHY_RPU = "pull-up to the switched rail; weak enough for 60 points (net60), strong enough for leakage (apart)"
WHY_RP = "sense tap; 2 mA into the multiplexer at 24 V (abuse), no error after reversal (resistance)"
WHY_CLAMP = "holds the channel between ground and the rail; silicon for its low leakage (apart, abuse)"
WHY_TVS = "takes static discharges at the connector before the cell sees them (esd)"


def resistor(ref: str, kind: Kind, value: Value, a: str, b: str, why: str, role: str = "", channel: int = 0) -> Part:
    """Two-pin resistor between nets `a` and `b`."""
    return Part(ref, kind, value.text, {"1": a, "2": b}, why, value.number, value.tolerance, "", channel, role)


def full_cell(circuit: Circuit, channel: int) -> None:
    """Parts of channel 1..64 of a card: nets TPnn (test point), Nnn, PINnn (expander), SNSnn (sense tap)."""
    c = channel
    tp, node, pin, sense = f"TP{c:02}", f"N{c:02}", f"PIN{c:02}", f"SNS{c:02}"
    circuit.add(resistor(f"R1{c:02}", k.R_AXIAL_06, RS, tp, node, WHY_RS, "Rs", c))
    circuit.add(resistor(f"R2{c:02}", k.R_0805, R2, node, pin, WHY_R2, "R2", c))
    circuit.add(resistor(f"R3{c:02}", k.R_0805, RPU, "VPU", node, WHY_RPU, "Rpu", c))
    circuit.add(resistor(f"R4{c:02}", k.R_0805, RP, tp, sense, WHY_RP, "Rp", c))
    clamp = connect(k.BAV99, {"A": "GND", "K": "VDD", "COM": node})
    circuit.add(Part(f"D1{c:02}", k.BAV99, "BAV99", clamp, WHY_CLAMP, channel=c, role="clamp"))
    if c % 2 == 0:
        tvs = connect(k.NUP2105L, {"IO1": f"TP{c - 1:02}", "IO2": tp, "GND": "GND"})
        circuit.add(Part(f"D2{c // 2:02}", k.NUP2105L, "NUP2105L", tvs, WHY_TVS, channel=c, role="tvs"))


def starter_cell(circuit: Circuit, channel: int) -> None:
    """Parts of channel 1..20 of the starter board: nets TPnn, Nnn, GP(nn-1)."""
    c = channel
    tp, node, pin = f"TP{c:02}", f"N{c:02}", f"GP{c - 1:02}"
    why = "limits the current of a channel; 24 V for ever stays under a quarter watt (starter_abuse)"
    circuit.add(resistor(f"R1{c:02}", k.R_AXIAL, STARTER_RS, tp, node, why, "Rs", c))
    circuit.add(
        resistor(f"R2{c:02}", k.R_AXIAL, STARTER_R2, node, pin, "keeps the clamp current out of the pin", "R2", c)
    )
    why = "pull-up to the switched rail (starter_scan)"
    circuit.add(resistor(f"R3{c:02}", k.R_AXIAL, STARTER_RPU, "VPU", node, why, "Rpu", c))
    why = "holds the channel between ground and the rail (starter_abuse)"
    up = connect(k.D_1N4148, {"A": node, "K": "VDD"})
    down = connect(k.D_1N4148, {"A": "GND", "K": node})
    circuit.add(Part(f"D1{c:02}", k.D_1N4148, "1N4148", up, why, channel=c, role="clamp"))
    circuit.add(Part(f"D2{c:02}", k.D_1N4148, "1N4148", down, why, channel=c, role="clamp"))
