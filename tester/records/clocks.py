"""What the computer did between two events: it slept, or its clock was set. A note beside an event, never a verdict.

Three clocks are compared. The wall clock is what an event's time is taken from, and anybody can set it. One monotonic
clock stands still while the computer sleeps, the other goes on (Linux, clock_gettime(2): CLOCK_MONOTONIC and
CLOCK_BOOTTIME). Where a system has no second one, a sleep cannot be told from a clock that was set forward, and the
words say so.
"""

from __future__ import annotations

import time
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

SLEEP_S = 1.0
"""Shorter sleeps are not noted."""
MOVED_S = 2.0
DRIFT = 0.001
"""A clock that is held to a time server may be pulled by 0.5 ms a second (adjtimex(2)); twice that, and two seconds."""


@dataclass(frozen=True)
class Moment:
    """All clocks at once, seconds. `lasting` counts sleep; None where no clock of this system does."""

    wall: float
    awake: float
    lasting: float | None


def moment() -> Moment:
    """All clocks now."""
    boot = getattr(time, "CLOCK_BOOTTIME", None)
    lasting = None if boot is None else time.clock_gettime(boot)
    return Moment(time.time(), time.clock_gettime(time.CLOCK_MONOTONIC) if boot else time.monotonic(), lasting)


def change(before: Moment, now: Moment) -> dict[str, float]:
    """What happened to the clocks between two moments: `asleep_s`, `moved_s` (forward is positive), or nothing."""
    told: dict[str, float] = {}
    awake = now.awake - before.awake
    passed = awake
    if before.lasting is not None and now.lasting is not None:
        passed = now.lasting - before.lasting
        if passed - awake >= SLEEP_S:
            told["asleep_s"] = round(passed - awake, 1)
    moved = now.wall - before.wall - passed
    if abs(moved) >= MOVED_S + DRIFT * passed:
        told["moved_s" if now.lasting is not None else "moved_or_asleep_s"] = round(moved, 1)
    return told


def says(told: Mapping[str, float]) -> str:
    """What `change` found, in words; "" when it found nothing."""
    parts = []
    if asleep := told.get("asleep_s", 0.0):
        parts.append(f"the computer slept for {_time(asleep)}")
    if moved := told.get("moved_s", 0.0):
        parts.append(f"its clock was set {'forward' if moved > 0 else 'back'} by {_time(abs(moved))}")
    if moved := told.get("moved_or_asleep_s", 0.0):
        set_so = f"its clock was set {'forward' if moved > 0 else 'back'} by {_time(abs(moved))}"
        parts.append(f"{set_so}, or it slept that long" if moved > 0 else set_so)
    return f"since the event before, {' and '.join(parts)}" if parts else ""


def _time(seconds: float) -> str:
    for size, unit in ((86400, "days"), (3600, "hours"), (60, "minutes")):
        if seconds >= 2 * size:
            return f"{seconds / size:.1f} {unit}"
    return f"{seconds:.1f} seconds"


def checked(told: object) -> dict[str, float]:
    """The clock part of a body from elsewhere. ValueError when it is not one."""
    if not isinstance(told, dict) or not set(told) <= {"asleep_s", "moved_s", "moved_or_asleep_s"}:
        raise ValueError("an event whose clock is not one")
    if not told or not all(isinstance(one, (int, float)) and not isinstance(one, bool) for one in told.values()):
        raise ValueError("an event whose clock is not one")
    return told


def lines(clocks: Iterable[tuple[int, Mapping[str, float]]]) -> tuple[str, ...]:
    """A line for each event, by its number, before which something happened to the clocks."""
    return tuple(f"Event {serial}: {says(told)}." for serial, told in clocks if told)
