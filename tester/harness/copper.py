"""Resistance of copper conductors: temperature, AWG, and the tables of the cable standards.

Sources are named beside each figure. All resistances in ohm, lengths in metre, sizes in mm2.
"""

from __future__ import annotations

RHO_20 = 1 / 58  # ohm mm2/m, annealed copper at 20 degrees C, IEC 60028 (58 MS/m)
ALPHA_20 = 0.00393  # per kelvin at 20 degrees C, IEC 60028

# Largest conductor resistance at 20 degrees C in milliohm per metre, by size in mm2.
TABLES: dict[str, dict[float, float]] = {
    "IEC 60228 class 5": {0.5: 39.0, 0.75: 26.0, 1.0: 19.5, 1.5: 13.3, 2.5: 7.98, 4.0: 4.95, 6.0: 3.30},
    "IEC 60228 class 5 tinned": {0.5: 40.1, 0.75: 26.7, 1.0: 20.0, 1.5: 13.7, 2.5: 8.21, 4.0: 5.09, 6.0: 3.39},
    # From memory, not verified against the standard; tighter than class 5.
    "ISO 6722-1": {0.35: 54.4, 0.5: 37.1, 0.75: 24.7, 1.0: 18.5, 1.5: 12.7, 2.5: 7.60, 4.0: 4.71, 6.0: 3.14},
}
DEFAULT_TABLE = "IEC 60228 class 5"

# 33 CFR 183.425 table 5: allowable amperes by insulation rating in degrees C. For US boats: advice, never a verdict.
AMPERES: dict[int, dict[int, int]] = {
    18: {60: 10, 75: 10, 80: 15, 90: 20, 105: 20, 125: 25, 200: 25},
    16: {60: 15, 75: 15, 80: 20, 90: 25, 105: 25, 125: 30, 200: 35},
    14: {60: 20, 75: 20, 80: 25, 90: 30, 105: 35, 125: 40, 200: 45},
    12: {60: 25, 75: 25, 80: 35, 90: 40, 105: 45, 125: 50, 200: 55},
}
ENGINE_SPACE = 0.85  # factor for 105 degrees C insulation at 50 degrees C, same rule
MM2_PER_CMIL = 5.067074790974977e-4  # pi/4 x 0.0254^2


def temperature_factor(celsius: float) -> float:
    """Resistance at `celsius` over that at 20 degrees C: 1 + 0.00393 (T - 20), IEC 60028."""
    return 1 + ALPHA_20 * (celsius - 20)


def awg_diameter_mm(number: int) -> float:
    """Diameter of a solid AWG wire, 0.127 mm x 92^((36 - n)/39). Not for SAE-sized stranded cable."""
    return 0.127 * float(92 ** ((36 - number) / 39))


def awg_mm2(number: int) -> float:
    """Cross-section of a solid AWG wire, mm2."""
    return 3.141592653589793 / 4 * awg_diameter_mm(number) ** 2


def milliohm_per_m(size_mm2: float, table: str = DEFAULT_TABLE) -> tuple[float, str]:
    """Largest resistance of a conductor at 20 degrees C, milliohm per metre, and where that comes from.

    Sizes not in the table (AWG among them) take rho / A for solid copper. KeyError for an unknown table.
    """
    known = TABLES[table]
    if size_mm2 in known:
        return known[size_mm2], table
    return 1000 * RHO_20 / size_mm2, f"rho/A at {size_mm2:.4g} mm2, IEC 60028 ({table} has no such size)"


def wire_ohms(size_mm2: float, length_m: float, celsius: float = 20.0, table: str = DEFAULT_TABLE) -> tuple[float, str]:
    """Largest resistance of a wire in ohm at a temperature, and its source in words.

    Raises ValueError for a size or length that is not above zero: no limit can be computed from it.
    """
    if size_mm2 <= 0:
        raise ValueError(f"a wire size of {size_mm2:g} mm2 gives no resistance")
    if length_m <= 0:
        raise ValueError(f"a wire length of {length_m:g} m gives no resistance")
    per_m, source = milliohm_per_m(size_mm2, table)
    ohms = per_m / 1000 * length_m * temperature_factor(celsius)
    return ohms, f"{source}, {length_m:g} m of {size_mm2:.4g} mm2 at {celsius:g} degrees C"
