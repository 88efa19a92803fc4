"""Values of every part on the board: nominal, or drawn within tolerance from a seed as in the study's decks.

Resistors come from the one source of the circuit, `hwspec.circuit`.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, field, replace

from hwspec.circuit import card, main, starter
from hwspec.circuit.cell import R2, RP, RPU, RS, STARTER_R2, STARTER_RPU, STARTER_RS, Value
from hwspec.virtual.converter import Converter

VDD = 3.3
VIL, VIH = 0.2 * VDD, 0.8 * VDD
STARTER_VIL, STARTER_VIH = 0.8, 2.0
PER_CARD = card.CHANNELS
MUX_OHMS = 120.0
PIN_LIMIT_A = 0.010
# diodes: saturation current, emission factor times 25.85 mV, series ohm (cell.lib of the study's decks)
CLAMP = (2.52e-9, 1.752 * 0.025864186, 0.568)
PIN_CLAMP = (1e-14, 0.025864186, 10.0)
# rail: the regulator cannot sink; above the cards' own load the rail floats up to the 3.6 V shunt
RAIL_LOAD_A, SHUNT_V, SHUNT_OHMS = 0.008, 3.6, 0.2


@dataclass(slots=True)
class Cell:
    """One test point. Ohms, amperes, nanofarad. `low`, `high`: output resistance of the pin; `mux`: S+, S-, force."""

    series: float = RS.number
    pin_series: float = R2.number
    pull: float = RPU.number
    sense: float = RP.number
    low: float = 50.0
    high: float = 140.0
    chip_pull: float = 43e3
    leak_a: float = 0.0
    mux: tuple[float, float, float] = (MUX_OHMS, MUX_OHMS, MUX_OHMS)
    nf: float = 0.1


@dataclass
class Parts:
    """All values. `bus_leak_a`: leakage into the S+, S- and force buses. `vil`, `vih`: thresholds of the pins.

    `rail_ohms`: between a driven rail and its driver, 0 where a buffer drives it. `divider`: what holds a released
    rail at half supply; the starter board has nothing there. `has_converter`: False for it, so that its firmware cannot
    know of a voltage before it drives.
    """

    cells: list[Cell]
    reference: float = main.R_REF.number
    spare: float = main.R_CELL.number
    spare_series: float = main.R_CELL_DRIVE.number
    rail_ohms: float = 0.0
    divider: float = card.R_RAIL.number / 2
    single_ended: float = main.R_TAP.number
    has_converter: bool = True
    vil: float = VIL
    vih: float = VIH
    bus_leak_a: tuple[float, float, float] = (0.0, 0.0, 0.0)
    gain: float = 1.0
    match: list[float] = field(default_factory=lambda: [0.0] * 8)
    offset_v: float = 0.0
    noise: float = 0.0
    pace: float = 1.0
    load: float = 1.0
    pump_on: float = 2.0
    pump_off: float = 1.0

    @classmethod
    def nominal(cls, channels: int) -> Parts:
        """Every part at its nominal value; no leakage, no noise."""
        return cls([Cell() for _ in range(channels)])

    @classmethod
    def drawn(cls, channels: int, seed: int, worst_leakage: bool = False) -> Parts:
        """One board out of the drawer: uniform within tolerance. Leakage typical, or worst with which a board works.

        Worst: 1.4 uA flow into a point, as in the study's decks, and 0.4 uA into or out of a bus. More than 0.45 uA
        out of an open point reads below -0.15 V with the rail low, so the voltage check refuses to drive at all.
        """
        rng = random.Random(f"parts {seed}")

        def about(value: Value) -> float:
            return value.number * (1 + rng.uniform(-value.tolerance, value.tolerance))

        def muxed() -> float:
            return MUX_OHMS + rng.uniform(-50, 50)

        least, leak, bus = (0.0, 1.4e-6, 0.4e-6) if worst_leakage else (-50e-9, 50e-9, 100e-9)
        cells = [
            Cell(
                series=about(RS),
                pin_series=about(R2),
                pull=about(RPU),
                sense=about(RP),
                low=rng.uniform(30, 90),
                high=rng.uniform(60, 233),
                chip_pull=rng.uniform(43e3, 125e3),
                leak_a=rng.uniform(least, leak),
                mux=(muxed(), muxed(), muxed()),
            )
            for _ in range(channels)
        ]
        return cls(
            cells,
            reference=about(main.R_REF) + 100 * rng.uniform(-0.00025, 0.00025),
            spare=about(main.R_CELL),
            spare_series=about(main.R_CELL_DRIVE),
            divider=about(card.R_RAIL) / 2,
            single_ended=about(main.R_TAP),
            bus_leak_a=(rng.uniform(-bus, bus), rng.uniform(-bus, bus), rng.uniform(-bus, bus)),
            gain=1 + rng.uniform(-0.0015, 0.0015),
            match=[rng.uniform(-0.0005, 0.0005) for _ in range(8)],
            offset_v=rng.uniform(-100e-6, 100e-6),
            noise=1.0,
            pace=rng.uniform(0.9, 1.1),
            load=rng.uniform(0.8, 1.2),
            pump_on=rng.uniform(1.7, 2.2),
            pump_off=rng.uniform(0.75, 1.5),
        )

    @classmethod
    def starter(cls, seed: int | None = None, worst_leakage: bool = False) -> Parts:
        """A starter board: cells on bare processor pins, its thresholds, no buses. Nominal when `seed` is None."""
        rng = random.Random(f"starter {seed}")
        spread = 0.0 if seed is None else 1.0
        leak = (1e-6 if worst_leakage else 50e-9) * spread

        def about(value: Value) -> float:
            return value.number * (1 + spread * rng.uniform(-value.tolerance, value.tolerance))

        cells = [
            Cell(
                series=about(STARTER_RS),
                pin_series=about(STARTER_R2),
                pull=about(STARTER_RPU),
                low=40 + spread * rng.uniform(-20, 20),
                high=40 + spread * rng.uniform(-20, 20),
                leak_a=rng.uniform(-leak, leak),
            )
            for _ in range(starter.CHANNELS)
        ]
        return cls(
            cells, divider=1e9, rail_ohms=starter.R_RAIL.number, has_converter=False, vil=STARTER_VIL, vih=STARTER_VIH
        )

    def fit(self, chip: Converter) -> None:
        """Give a converter this board's errors."""
        chip.gain, chip.match, chip.offset_v = self.gain, list(self.match), self.offset_v
        chip.noise, chip.pace, chip.load = self.noise, self.pace, self.load


def quiet(parts: Parts) -> Parts:
    """The same board with a converter that neither errs nor hisses."""
    return replace(parts, gain=1.0, match=[0.0] * 8, offset_v=0.0, noise=0.0)
