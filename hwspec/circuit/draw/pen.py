"""Draws parts of one board on one sheet and refuses what the board does not have."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import Any

import schemdraw
import schemdraw.elements

from ..model import OPEN, Circuit, CircuitError, Part

schemdraw.use("svg")
elm: Any = schemdraw.elements
"""The library's elements carry few types."""

Point = tuple[float, float]
End = tuple[float, float, str]
"""x, y and the net that must be there."""

FONT = "DejaVu Sans, Arial, sans-serif"
SIZE = 11.0
SMALL = 9.0
STEP = 0.62
"""Distance of two pins of a chip, in drawing units."""

CHARACTER = 0.56 / 72 / 0.42
"""Width of a character of 1 point, in drawing units: the library does not count words when it sizes a sheet."""

NEAR = 1e-6


def _on(point: Point, a: Point, b: Point) -> bool:
    """Whether a point lies on the straight line from a to b, ends included."""
    return abs(math.dist(a, point) + math.dist(point, b) - math.dist(a, b)) < NEAR


_ELEMENTS: dict[str, Any] = {
    "resistor": elm.ResistorIEC,
    "capacitor": elm.Capacitor,
    "electrolytic capacitor": elm.Capacitor2,
    "1N5817": elm.Schottky,
    "1N4148": elm.Diode,
    "LED red": elm.LED,
}


