"""What judge must know besides expectation and reading: what the board can do, and how the job stands."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

SCAN_CHECKS = frozenset({"continuity", "isolation", "direction"})


@dataclass(frozen=True)
class Dropout:
    """One interruption, or short that came and went, seen while the harness was moved.

    `kind` "open" or "short"; `cavities` of the circuit, or of both circuits for a short. `at_ms` from the start
    of the watch, `lasted_ms` as seen at the cadence of the watch.
    """

    kind: str
    cavities: tuple[str, ...]
    at_ms: float
    lasted_ms: float


@dataclass(frozen=True)
class WatchResult:
    """What a dropout watch saw.

    seconds     watched, at `cadence_us` between two readings at worst
    missed_ms   the longest opening that could have been missed; `shorts_missed_ms` the longest touch between circuits,
                None when no coded patterns looked for them
    touch_blind groups of circuits, each by one cavity, that parts make read alike: no touch within a group is seen
    complete    False when it was broken off, or when more happened than the board can log
    """

    dropouts: tuple[Dropout, ...] = ()
    seconds: float = 0.0
    cadence_us: float = 0.0
    missed_ms: float = 0.0
    complete: bool = True
    shorts_missed_ms: float | None = None
    touch_blind: tuple[tuple[str, ...], ...] = ()


@dataclass(frozen=True)
class JudgeFacts:
    """How the job stands when it is judged.

    can          of harness.expected.CHECKS: checks that this board can do
    steps_open   ids of steps that are not ticked
    stale        True when a physical step, tick or undo came after the full scan
    watch        result of the dropout watch, None when there was none; `watch_stale` as `stale`
    isolation    lowest resistance that the board's isolation readings saw between a circuit and all others, ohm, by
                 a cavity of the circuit; None where nothing was seen
    isolation_u  standard uncertainty of these readings, ohm, by the same cavities; 0 where it is not given
    isolation_seen_to  leakage up to so many ohm would have shown in these readings, 0 without them
    no_lead_why  cavity -> why it is not on a lead, in words, where the lead map says so
    held         more that forbids PASS, as (reason, names), such as cavities that were left out of the scan
    """

    can: frozenset[str] = SCAN_CHECKS
    steps_open: tuple[str, ...] = ()
    stale: bool = False
    watch: WatchResult | None = None
    watch_stale: bool = False
    isolation: Mapping[str, float | None] = field(default_factory=dict)
    isolation_u: Mapping[str, float] = field(default_factory=dict)
    isolation_seen_to: float = 0.0
    no_lead_why: Mapping[str, str] = field(default_factory=dict)
    held: tuple[tuple[str, tuple[str, ...]], ...] = ()


def checks_of(can: Iterable[str]) -> frozenset[str]:
    """Checks that a board can do, from the capability words that it reports (scan, resistance, watch...)."""
    words = set(can)
    found = set(SCAN_CHECKS) if "scan" in words else set()
    if "resistance" in words:
        found.add("resistance")
    if "watch" in words:
        found.add("dropout")
    return frozenset(found)
