"""The dead-man pump: a toggling pin through 100 nF and two diodes into 1 uF and 100 kohm, then a Schmitt buffer.

Its output holds the RESET line of the expanders, the enables of the multiplexer registers and of the rail buffer.
Numbers: deck `deadman` (schematics/spice/results: arms in 3.2 to 36 ms, drops 14.6 to 178 ms after the last edge).
Thresholds of the buffer differ from chip to chip and come from the seed.
"""

from __future__ import annotations

import math

from hwspec.virtual.clock import NEVER, Clock

_SUPPLY_V = 3.3
_DIODES_V = 0.25
_TAU_NS = 100e3 * 1e-6 * 1e9
_CHARGE_NS = 330 * 100e-9 * 1e9
_SHARE = 100e-9 / (100e-9 + 1e-6)


class Pump:
    """Voltage on the pump's capacitor, and whether it holds ARM. `on_volts` and `off_volts`: the Schmitt thresholds."""

    def __init__(self, clock: Clock, on_volts: float = 2.0, off_volts: float = 1.0) -> None:
        self._clock = clock
        self.on_volts = on_volts
        self.off_volts = off_volts
        self.armed = False
        self._volts = 0.0
        self._at = 0
        self._edge_at = 0
        self._level = 0

    def volts(self) -> float:
        """Voltage now."""
        return self._volts * math.exp(-(self._clock.now - self._at) / _TAU_NS)

    def drops_at(self) -> int:
        """Virtual time at which RESET falls if no further edge comes, NEVER if it is down already."""
        if not self.armed:
            return NEVER
        return self._at + math.ceil(_TAU_NS * math.log(self._volts / self.off_volts)) + 1

    def edge(self, level: int) -> bool:
        """The pin changed to `level`. True when this edge armed the board."""
        if level == self._level:
            return False
        self._level = level
        now = self._clock.now
        charged = 1 - math.exp(-(now - self._edge_at) / _CHARGE_NS)
        self._edge_at = now
        if level:
            volts = self.volts()
            self._volts = volts + max(0.0, _SUPPLY_V - _DIODES_V - volts) * _SHARE * charged
            self._at = now
        if self.armed or self._volts < self.on_volts:
            return False
        self.armed = True
        return True

    def discharge(self) -> None:
        """Power is gone."""
        self.armed, self._volts, self._level = False, 0.0, 0
