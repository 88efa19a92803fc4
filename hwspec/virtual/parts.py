"""Values of every part on the board: nominal, or drawn within tolerance from a seed as in the study's decks."""

from __future__ import annotations

import random
from dataclasses import dataclass, field, replace

from hwspec.virtual.converter import Converter

VDD = 3.3
VIL, VIH = 0.2 * VDD, 0.8 * VDD
PER_CARD = 64
PIN_LIMIT_A = 0.010
# diodes: saturation current, emission factor times 25.85 mV, series ohm (cell.lib of the study's decks)
CLAMP = (2.52e-9, 1.752 * 0.025864186, 0.568)
PIN_CLAMP = (1e-14, 0.025864186, 10.0)
# rail: the regulator cannot sink; above the cards' own load the rail floats up to the 3.6 V shunt
RAIL_LOAD_A, SHUNT_V, SHUNT_OHMS = 0.008, 3.6, 0.2


@dataclass(slots=True)
class Cell:
    """One test point. Ohms, amperes, nanofarad. `low`, `high`: output resistance of the pin; `mux`: S+, S-, force."""

    series: float = 820.0
    pin_series: float = 100.0
    pull: float = 330e3
    sense: float = 10e3
    low: float = 50.0
    high: float = 140.0
    chip_pull: float = 43e3
    leak_a: float = 0.0
    mux: tuple[float, float, float] = (120.0, 120.0, 120.0)
    nf: float = 0.1


@dataclass
class Parts:
    """All values. `bus_leak_a`: leakage into the S+, S- and force buses. `starter`: cells on bare pins, no buses."""

    cells: list[Cell]
    reference: float = 100.0
    spare: float = 10.0
    spare_series: float = 1800.0
    divider: float = 5e3
    single_ended: float = 10e3
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
        """One board out of the drawer: uniform within tolerance. Leakage typical, or worst of the data sheets."""
        rng = random.Random(f"parts {seed}")

        def about(value: float, relative: float) -> float:
            return value * (1 + rng.uniform(-relative, relative))

        def muxed() -> float:
            return 120 + rng.uniform(-50, 50)

        leak, bus = (1.4e-6, 3.2e-6) if worst_leakage else (50e-9, 100e-9)
        cells = [
            Cell(
                series=about(820, 0.01),
                pin_series=about(100, 0.01),
                pull=about(330e3, 0.01),
                sense=about(10e3, 0.01),
                low=rng.uniform(30, 90),
                high=rng.uniform(60, 233),
                chip_pull=rng.uniform(43e3, 125e3),
                leak_a=rng.uniform(-leak, leak),
                mux=(muxed(), muxed(), muxed()),
            )
            for _ in range(channels)
        ]
        return cls(
            cells,
            reference=100 * (1 + rng.uniform(-0.001, 0.001) + rng.uniform(-0.00025, 0.00025)),
            spare=about(10, 0.001),
            spare_series=about(1800, 0.01),
            divider=about(5e3, 0.01),
            single_ended=about(10e3, 0.01),
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

    def fit(self, chip: Converter) -> None:
        """Give a converter this board's errors."""
        chip.gain, chip.match, chip.offset_v = self.gain, list(self.match), self.offset_v
        chip.noise, chip.pace, chip.load = self.noise, self.pace, self.load


def quiet(parts: Parts) -> Parts:
    """The same board with a converter that neither errs nor hisses."""
    return replace(parts, gain=1.0, match=[0.0] * 8, offset_v=0.0, noise=0.0)
