"""Uncertainty budget of a resistance reading by JCGM 100:2008 (GUM): one line for each source.

Model: ``R = G * S / (I * (1 + SINK/RPU) - PULLUP)`` with S half the difference of the sense voltages in both
directions, I = Vref / Rref, G the nominal loading factor. Sources that the reversal takes out (offset, thermal
voltage, leakage of the taps) or the reading without current takes out (offset of the reference pair, leakage of the
force bus) are not in it; what is left of them is in the noise.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from .cell import RP
from .decks import measure
from .decks import montecarlo as mc
from .decks.deck import Cell
from .main import R_REF

CURRENT = 1.5e-3
"""Test current into a short, ampere; above 100 ohm it is less."""

SIMULATED = "one_card_860_a_second"
"""Rows of the deck `resistance` that the budget is for."""

STATES = 2**0.5
"""What differs from reading to reading shrinks by this in the mean of the two directions of current."""

WARMTH_K = 15.0
"""How far the board's temperature may be from that of its calibration or of 25 degC, kelvin."""

CONTACT = 0.02
"""Half-width of what plugging again changes, ohm (common practice, no source)."""


@dataclass(frozen=True)
class Source:
    """One line: `half_width` of a rectangular distribution or standard deviation of a normal one.

    `absolute` is the standard uncertainty in ohm that does not depend on the reading, `relative` the part that is
    proportional to it. `calibrated`: a calibration with a reference resistor takes it out.
    """

    name: str
    shape: str
    width: str
    absolute: float
    relative: float
    basis: str
    calibrated: bool = False


def _flat(half_width: float) -> float:
    """Standard uncertainty of a rectangular distribution (JCGM 100:2008, 4.3.7)."""
    return float(half_width) / 3**0.5


def sources() -> list[Source]:
    """All lines for two samples in each of the three states at the firmware's 860 readings a second, 0.256 V range."""
    return [*_of_the_converter(), *_of_what_it_reads()]


def _of_the_converter() -> list[Source]:
    lsb = mc.LSB_256
    return [
        Source(
            "noise of the converter",
            "normal",
            "12.5 uV rms a reading",
            mc.NOISE_860 / 2**0.5 / STATES / CURRENT,
            0.0,
            "memory",
        ),
        Source(
            "steps of the converter",
            "rectangular",
            "half of 7.8 uV",
            _flat(lsb / 2) / STATES / CURRENT,
            0.0,
            "data sheet",
        ),
        Source("linearity", "rectangular", "7.8 uV", _flat(mc.INL) / STATES / CURRENT, 0.0, "data sheet"),
        Source("match of the two input pairs", "rectangular", "0.1 %", 0.0, _flat(mc.MATCH), "memory", True),
    ]


def _of_what_it_reads() -> list[Source]:
    tap = (2 * (_flat(RP.number * RP.tolerance) ** 2 + _flat(mc.MUX_SENSE[1]) ** 2)) ** 0.5
    pair, ground = mc.ADC_LOAD["256"]
    return [
        Source(
            "reference resistor, tolerance", "rectangular", "0.1 %", 0.0, _flat(R_REF.tolerance), "data sheet", True
        ),
        Source(
            "reference resistor, temperature",
            "rectangular",
            "25 ppm/K, 15 K",
            0.0,
            _flat(25e-6 * WARMTH_K),
            "data sheet",
        ),
        Source(
            "input resistance of the converter",
            "rectangular",
            "20 % of 710 kohm",
            0.0,
            _flat((measure.loading("256") - 1) * mc.ADC_LOAD_SPREAD),
            "memory",
            True,
        ),
        Source(
            "taps and switches of the channels",
            "rectangular",
            "1 % of 10k, 250 ohm",
            0.0,
            tap * (1 / pair + 1 / ground / 2),
            "memory",
        ),
        Source(
            "leakage of the driven pins",
            "rectangular",
            "1.2 uA, mean of two",
            0.0,
            _flat(1.2e-6) / CURRENT / STATES,
            "data sheet",
        ),
    ]


def standard(ohms: float, lines: Sequence[Source], calibrated: bool = False, contacts: bool = False) -> float:
    """Combined standard uncertainty of a reading, ohm (JCGM 100:2008, 5.1.2: sources are independent)."""
    kept = [line for line in lines if not (calibrated and line.calibrated)]
    squares = sum(line.absolute**2 + (line.relative * ohms) ** 2 for line in kept)
    if contacts:
        squares += _flat(CONTACT) ** 2
    return float(squares**0.5)


VALUES = (0.0, 0.05, 0.5, 2.0, 5.0, 20.0, 100.0)


def text() -> str:
    """Both tables in Markdown: the sources, and the expanded uncertainty (k = 2) by resistance."""
    lines = sources()
    out = ["| source | distribution | width | u, mohm | u, % of reading | figure from |", "|---|---|---|---|---|---|"]
    for line in lines:
        absolute = f"{line.absolute * 1e3:.2f}" if line.absolute else "–"
        relative = f"{line.relative * 100:.3f}" if line.relative else "–"
        mark = " (c)" if line.calibrated else ""
        out.append(f"| {line.name}{mark} | {line.shape} | {line.width} | {absolute} | {relative} | {line.basis} |")
    out += [
        "",
        "(c): taken out by `board calibrate` with a reference resistor, which brings its own tolerance instead.",
        "",
        "| ohm | U (k = 2), ohm | after calibration, reference 0.1 % | with plugging again, 20 mohm | promised, ohm |",
        "|---|---|---|---|---|",
    ]
    reference = Source("calibration resistor", "rectangular", "0.1 %", 0.0, _flat(0.001), "data sheet")
    for ohms in VALUES:
        plain = 2 * standard(ohms, lines)
        better = 2 * standard(ohms, [*lines, reference], calibrated=True)
        plugged = 2 * standard(ohms, lines, contacts=True)
        promised = measure.PROMISE[0] * ohms + measure.PROMISE[1]
        out.append(f"| {ohms:g} | {plain:.4f} | {better:.4f} | {plugged:.4f} | {promised:.3f} |")
    return "\n".join(out)


def compared(rows: Sequence[dict[str, Cell]]) -> str:
    """Markdown table: the deck `resistance` (one card, 860 readings a second) beside the budget."""
    lines = sources()
    out = [
        "| ohm | mean of 300 boards | standard deviation | budget's u | largest error | promised | margin |",
        "|---|---|---|---|---|---|---|",
    ]
    for row in rows:
        if row["method"] != SIMULATED:
            continue
        ohms = float(row["true_ohm"])
        numbers = [
            float(row[name]) for name in ("mean_ohm", "deviation_ohm", "worst_error_ohm", "promised_ohm", "margin")
        ]
        mean, deviation, worst, promised, margin = numbers
        budget = standard(ohms, lines)
        out.append(
            f"| {ohms:g} | {mean:.4g} | {deviation:.4f} | {budget:.4f} | {worst:.4f} | {promised:.3f} | {margin:.1f} |"
        )
    return "\n".join(out)
