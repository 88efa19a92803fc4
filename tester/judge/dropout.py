"""From the log of a dropout watch to dropouts: which circuit, when, how long, and what could have been missed."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from tester.harness.netlist import Netlist
from tester.judge.facts import Dropout, WatchResult

RISE_MS_PER_NF = 0.912
"""One point that comes loose alone rises by its own 330 kohm. From the cell of board deck "settle" without the second
point that the deck has: 5.4, 13.6, 41.0, 95.7 times 10 us at 0.01, 0.1, 0.4, 1 nF, worst parts and leakage."""
CELL_NF = 0.1  # of the board's own point: the virtual board's; the deck's has about half
CAPACITANCE_NF = 0.4  # of what comes loose: 4 m of wire in a bundle, lead included. Common practice, no source


@dataclass(frozen=True)
class Blip:
    """One entry of the board's log, by cavity.

    `opened` True: read high where the baseline is low; False: read low where it is high. `duration_us` None while it
    lasts. `pattern` 0 is the held one.
    """

    at_us: int
    duration_us: int | None
    cavity: str
    pattern: int
    opened: bool


@dataclass(frozen=True)
class WatchLog:
    """What the board logged: `total` events of which `blips` were kept, and the cadence it reached.

    longest_us, mean_us  between two readings of the held pattern
    elapsed_ms           of the whole watch
    held, coded          cavities driven in the held and in each coded pattern
    every                readings of the held pattern between two coded ones, 0 for no coded patterns
    steps                how often the board lets go of held cavities in one round, `coded` then lists these; 0 when
                         `coded` lists what is driven in place of the held pattern (protocol 1.0)
    """

    blips: tuple[Blip, ...]
    total: int
    longest_us: int
    mean_us: int
    elapsed_ms: int
    held: tuple[str, ...]
    coded: tuple[tuple[str, ...], ...] = ()
    every: int = 0
    complete: bool = True
    steps: int = 0


def rise_ms(nf: float) -> float:
    """Longest time until a point with so many nanofarad of wire reads high after it came loose, in milliseconds."""
    return RISE_MS_PER_NF * (nf + CELL_NF)


def judge_watch(log: WatchLog, netlist: Netlist, capacitance_nf: float = CAPACITANCE_NF) -> WatchResult:
    """Dropouts of a log. `netlist`: circuits on leads as they should be; cavities that it lacks are left out.

    Entries of one circuit that overlap in time, or lie within one reading of each other, are one dropout.
    """
    slack = max(log.longest_us, 1)
    end = log.elapsed_ms * 1000
    opens: dict[tuple[str, ...], list[Blip]] = {}
    shorts: list[Blip] = []
    for blip in sorted(log.blips, key=lambda blip: blip.at_us):
        if blip.cavity not in netlist:
            continue
        if blip.opened:
            opens.setdefault(netlist.circuit_of(blip.cavity), []).append(blip)
        else:
            shorts.append(blip)
    found = [
        _open(circuit, group, log, end) for circuit, blips in opens.items() for group in _episodes(blips, slack, end)
    ]
    cycle = _round_us(log, slack)
    found += [_short(group, log, netlist, end) for group in _episodes(shorts, max(slack, cycle), end)]
    return WatchResult(
        tuple(sorted(found, key=lambda drop: drop.at_ms)),
        seconds=log.elapsed_ms / 1000,
        cadence_us=float(log.longest_us),
        missed_ms=log.longest_us / 1000 + rise_ms(capacitance_nf),
        complete=log.complete and log.total <= len(log.blips),
        shorts_missed_ms=(cycle + slack) / 1000 if log.coded and log.every else None,
    )


def _round_us(log: WatchLog, slack: int) -> int:
    """Longest time until a coded pattern comes round again; the mean between readings counts steps, coded ones not."""
    if log.steps:
        return log.steps * log.every * log.mean_us + slack
    return len(log.coded) * (log.every * log.mean_us + slack)


def _end(blip: Blip, end: int) -> int:
    return end if blip.duration_us is None else blip.at_us + blip.duration_us


def _episodes(blips: Sequence[Blip], slack: int, end: int) -> list[list[Blip]]:
    """Entries in order of time, grouped where they overlap or follow within `slack` microseconds."""
    groups: list[list[Blip]] = []
    until = 0
    for blip in blips:
        if groups and blip.at_us <= until + slack:
            groups[-1].append(blip)
        else:
            groups.append([blip])
            until = 0
        until = max(until, _end(blip, end))
    return groups


def _open(circuit: tuple[str, ...], group: list[Blip], log: WatchLog, end: int) -> Dropout:
    """An opening. One cavity of several that came loose stands alone; all but the driven one point at the driven."""
    loose = {blip.cavity for blip in group}
    driven = [name for name in circuit if name in log.held]
    rest = [name for name in circuit if name not in loose and name not in driven]
    first = sorted(loose) if rest else [*driven, *sorted(loose)]
    cavities = tuple(dict.fromkeys([*first, *circuit]))
    return Dropout("open", cavities, *_span(group, end))


def _short(group: list[Blip], log: WatchLog, netlist: Netlist, end: int) -> Dropout:
    """A touch between circuits: those that read low, and what was driven in every pattern in which they did."""
    circuits = list(dict.fromkeys(netlist.circuit_of(blip.cavity) for blip in group))
    if len(circuits) == 1 and not log.steps:
        patterns = [log.held, *log.coded]
        driven = [set(patterns[blip.pattern]) for blip in group if blip.pattern < len(patterns)]
        common = set.intersection(*driven) if driven else set()
        others = {netlist.circuit_of(name) for name in common if name in netlist} - set(circuits)
        if len(others) == 1:
            circuits += others
    cavities = tuple(dict.fromkeys(name for circuit in circuits for name in circuit))
    return Dropout("short", cavities, *_span(group, end))


def _span(group: Iterable[Blip], end: int) -> tuple[float, float]:
    blips = list(group)
    start = min(blip.at_us for blip in blips)
    return start / 1000, (max(_end(blip, end) for blip in blips) - start) / 1000


def caught_share(duration_ms: float, cadence_ms: float, rise_ms: float = 0.0) -> float:
    """Share of dropouts of one length that a watch of this cadence catches, if they start at any time alike."""
    if cadence_ms <= 0:
        raise ValueError("a watch needs a cadence above zero")
    return min(1.0, max(0.0, (duration_ms - rise_ms) / cadence_ms))