class Pen:
    """One sheet. `used` holds the references that were drawn."""

    def __init__(self, board: Circuit, title: str) -> None:
        self.board = board
        self.title = title
        self.used: set[str] = set()
        self.drawing = schemdraw.Drawing(show=False)
        self.drawing.config(unit=2, fontsize=SIZE, font=FONT, lw=1.4, inches_per_unit=0.42, bgcolor="white", margin=0.2)
        self._generic: dict[str, str] = {}
        self._corners: list[Point] = []
        self._nets: list[tuple[Point, str]] = []
        self._wires: list[tuple[Point, Point]] = []

    def rename(self, old: str, new: str) -> None:
        """Print `new` instead of `old` in references and nets: a cell stands for all cells."""
        self._generic[old] = new

    def shown(self, text: str) -> str:
        return self._generic.get(text, text)

    # --- pieces ---------------------------------------------------------------------------------------------------

    def text(self, x: float, y: float, words: str, size: float = SIZE, align: str = "left") -> None:
        """Words at a place; `align` left, center or right."""
        width = len(words) * size * CHARACTER
        start = {"left": 0.0, "center": -width / 2, "right": -width}[align]
        self._corners += [(x + start - 0.35, y - 0.25), (x + start + width + 0.35, y + 0.25)]
        if align == "right":
            x -= 0.2  # the library sets right-aligned words close, left-aligned ones wide
        label = (
            elm.Label().theta(0).at((x, y - 0.07)).label(words, fontsize=size, halign=align, valign="center", ofst=0)
        )
        self.drawing += label

    def wire(self, *points: Point) -> None:
        """Straight lines through the points."""
        for a, b in pairwise(points):
            self._wires.append((a, b))
            self.drawing += elm.Line().endpoints(a, b)

    def _mark(self, x: float, y: float, net: str) -> None:
        """Say which net is at a place; `svg` compares it with all that is wired to it."""
        self._nets.append(((x, y), net))

    def dot(self, x: float, y: float) -> None:
        self.drawing += elm.Dot(radius=0.06).at((x, y))

    def tag(self, x: float, y: float, net: str, side: str = "right") -> None:
        """Name of a net that goes on elsewhere; `side` is where the name stands, seen from the point."""
        self._mark(x, y, net)
        if net == "GND":
            self.drawing += elm.Ground().theta(0).at((x, y))
            return
        offset = {"right": (0.12, 0.0), "left": (-0.12, 0.0), "up": (0.0, 0.3), "down": (0.0, -0.35)}[side]
        align = {"right": "left", "left": "right", "up": "center", "down": "center"}[side]
        self.drawing += elm.Dot(radius=0.06, open=True).at((x, y))
        self.text(x + offset[0], y + offset[1], self.shown(net), SMALL, align)

    def supply(self, x: float, y: float, net: str = "VDD") -> None:
        self._mark(x, y, net)
        self.drawing += elm.Vdd().theta(0).at((x, y)).label(self.shown(net), fontsize=SMALL)

    def box(self, x: float, y: float, width: float, height: float, lines: Sequence[str]) -> None:
        """Block of an overview: lower left corner, size, words in the middle."""
        self.drawing += elm.Rect(corner1=(0, 0), corner2=(width, height), lw=1.6).theta(0).at((x, y))
        for row, line in enumerate(lines):
            size = SIZE if row == 0 else SMALL
            self.text(x + width / 2, y + height / 2 + (len(lines) - 1) * 0.25 - row * 0.5, line, size, "center")

    def arrow(self, a: Point, b: Point, words: str = "") -> None:
        """Arrow both ways between two blocks, with words above its middle."""
        self.drawing += elm.Arrow(double=True).endpoints(a, b)
        if words:
            self.text((a[0] + b[0]) / 2, (a[1] + b[1]) / 2 + 0.3, words, SMALL, "center")

    # --- parts ----------------------------------------------------------------------------------------------------

    def _part(self, ref: str) -> Part:
        self.used.add(ref)
        return self.board.part(ref)

    def two(self, ref: str, a: End, b: End, loc: str = "top") -> None:
        """Part with two pins between two ends; raises when it does not join those nets."""
        part = self._part(ref)
        first, second = part.nets["1"], part.nets["2"]
        if {first, second} != {a[2], b[2]}:
            raise CircuitError(f"{ref} joins {first} and {second}, the drawing says {a[2]} and {b[2]}")
        self._mark(*a)
        self._mark(*b)
        # diodes of the library point from anode (first) to cathode; their pin 1 is the cathode
        polar = part.kind.pins[0].name in ("K", "plus")
        if polar and part.kind.pins[0].name == "K":
            start, end = (a, b) if a[2] == second else (b, a)
        elif polar:
            start, end = (a, b) if a[2] == first else (b, a)
        else:
            start, end = a, b
        element = _ELEMENTS[part.kind.name]().endpoints(start[:2], end[:2])
        words = f"{self.shown(ref)}  {part.value}"
        reach = len(words) * SMALL * CHARACTER + 0.6
        middle = ((a[0] + b[0]) / 2, (a[1] + b[1]) / 2)
        self._corners += [(middle[0] - reach, middle[1]), (middle[0] + reach, middle[1])]
        if start is b:
            loc = {"top": "bottom", "bottom": "top"}.get(loc, loc)
        self.drawing += element.label(words, loc=loc, fontsize=SMALL, ofst=0.12)

    def loose(self, ref: str, x: float, y: float, note: str = "") -> None:
        """Two-pin part lying at (x, y) with the names of its own nets at both ends."""
        part = self._part(ref)
        first, second = part.nets["1"], part.nets["2"]
        element = _ELEMENTS[part.kind.name]().endpoints((x, y), (x + 1.8, y))
        self.drawing += element.label(f"{self.shown(ref)}  {part.value}", loc="top", fontsize=SMALL, ofst=0.1)
        self.text(x - 0.1, y, self.shown(first), SMALL, "right")
        self.text(x + 1.9, y, self.shown(second), SMALL)
        if note:
            self.text(x + 0.9, y - 0.62, note, 7.5, "center")

    def clamp(self, ref: str, x: float, y: float, node: str, kind: str = "Diode") -> None:
        """Two diodes in one package at a node: up to the supply pin K, down to the pin A."""
        part = self._part(ref)
        if part.net("COM") != node:
            raise CircuitError(f"{ref} is at {part.net('COM')}, the drawing says {node}")
        self._mark(x, y, node)
        diode = getattr(elm, kind)
        self.drawing += diode().endpoints((x, y), (x, y + 1.5))
        self.drawing += diode().endpoints((x, y - 1.5), (x, y))
        self.supply(x, y + 1.5, part.net("K"))
        self.tag(x, y - 1.5, part.net("A"), "down")
        self.dot(x, y)
        self.text(x + 0.5, y + 0.75, f"{self.shown(ref)}  {part.value}", SMALL)

    def pnp(self, ref: str, base: Point, top: float, bottom: float, base_net: str) -> None:
        """PNP transistor with its base at a point; emitter up to the supply, collector down to ground."""
        part = self._part(ref)
        if (part.net("B"), part.net("E"), part.net("C")) != (base_net, "VDD", "GND"):
            raise CircuitError(f"{ref} is not between VDD and GND with its base at {base_net}")
        self._mark(*base, base_net)
        transistor = self.drawing.add(elm.BjtPnp(circle=True).theta(0).anchor("base").at(base))
        self._mark(transistor.emitter[0], top, "VDD")
        self.wire(tuple(transistor.emitter), (transistor.emitter[0], top))
        self.wire(tuple(transistor.collector), (transistor.collector[0], bottom))
        self.tag(transistor.collector[0], bottom, "GND")
        self.text(base[0] + 1.2, base[1], f"{self.shown(ref)}  {part.value}", SMALL)

    def pump_diodes(self, ref: str, a: Point, b: Point, node: str, out: str) -> None:
        """Two diodes in one package: from ground up to a node, from there to `out`."""
        part = self._part(ref)
        if (part.net("A"), part.net("COM"), part.net("K")) != ("GND", node, out):
            raise CircuitError(f"{ref} does not pump from GND through {node} to {out}")
        self._mark(*a, node)
        self._mark(*b, out)
        self.drawing += elm.Schottky().endpoints((a[0], a[1] - 1.6), a)
        self.tag(a[0], a[1] - 1.6, "GND")
        self.dot(*a)
        self.drawing += elm.Schottky().endpoints(a, b)
        self.text((a[0] + b[0]) / 2, a[1] + 0.5, f"{self.shown(ref)}  {part.value}", SMALL, "center")

    def suppressor(self, ref: str, pin: str, x: float, y: float, node: str) -> None:
        """One half of a suppressor from a node down to ground."""
        part = self._part(ref)
        if part.net(pin) != node or part.net("GND") != "GND":
            raise CircuitError(f"{ref} {pin} is at {part.net(pin)}, the drawing says {node}")
        self._mark(x, y, node)
        self.drawing += elm.DiodeTVS().endpoints((x, y), (x, y - 1.5))
        self.tag(x, y - 1.5, "GND")
        self.dot(x, y)
        self.text(x + 0.4, y - 0.75, f"{self.shown(ref)}  {part.value}", SMALL)

    def chip(
        self,
        ref: str,
        x: float,
        y: float,
        left: Sequence[str],
        right: Sequence[str],
        width: float = 3.0,
        note: str = "",
        tags: bool = True,
    ) -> dict[str, Point]:
        """Box of a part with its lower left corner at (x, y): pins by name, "" for a gap; every pin gets its net.

        Gives the outer end of each pin. Raises when a pin of the part is on neither side.
        """
        part = self._part(ref)
        missing = {pin.number for pin in part.kind.pins} - {
            pin.number for pin in part.kind.pins if pin.name in left or pin.name in right
        }
        if missing:
            raise CircuitError(f"{ref}: pins {sorted(missing)} are not on the drawing")
        rows = max(len(left), len(right))
        height = (rows + 0.6) * STEP
        self.drawing += elm.Rect(corner1=(0, 0), corner2=(width, height), lw=1.6).theta(0).at((x, y))
        self.text(x + width / 2, y + height + 0.28, f"{self.shown(ref)}  {part.value}", SIZE, "center")
        if note:
            self.text(x + width / 2, y - 0.3, note, SMALL, "center")
        ends: dict[str, Point] = {}
        for names, side in ((left, -1), (right, 1)):
            for row, name in enumerate(names):
                if name:
                    at = (x if side < 0 else x + width, y + height - (row + 0.8) * STEP)
                    ends[name] = self._pin(part, name, at, side, tags)
        return ends

    def _pin(self, part: Part, name: str, at: Point, side: int, tags: bool) -> Point:
        numbers = [pin.number for pin in part.kind.pins if pin.name == name]
        net = part.nets[numbers[0]]
        out = (at[0] + side * 0.75, at[1])
        self.wire(at, out)
        if net != OPEN:
            self._mark(*out, net)
        self.text(at[0] - side * 0.12, at[1], name, SMALL, "left" if side < 0 else "right")
        printed = numbers[0] if len(numbers) == 1 else f"{len(numbers)}x"
        if printed != name:
            self.text(at[0] + side * 0.36, at[1] + 0.17, printed, 7.5, "center")
        if net == OPEN:
            self.text(out[0] + side * 0.05, out[1], "x", SMALL, "left" if side > 0 else "right")
        elif tags:
            self._name(out, net, side)
        return out

    def _name(self, at: Point, net: str, side: int) -> None:
        """Net name beside a pin; supply and ground as words, so that dense chips stay readable."""
        self.text(at[0] + side * 0.1, at[1], self.shown(net), SMALL, "left" if side > 0 else "right")

    def _check_wires(self) -> None:
        """Whatever hangs together by wires (ends touching, or an end on the middle of a wire) is one net."""
        points = sorted({p for wire in self._wires for p in wire} | {p for p, _ in self._nets})
        group = {point: point for point in points}

        def root(point: Point) -> Point:
            while group[point] != point:
                point = group[point]
            return point

        for a, b in self._wires:
            for point in points:
                if _on(point, a, b):
                    group[root(point)] = root(a)
        for one, other in pairwise(points):
            if math.dist(one, other) < NEAR:
                group[root(one)] = root(other)
        found: dict[Point, str] = {}
        for point, net in self._nets:
            if found.setdefault(root(point), net) != net:
                raise CircuitError(f"{self.title}: a wire at {point} joins {net} and {found[root(point)]}")

    def svg(self, notes: Sequence[str] = ()) -> str:
        """The sheet with its title above and notes below. Raises when wires join two nets."""
        self._check_wires()
        box = self.drawing.get_bbox()
        left = min([box.xmin, *(x for x, _ in self._corners)])
        low, high = min([box.ymin, *(y for _, y in self._corners)]), max([box.ymax, *(y for _, y in self._corners)])
        self.text(left, high + 0.7, self.title, 15)
        for row, note in enumerate(notes):
            self.text(left, low - 0.6 - row * 0.5, note, SIZE)
        for x in (min(x for x, _ in self._corners), max(x for x, _ in self._corners)):
            for y in (min(y for _, y in self._corners), max(y for _, y in self._corners)):
                self.drawing += elm.Dot(radius=0.01).at((x, y)).color("white")
        data = self.drawing.get_imagedata("svg").decode("utf-8")
        return data if data.endswith("\n") else data + "\n"
