"""The dead-man pump against the figures of the study's deck 17 (ngspice): arms in 3..32 ms, drops after 18..156 ms."""

from __future__ import annotations

import pytest

from hwspec.virtual.clock import NEVER, Clock
from hwspec.virtual.parts import Parts
from hwspec.virtual.pump import Pump


def toggled(pump, clock, hertz, ms):
    """Toggle for a while; milliseconds until armed, None if never."""
    start, level = clock.now, 0
    armed = None
    while clock.now - start < ms * 1e6:
        clock.advance(int(0.5e9 / hertz))
        level ^= 1
        if pump.edge(level):
            armed = (clock.now - start) / 1e6
    return armed


# deck 17 of the study: hertz, volts held, ms until 2.2 V, ms from the last edge down to 2.2 V
DECK = [(500, 2.562, 32.1, 17.8), (1000, 2.743, 15.0, 25.4), (5000, 2.881, 3.42, 30.1)]


@pytest.mark.parametrize(("hertz", "held", "arms", "earliest"), DECK)
def test_the_pump_holds_arms_and_decays_as_in_the_deck(hertz, held, arms, earliest):
    clock = Clock()
    pump = Pump(clock, on_volts=2.2, off_volts=2.199)
    cycle = 1000 / hertz
    assert toggled(pump, clock, hertz, 200) == pytest.approx(arms, rel=0.2, abs=cycle)
    assert pump.volts() == pytest.approx(held, rel=0.05)
    assert (pump.drops_at() - clock.now) / 1e6 == pytest.approx(earliest, abs=5)


@pytest.mark.parametrize("seed", range(10))
@pytest.mark.parametrize("hertz", [500, 1000, 5000])
def test_reset_drops_between_18_and_156_ms_after_the_last_edge(seed, hertz):
    parts, clock = Parts.drawn(1, seed), Clock()
    pump = Pump(clock, parts.pump_on, parts.pump_off)
    assert toggled(pump, clock, hertz, 200) is not None
    assert 18 <= (pump.drops_at() - clock.now) / 1e6 <= 156


def test_100_hertz_does_not_arm_and_holds_about_1_5_volts():
    clock = Clock()
    pump = Pump(clock, 1.7, 1.0)
    assert toggled(pump, clock, 100, 500) is None
    assert pump.volts() == pytest.approx(1.5, abs=0.15)


def test_a_pin_stuck_at_either_level_does_not_arm():
    for level in (0, 1):
        clock = Clock()
        pump = Pump(clock)
        for _ in range(1000):
            clock.advance(1_000_000)
            pump.edge(level)
        assert not pump.armed
        assert pump.drops_at() == NEVER
