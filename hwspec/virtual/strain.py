"""What driving pins suffer: too much current, or another pin of the same circuit driven the other way."""

from __future__ import annotations

from collections.abc import Sequence

from hwspec.virtual import faults
from hwspec.virtual.clock import Clock
from hwspec.virtual.component import Component
from hwspec.virtual.parts import PER_CARD, PIN_LIMIT_A

FIGHT_A, FIGHT_NS = 0.5e-3, 300_000


def check(piece: Component, ports: Sequence[float], supplies: Sequence[float], clock: Clock) -> None:
    """Look at a piece with driven pins at its end values: raises PinOverCurrent, notes when a fight began."""
    sinking = False
    for k, (channel, cell, _) in enumerate(piece.wiring.cells):
        drive = piece.drive_of(k)
        if not drive:
            continue
        level = supplies[channel // PER_CARD] if drive == 2 else 0.0
        amps = (piece.pin_volts(k, piece.final, ports) - level) / (cell.low if drive == 1 else cell.high)
        if abs(amps) > PIN_LIMIT_A:
            words = f"carries {abs(amps) * 1000:.1f} mA, limit {PIN_LIMIT_A * 1000:.0f} mA"
            raise faults.PinOverCurrent(f"channel {channel + 1} {words}", clock.us)
        sinking = sinking or (drive == 1 and amps > FIGHT_A)
    if not (sinking and piece.high):
        piece.fight_since = -1
    elif piece.fight_since < 0:
        piece.fight_since = piece.since


def stop_fights(piece: Component, clock: Clock) -> None:
    """Raise DriversFighting when a fight has lasted longer than a transaction or two."""
    if piece.fight_since >= 0 and clock.now - piece.fight_since > FIGHT_NS:
        ends = [
            f"{channel + 1} {'low' if piece.low >> k & 1 else 'high'}"
            for k, (channel, _, _) in enumerate(piece.wiring.cells)
            if (piece.low | piece.high) >> k & 1
        ]
        raise faults.DriversFighting(f"one circuit is driven both ways: {', '.join(ends)}", clock.us)
