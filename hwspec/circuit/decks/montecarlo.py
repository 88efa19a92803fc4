"""Boards drawn within their tolerances, and the converter that reads them.

The draws come from a seeded generator of the standard library, so the tables do not depend on the version of
ngspice. All values are uniform within their limits unless said; noise is normal.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass

from ..cell import R2, RP, RPU, RS
from ..main import R_REF
from .deck import ROH_STRONG, ROH_WEAK

BOARDS = 300
SEED = 20417

MUX_FORCE = (120.0, 50.0)
MUX_SENSE = (350.0, 250.0)
"""On-resistance of a multiplexer switch and its half-width, ohm: near ground, and at mid supply (from memory)."""

ADC_LOAD = {"256": (710e3, 100e6), "4096": (15e6, 6e6)}
"""Input resistance of the converter by range (mV): between the pair, and of each to ground, ohm (memory)."""

ADC_LOAD_SPREAD = 0.2

LSB_256, LSB_512, LSB_4096 = 7.8125e-6, 15.625e-6, 125e-6
GAIN, MATCH, OFFSET, EMF, INL = 0.0015, 0.001, 110e-6, 20e-6, 7.8e-6
NOISE_128, NOISE_860, NOISE_4096 = 8e-6, 12.5e-6, 60e-6
"""Converter: relative gain, match between input pairs, offset with its common-mode part, thermal voltages of the
path, linearity (volt), noise at 128 and 860 readings a second (volt rms, memory)."""


def spread(rng: random.Random, half: float) -> float:
    """Uniform within plus or minus `half`."""
    return rng.uniform(-half, half)


@dataclass(frozen=True)
class Chain:
    """Errors of one board's converter: gain, pair match, offsets of sense and reference pair (volt)."""

    gain: float
    match: float
    offset: float
    offset_ref: float

    @classmethod
    def drawn(cls, rng: random.Random) -> Chain:
        return cls(spread(rng, GAIN), spread(rng, MATCH), spread(rng, OFFSET + EMF), spread(rng, OFFSET))

    def read(self, rng: random.Random, volts: float, reference: bool, lsb: float, noise: float) -> float:
        """One conversion, volt."""
        gain = 1 + self.gain + (self.match if reference else 0.0)
        offset = self.offset_ref if reference else self.offset
        raw = volts * gain + offset + spread(rng, INL) + rng.gauss(0.0, noise)
        return round(raw / lsb) * lsb


def drawn_board(rng: random.Random, number: int) -> str:
    """Instance line of one board; leakages are relative to the deck's `lk` (ampere a line)."""

    def near(value: float, relative: float) -> float:
        return value * (1 + spread(rng, relative))

    mid, half = (ROH_STRONG + ROH_WEAK) / 2, (ROH_WEAK - ROH_STRONG) / 2
    values = {
        "rsa": near(RS.number, RS.tolerance),
        "rsb": near(RS.number, RS.tolerance),
        "roa": near(R2.number, R2.tolerance) + mid + spread(rng, half),
        "rob": near(R2.number, R2.tolerance) + mid + spread(rng, half),
        "rfa": near(R2.number, R2.tolerance) + MUX_FORCE[0] + spread(rng, MUX_FORCE[1]),
        "rfb": near(R2.number, R2.tolerance) + MUX_FORCE[0] + spread(rng, MUX_FORCE[1]),
        "rrf": R_REF.number * (1 + spread(rng, R_REF.tolerance) + spread(rng, 0.00025)),
        "rpa": near(RP.number, RP.tolerance) + MUX_SENSE[0] + spread(rng, MUX_SENSE[1]),
        "rpb": near(RP.number, RP.tolerance) + MUX_SENSE[0] + spread(rng, MUX_SENSE[1]),
        "rua": near(RPU.number, RPU.tolerance),
        "rub": near(RPU.number, RPU.tolerance),
        "z": near(1.0, ADC_LOAD_SPREAD),
        "la": spread(rng, 1.0),
        "lb": spread(rng, 1.0),
        "lf": spread(rng, 1.0),
        "na": spread(rng, 1.2e-6),
        "nb": spread(rng, 1.2e-6),
        "ct": spread(rng, 1.0),
    }
    settings = " ".join(f"{name}={value:.6g}" for name, value in values.items())
    return f"X{number} d{number} f{number} board {settings}"


def boards(seed: int = SEED, count: int = BOARDS) -> list[str]:
    """Instance lines of all boards."""
    rng = random.Random(seed)
    return [drawn_board(rng, number) for number in range(1, count + 1)]


def all_boards(node: str) -> str:
    """Voltages of a node of every board, as ngspice's compose wants them."""
    return " ".join(f"v({node}{number})" for number in range(1, BOARDS + 1))


def spread_of(values: Sequence[float]) -> tuple[float, float, float, float]:
    """(mean, standard deviation, smallest, largest)."""
    mean = sum(values) / len(values)
    variance = sum((v - mean) ** 2 for v in values) / (len(values) - 1)
    return mean, variance**0.5, min(values), max(values)
