"""Frames of what the board measures: resistance, isolation, dropout watch, self-test, calibration.

They hold raw counts as the board sends them; `ohms.py` turns counts into ohms.
"""

from __future__ import annotations

from dataclasses import dataclass

from tester.board.frames import Frame

NOT_OVER = 0xFFFFFFFF
NO_VALUE = -32768  # calibration of a channel that was never calibrated


@dataclass(frozen=True)
class ResistanceFrame(Frame):
    """Kind M. Sums of `samples` counts for +I (a to b), no current, -I, of the sense pair and of the reference.

    `sense_pv`, `reference_pv`: picovolt of one count. `flags`: 1 sense clipped, 2 reference clipped. `spread`: largest
    less smallest sense count in each state.
    """

    a: int
    b: int
    range: int
    samples: int
    flags: int
    sense_pv: int
    reference_pv: int
    reference_mohm: int
    gain_ppm: int
    sense: tuple[int, int, int]
    reference: tuple[int, int, int]
    spread: tuple[int, int, int]


@dataclass(frozen=True)
class IsolationFrame(Frame):
    """Kind I. Channel y sunk through the reference, one channel of each other circuit high, then low.

    `flags`: 1 clipped, 2 a baseline is stored for y. `baseline_na`: that baseline, nanoampere.
    """

    y: int
    others: tuple[int, ...]
    range: int
    samples: int
    flags: int
    reference_pv: int
    reference_mohm: int
    high: int
    low: int
    baseline_na: int


@dataclass(frozen=True)
class WatchLoadFrame(Frame):
    """Kind G. What the dropout watch will play, the held pattern first, and a cautious time for one reading."""

    read: tuple[int, ...]
    patterns: tuple[tuple[int, ...], ...]
    estimate_us: int


@dataclass(frozen=True)
class WatchStartFrame(Frame):
    """Kind B. The baseline: one row for each pattern, bit i set where the i-th read channel was low."""

    read: int
    patterns: int
    rows: tuple[int, ...]


@dataclass(frozen=True)
class WatchEvent:
    """One thing that differed from the baseline. `what`: 1 opened, 2 shorted. `pattern`: 0 is the held one.

    `duration_us` is `NOT_OVER` while it lasts.
    """

    at_us: int
    duration_us: int
    channel: int
    pattern: int
    what: int


@dataclass(frozen=True)
class WatchLogFrame(Frame):
    """Kinds K and Q. What the watch saw so far; a dropout longer than `longest_us` is surely seen."""

    readings: int
    elapsed_ms: int
    longest_us: int
    mean_us: int
    total: int
    kept: int
    running: bool
    first: int
    events: tuple[WatchEvent, ...]


@dataclass(frozen=True)
class SelfTestFrame(Frame):
    """Kind F. `part`: 0 expanders, 1 multiplexers, 2 reference cell, 3 crosstalk. `found`: (where, value) pairs."""

    part: int
    passed: bool
    found: tuple[tuple[int, int], ...]


@dataclass(frozen=True)
class HeapFrame(Frame):
    """Kind X. Bytes free, and most bytes used so far; both 0 where the heap has no bound."""

    free: int
    used: int


@dataclass(frozen=True)
class CalibrationFrame(Frame):
    """Kind C. `which`: 1 reference, 2 zero, 3 baseline, 4 saved, 5 data, 6 cleared; the other fields by that.

    `zeros` in tenths of a milliohm, `baselines` in nanoampere, `NO_VALUE` for a channel never calibrated.
    `flags` of data: 1 gain, 2 some zeros, 4 some baselines are calibrated.
    """

    which: int
    channels: tuple[int, ...] = ()
    measured_mohm: int = 0
    gain_ppm: int = 0
    zeros: tuple[int, ...] = ()
    baselines: tuple[int, ...] = ()
    stored: bool = False
    date: str = ""
    check: int = 0
    flags: int = 0


@dataclass(frozen=True)
class UpdateFrame(Frame):
    """Kind U. `slot`: "a" or "b" at the begin of an update, "" later; `value`: what the query says of its progress."""

    slot: str
    value: int
