"""The kinds of part on the boards: pins, packages and footprints.

Pin numbers are from memory of the data sheets and were compared only among themselves; compare each with the data
sheet of the part that you buy (build guide, stage 0).
"""

from __future__ import annotations

from .model import Kind, Pin, PinType


def _pins(text: str, default: PinType = "passive") -> tuple[Pin, ...]:
    """``"1 VDD power_in; 2 A"`` -> pins."""
    pins = []
    for entry in text.split(";"):
        number, name, *rest = entry.split()
        kind: PinType = rest[0] if rest else default  # type: ignore[assignment]
        pins.append(Pin(number, name, kind))
    return tuple(pins)


def _two(name: str, letter: str, package: str, footprint: str, first: str = "1", second: str = "2") -> Kind:
    return Kind(name, letter, package, footprint, (Pin("1", first), Pin("2", second)))


def header(count: int, name: str, package: str, footprint: str) -> Kind:
    """A connector of `count` pins, each named by its number."""
    return Kind(name, "J", package, footprint, tuple(Pin(str(n), str(n)) for n in range(1, count + 1)))


# --- two pins -------------------------------------------------------------------------------------------------------

R_0805 = _two("resistor", "R", "0805", "Resistor_SMD:R_0805_2012Metric_Pad1.20x1.40mm_HandSolder")
R_AXIAL = _two("resistor", "R", "axial 0.25 W", "Resistor_THT:R_Axial_DIN0207_L6.3mm_D2.5mm_P10.16mm_Horizontal")
R_AXIAL_06 = _two("resistor", "R", "axial 0.6 W", "Resistor_THT:R_Axial_DIN0207_L6.3mm_D2.5mm_P10.16mm_Horizontal")
C_0805 = _two("capacitor", "C", "0805", "Capacitor_SMD:C_0805_2012Metric_Pad1.18x1.45mm_HandSolder")
C_1206 = _two("capacitor", "C", "1206", "Capacitor_SMD:C_1206_3216Metric_Pad1.33x1.80mm_HandSolder")
C_CAN = _two(
    "electrolytic capacitor", "C", "radial 5 x 11 mm", "Capacitor_THT:CP_Radial_D5.0mm_P2.00mm", "plus", "minus"
)
D_1N4148 = _two("1N4148", "D", "DO-35", "Diode_THT:D_DO-35_SOD27_P7.62mm_Horizontal", "K", "A")
D_1N5817 = _two("1N5817", "D", "DO-41", "Diode_THT:D_DO-41_SOD81_P10.16mm_Horizontal", "K", "A")
LED_3MM = _two("LED red", "D", "3 mm", "LED_THT:LED_D3.0mm", "K", "A")

# --- three pins and networks ----------------------------------------------------------------------------------------

BAV99 = Kind("BAV99", "D", "SOT-23", "Package_TO_SOT_SMD:SOT-23_Handsoldering", _pins("1 A; 2 K; 3 COM"))
BAT54S = Kind("BAT54S", "D", "SOT-23", "Package_TO_SOT_SMD:SOT-23_Handsoldering", _pins("1 A; 2 K; 3 COM"))
NUP2105L = Kind("NUP2105L", "D", "SOT-23", "Package_TO_SOT_SMD:SOT-23_Handsoldering", _pins("1 IO1; 2 IO2; 3 GND"))
BD140 = Kind("BD140", "Q", "TO-126", "Package_TO_SOT_THT:TO-126-3_Vertical", _pins("1 E; 2 C; 3 B"))
TLV431 = Kind("TLV431", "U", "TO-92", "Package_TO_SOT_THT:TO-92_Inline_Wide", _pins("1 REF; 2 A; 3 K"))
MCP1700 = Kind(
    "MCP1700-3302E",
    "U",
    "TO-92",
    "Package_TO_SOT_THT:TO-92_Inline_Wide",
    _pins("1 GND power_in; 2 VIN power_in; 3 VOUT power_out"),
)
NETWORK_4 = Kind(
    "resistor network 4 x bussed",
    "RN",
    "SIL-5",
    "Resistor_THT:R_Array_SIP5",
    _pins("1 BUS; 2 R1; 3 R2; 4 R3; 5 R4"),
)

# --- chips ----------------------------------------------------------------------------------------------------------

MCP23S17 = Kind(
    "MCP23S17",
    "U",
    "SOIC-28",
    "Package_SO:SOIC-28W_7.5x17.9mm_P1.27mm",
    tuple(Pin(str(n + 1), f"GPB{n}", "bidirectional") for n in range(8))
    + _pins(
        "9 VDD power_in; 10 VSS power_in; 11 CS input; 12 SCK input; 13 SI input; 14 SO tri;"
        "15 A0 input; 16 A1 input; 17 A2 input; 18 RESET input; 19 INTB output; 20 INTA output"
    )
    + tuple(Pin(str(n + 21), f"GPA{n}", "bidirectional") for n in range(8)),
)

CD74HC4067 = Kind(
    "CD74HC4067",
    "U",
    "SOIC-24",
    "Package_SO:SOIC-24W_7.5x15.4mm_P1.27mm",
    _pins(
        "1 COM; 2 I7; 3 I6; 4 I5; 5 I4; 6 I3; 7 I2; 8 I1; 9 I0; 10 S0 input; 11 S1 input; 12 GND power_in;"
        "13 S3 input; 14 S2 input; 15 E input; 16 I15; 17 I14; 18 I13; 19 I12; 20 I11; 21 I10; 22 I9; 23 I8;"
        "24 VCC power_in"
    ),
)

