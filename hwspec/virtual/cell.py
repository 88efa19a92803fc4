"""The cell of one channel as closed formulas, and the diode law.

    TP -- series -- N -- pin_series -- P          N -- pull -- rail (VPU)      TP -- sense -- M
    P: the pin (output resistance to its level, or nothing), leakage, chip pull-up, force multiplexer
    M: inputs of the S+ and S- multiplexers

N, P and M carry almost no capacitance, so they follow TP at once and can be eliminated by hand.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from hwspec.virtual.parts import CLAMP, VDD, Cell

RELEASED, LOW, HIGH = 0, 1, 2
# both clamps of a cell within its supply: no current half way, the saturation current of one of them at either end
_IDLE_CLAMP = 2 * CLAMP[0] / VDD


class Star(NamedTuple):
    """One cell seen from TP, the rail and the force bus, with the pin's voltage as a function of these three.

    Conductances in siemens, currents in amperes: `tp_g` loads TP, `tp_i` flows into TP, `tp_rail` and `tp_force`
    couple TP with the ports; `rail_*` and `force_*` likewise for the ports. `pin` = (constant, TP, rail, force).
    """

    tp_g: float
    tp_i: float
    tp_rail: float
    tp_force: float
    rail_g: float
    rail_i: float
    rail_force: float
    force_g: float
    force_i: float
    pin: tuple[float, float, float, float]
    node: tuple[float, float, float, float]


def star(cell: Cell, drive: int, pulled: bool, forced: bool) -> Star:
    """Eliminate N and P of a cell. `drive`: RELEASED, LOW or HIGH; `forced`: on the force bus."""
    gs, g2, gp = 1 / cell.series, 1 / cell.pin_series, 1 / cell.pull
    out = 1 / (cell.low if drive == LOW else cell.high) if drive else 0.0
    gu = 1 / cell.chip_pull if pulled else 0.0
    gf = 1 / cell.mux[2] if forced else 0.0
    here = g2 + out + gu + gf
    into = cell.leak_a + (out * VDD if drive == HIGH else 0.0) + gu * VDD
    hub = gs + gp + _IDLE_CLAMP + g2 * (out + gu + gf) / here
    hub_i = g2 * into / here + _IDLE_CLAMP * VDD / 2
    hub_f = g2 * gf / here
    node = (hub_i / hub, gs / hub, gp / hub, hub_f / hub)
    share = g2 / here
    pin = (into / here + share * node[0], share * node[1], share * node[2], gf / here + share * node[3])
    return Star(
        gs * (hub - gs) / hub,
        gs * node[0],
        gs * node[2],
        gs * node[3],
        gp * (hub - gp) / hub,
        gp * node[0],
        gp * node[3],
        gf * (here - gf) / here - hub_f * node[3],
        gf * into / here + hub_f * node[0],
        pin,
        node,
    )


def sense_star(cell: Cell, plus: bool, minus: bool) -> tuple[float, float, float, float, float, float]:
    """Eliminate M: (load on TP, TP to S+, TP to S-, load on S+, load on S-, S+ to S-), siemens."""
    gm = 1 / cell.sense
    ga = 1 / cell.mux[0] if plus else 0.0
    gb = 1 / cell.mux[1] if minus else 0.0
    hub = gm + ga + gb
    return gm * (ga + gb) / hub, gm * ga / hub, gm * gb / hub, ga * (gm + gb) / hub, gb * (gm + ga) / hub, ga * gb / hub


def diode_law(volts: float, saturation: float, slope: float, series: float) -> tuple[float, float]:
    """Current and conductance of a diode with series resistance at `volts` across both.

    `slope`: emission factor times thermal voltage.
    """
    if volts <= 0:
        grown = math.exp(max(volts / slope, -60.0))
        return saturation * (grown - 1), saturation * grown / slope + 1e-12
    current = saturation * (math.exp(min(volts / slope, 600.0)) - 1)
    if series:
        current = min(current, volts / series)
        for _ in range(60):
            wrong = current * series + slope * math.log1p(current / saturation) - volts
            step = wrong / (series + slope / (current + saturation))
            current -= step
            if abs(step) <= 1e-12 * current + 1e-18:
                break
    return current, 1 / (series + slope / (current + saturation)) + 1e-12


def limited(new: float, old: float, saturation: float, slope: float) -> float:
    """A step of a junction voltage that Newton's method may safely take (the usual logarithmic limiting)."""
    critical = slope * math.log(slope / (1.4142 * saturation))
    if new > critical and abs(new - old) > 2 * slope:
        if old > 0:
            step = 1 + (new - old) / slope
            return old + slope * math.log(step) if step > 0 else critical
        return slope * math.log(new / slope)
    return new


def harness_diode(drop_v: float) -> tuple[float, float, float]:
    """(saturation, slope, series) of a diode with that drop at 1 mA: Schottky, silicon, or LED-like by its drop."""
    factor = 1.05 if drop_v < 0.4 else 1.75 if drop_v < 1.0 else 1.1 * drop_v
    slope = factor * 0.025864186
    series = 0.6
    return 1e-3 / math.expm1((drop_v - 1e-3 * series) / slope), slope, series
