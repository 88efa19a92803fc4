"""The starter board on stripboard: which leg goes into which hole, and that this gives the circuit.

Seen from the side of the parts. Strips run along the rows, on the far side; columns count from the left, rows from the
top (row 1 is the processor board's USB end). Bare wires (buses) run down the board above the parts; diodes and pull-ups
stand upright with their far leg on a bus.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from .kinds import RP2040_BOARD
from .model import OPEN, Circuit
from .starter import CHANNELS, ROWS, row_of, starter

Hole = tuple[int, int]
"""(column, row)."""

COLUMNS, LAST_ROW = 51, 24
MODULE_LEFT, MODULE_RIGHT = 22, 29
VPU_ROW, GND_ROW, VDD_ROW = 22, 23, 24

GROUND_ROWS = (3, 8, 13, 18)
"""Rows in which both sides of the processor board have a ground pin."""


@dataclass(frozen=True)
class Bus:
    """Bare wire down the board: its ends are soldered into two holes, legs of parts anywhere between."""

    net: str
    top: Hole
    bottom: Hole


BUSES = {
    "left VPU": Bus("VPU", (10, 0), (10, VPU_ROW)),
    "left GND": Bus("GND", (12, 0), (12, GND_ROW)),
    "left VDD": Bus("VDD", (14, 0), (14, VDD_ROW)),
    "right VDD": Bus("VDD", (39, 15), (39, VDD_ROW)),
    "right GND": Bus("GND", (41, 15), (41, GND_ROW)),
    "right VPU": Bus("VPU", (43, 15), (43, VPU_ROW)),
}

WIRES: tuple[tuple[Hole, Hole], ...] = (((31, 18), (31, GND_ROW)), ((32, 5), (32, VDD_ROW)), ((33, 5), (33, 12)))
"""Insulated wires between two holes."""

Leg = Hole | str
"""A hole, or the name of a bus."""


def channel_rows() -> dict[int, tuple[str, int]]:
    """Channel -> side and row of its strip."""
    return {channel: row_of(channel - 1) for channel in range(1, CHANNELS + 1)}


def cuts() -> set[Hole]:
    """Holes at which the strip is cut."""
    found = {(25, row) for row in range(1, ROWS + 1) if row not in GROUND_ROWS}
    found |= {(6, row) for row in range(1, ROWS + 1)}
    for side, row in channel_rows().values():
        found |= {(17, row)} if side == "left" else {(35, row), (46, row)}
    found |= {(31, row) for row in (7, 9, 12, 14)}
    found |= {(46, 18), (36, 15), (40, 15), (42, 15), (11, 0), (13, 0)}
    return found


def places() -> dict[str, dict[str, Leg]]:
    """Reference -> pin number -> where its leg goes."""
    found: dict[str, dict[str, Leg]] = {}
    left = {str(n): (MODULE_LEFT, n) for n in range(1, ROWS + 1)}
    right = {str(n): (MODULE_RIGHT, 2 * ROWS + 1 - n) for n in range(ROWS + 1, 2 * ROWS + 1)}
    found["A1"] = {**left, **right}
    for channel, (side, row) in channel_rows().items():
        found |= _cell(channel, side, row)
    found["J1"] = {str(n): (2, n) for n in range(1, ROWS + 1)}
    found["J2"] = {str(n): (50, n + 15) for n in range(1, 6)}
    found["R3"] = {"1": (30, 15), "2": (30, VPU_ROW)}
    found["C1"] = {"1": (45, 5), "2": (45, 3)}
    found["R81"] = {"1": (35, 5), "2": (35, 7)}
    found["R82"] = {"1": (37, 7), "2": (37, 3)}
    found["R83"] = {"1": (35, 12), "2": (35, 14)}
    found["R84"] = {"1": (37, 14), "2": (37, 9)}
    found["U81"] = {"1": (41, 7), "2": (41, 8), "3": (41, 9)}
    found["Q81"] = {"1": (43, 12), "2": (43, 13), "3": (43, 14)}
    return found


def _cell(channel: int, side: str, row: int) -> dict[str, dict[str, Leg]]:
    c = f"{channel:02}"
    tp, r1, r3, d2, d1, r2, gp = (4, 8, 9, 11, 13, 15, 19) if side == "left" else (48, 44, 42, 40, 38, 37, 33)
    return {
        f"R1{c}": {"1": (tp, row), "2": (r1, row)},
        f"R2{c}": {"1": (r2, row), "2": (gp, row)},
        f"R3{c}": {"1": f"{side} VPU", "2": (r3, row)},
        f"D1{c}": {"1": f"{side} VDD", "2": (d1, row)},
        f"D2{c}": {"1": (d2, row), "2": f"{side} GND"},
    }


class _Groups:
    """Which conductors hang together."""

    def __init__(self) -> None:
        self._parent: dict[object, object] = {}

    def root(self, item: object) -> object:
        self._parent.setdefault(item, item)
        while self._parent[item] != item:
            item = self._parent[item]
        return item

    def join(self, a: object, b: object) -> None:
        self._parent[self.root(a)] = self.root(b)


def segment(at: Hole, cut: set[Hole]) -> tuple[int, int]:
    """Row and first column of the piece of strip that a hole is on."""
    column, row = at
    while column > 1 and (column - 1, row) not in cut:
        column -= 1
    return row, column


def conductors(cut: set[Hole]) -> _Groups:
    """Strips, buses and wires, joined where they are soldered together."""
    groups = _Groups()
    for name, bus in BUSES.items():
        for end in (bus.top, bus.bottom):
            groups.join(name, segment(end, cut))
    for a, b in WIRES:
        groups.join(segment(a, cut), segment(b, cut))
    return groups


def check(board: Circuit, placed: dict[str, dict[str, Leg]], cut: set[Hole]) -> list[str]:
    """What is wrong with a placing, one sentence each: holes used twice, cut or missing; nets split or joined."""
    findings = list(_holes(board, placed, cut))
    if findings:
        return findings
    groups = conductors(cut)
    for pin in RP2040_BOARD.pins:
        if pin.name == "GND":  # joined on the processor board itself
            groups.join(segment(hole(placed["A1"][pin.number]), cut), segment(hole(placed["A1"]["3"]), cut))
    by_net: dict[str, set[object]] = {}
    by_conductor: dict[object, set[str]] = {}
    for part in board.parts:
        for number, net in part.nets.items():
            leg = placed[part.ref][number]
            conductor = groups.root(leg if isinstance(leg, str) else segment(leg, cut))
            name = net if net != OPEN else f"open pin {part.ref}.{number}"
            by_net.setdefault(name, set()).add(conductor)
            by_conductor.setdefault(conductor, set()).add(name)
    findings += [f"net {net} is in {len(found)} pieces" for net, found in by_net.items() if len(found) > 1]
    findings += [f"joined: {', '.join(sorted(nets))}" for nets in by_conductor.values() if len(nets) > 1]
    return findings


def hole(leg: Leg) -> Hole:
    """The leg's hole; raises TypeError for one on a bus."""
    if isinstance(leg, str):
        raise TypeError(f"{leg} is a bus, not a hole")
    return leg