HC595 = Kind(
    "74HC595",
    "U",
    "SOIC-16",
    "Package_SO:SOIC-16_3.9x9.9mm_P1.27mm",
    _pins(
        "1 Q1 tri; 2 Q2 tri; 3 Q3 tri; 4 Q4 tri; 5 Q5 tri; 6 Q6 tri; 7 Q7 tri; 8 GND power_in; 9 Q7S output;"
        "10 MR input; 11 SHCP input; 12 STCP input; 13 OE input; 14 DS input; 15 Q0 tri; 16 VCC power_in"
    ),
)

HC4066 = Kind(
    "74HC4066",
    "U",
    "SOIC-14",
    "Package_SO:SOIC-14_3.9x8.7mm_P1.27mm",
    _pins(
        "1 1Y; 2 1Z; 3 2Z; 4 2Y; 5 2E input; 6 3E input; 7 GND power_in; 8 3Y; 9 3Z; 10 4Z; 11 4Y; 12 4E input;"
        "13 1E input; 14 VCC power_in"
    ),
)

LVC125 = Kind(
    "74LVC125A",
    "U",
    "SOIC-14",
    "Package_SO:SOIC-14_3.9x8.7mm_P1.27mm",
    _pins(
        "1 1OE input; 2 1A input; 3 1Y tri; 4 2OE input; 5 2A input; 6 2Y tri; 7 GND power_in; 8 3Y tri; 9 3A input;"
        "10 3OE input; 11 4Y tri; 12 4A input; 13 4OE input; 14 VCC power_in"
    ),
)

LVC132 = Kind(
    "74LVC132A",
    "U",
    "SOIC-14",
    "Package_SO:SOIC-14_3.9x8.7mm_P1.27mm",
    _pins(
        "1 1A input; 2 1B input; 3 1Y output; 4 2A input; 5 2B input; 6 2Y output; 7 GND power_in; 8 3Y output;"
        "9 3A input; 10 3B input; 11 4Y output; 12 4A input; 13 4B input; 14 VCC power_in"
    ),
)

LVC1G125 = Kind(
    "74LVC1G125",
    "U",
    "SOT-23-5",
    "Package_TO_SOT_SMD:SOT-23-5_HandSoldering",
    _pins("1 OE input; 2 A input; 3 GND power_in; 4 Y tri; 5 VCC power_in"),
)

# --- modules --------------------------------------------------------------------------------------------------------

_GP = {
    1: 0, 2: 1, 4: 2, 5: 3, 6: 4, 7: 5, 9: 6, 10: 7, 11: 8, 12: 9, 14: 10, 15: 11, 16: 12, 17: 13, 19: 14, 20: 15,
    21: 16, 22: 17, 24: 18, 25: 19, 26: 20, 27: 21, 29: 22, 31: 26, 32: 27, 34: 28,
}  # fmt: skip
_MODULE_OTHER: dict[int, tuple[str, PinType]] = {
    **dict.fromkeys((3, 8, 13, 18, 23, 28, 33, 38), ("GND", "power_in")),
    30: ("RUN", "input"),
    35: ("ADC_VREF", "passive"),
    36: ("3V3", "power_out"),
    37: ("3V3_EN", "input"),
    39: ("VSYS", "power_in"),
    40: ("VBUS", "power_out"),
}

RP2040_BOARD = Kind(
    "RP2040 board, 40 pins",
    "A",
    "module 21 x 51 mm",
    "loomwright:RP2040_2x20_P2.54mm_W17.78mm",
    tuple(
        Pin(str(n), f"GP{_GP[n]}", "bidirectional") if n in _GP else Pin(str(n), *_MODULE_OTHER[n])
        for n in range(1, 41)
    ),
)
"""Two rows of 20 holes, 17.78 mm apart. Pin 33 is called AGND on the module; it is ground, and named so here."""

ADS1115_BOARD = Kind(
    "ADS1115 board, 10 pins",
    "A",
    "module 10 pins in line",
    "Connector_PinHeader_2.54mm:PinHeader_1x10_P2.54mm_Vertical",
    _pins(
        "1 VDD power_in; 2 GND power_in; 3 SCL input; 4 SDA bidirectional; 5 ADDR input; 6 ALRT open;"
        "7 A0 input; 8 A1 input; 9 A2 input; 10 A3 input"
    ),
)

JUMPER_3 = Kind(
    "pin header with jumper",
    "JP",
    "1 x 3, 2.54 mm",
    "Connector_PinHeader_2.54mm:PinHeader_1x03_P2.54mm_Vertical",
    _pins("1 A; 2 C; 3 B"),
)
STACK_24 = header(
    24, "stacking header", "2 x 12, 2.54 mm", "Connector_PinHeader_2.54mm:PinHeader_2x12_P2.54mm_Vertical"
)
BOX_34 = header(34, "box header", "2 x 17, 2.54 mm", "Connector_IDC:IDC-Header_2x17_P2.54mm_Vertical")
ROW_20 = header(20, "pin header", "1 x 20, 2.54 mm", "Connector_PinHeader_2.54mm:PinHeader_1x20_P2.54mm_Vertical")
ROW_5 = header(5, "pin header", "1 x 5, 2.54 mm", "Connector_PinHeader_2.54mm:PinHeader_1x05_P2.54mm_Vertical")