def _holes(board: Circuit, placed: dict[str, dict[str, Leg]], cut: set[Hole]) -> Iterable[str]:
    used: dict[Hole, str] = {}
    ends = [(f"end of bus {name}", end) for name, bus in BUSES.items() for end in (bus.top, bus.bottom)]
    ends += [(f"wire {a} to {b}", end) for a, b in WIRES for end in (a, b)]
    for part in board.parts:
        for number in part.nets:
            if number not in placed.get(part.ref, {}):
                yield f"{part.ref} pin {number} has no place"
                continue
            leg = placed[part.ref][number]
            if not isinstance(leg, str):
                ends.append((f"{part.ref} pin {number}", leg))
    for what, (column, row) in ends:
        where = f"column {column}, row {row}"
        if (column, row) in used:
            yield f"{what} and {used[column, row]} share the hole in {where}"
        if (column, row) in cut:
            yield f"{what} is in a hole that is cut: {where}"
        if not (1 <= column <= COLUMNS and 0 <= row <= LAST_ROW):
            yield f"{what} is off the board"
        used[column, row] = what


def table() -> str:
    """The placing as text: cuts, wires, buses, then every part with the hole of each leg as column/row."""
    lines = ["Starter board on stripboard: made by python -m hwspec.circuit.generate; do not edit", ""]
    lines.append(f"Board: {COLUMNS} columns, rows 0 to {LAST_ROW}, strips along the rows. Holes as column/row,")
    lines += ["counted on the side of the parts.", "", "Cut the strip at these holes:"]
    by_row: dict[int, list[int]] = {}
    for column, row in sorted(cuts()):
        by_row.setdefault(row, []).append(column)
    lines += [f"  row {row:2}: columns {', '.join(map(str, columns))}" for row, columns in sorted(by_row.items())]
    lines += ["", "Insulated wires:"]
    lines += [f"  {_at(a)} to {_at(b)}" for a, b in WIRES]
    lines += ["", "Bare wires above the parts:"]
    lines += [f"  {name:9} {_at(bus.top)} to {_at(bus.bottom)}" for name, bus in BUSES.items()]
    lines += ["", "part   value        legs"]
    placed = places()
    for part in starter().parts:
        if part.ref == "A1":
            lines.append(f"A1     {part.value:12} pin 1 at {_at((MODULE_LEFT, 1))}, pin 40 at {_at((MODULE_RIGHT, 1))}")
            continue
        legs = []
        for pin in part.kind.pins:
            leg = placed[part.ref][pin.number]
            word = pin.name if pin.name != pin.number or part.kind.letter == "J" else ""
            if part.nets[pin.number] != OPEN:
                legs.append(f"{word + ' ' if word else ''}{leg if isinstance(leg, str) else _at(leg)}")
        lines.append(f"{part.ref:6} {part.value:12} {'; '.join(legs)}")
    return "\n".join(lines) + "\n"


def _at(hole: Hole) -> str:
    return f"{hole[0]}/{hole[1]}"
