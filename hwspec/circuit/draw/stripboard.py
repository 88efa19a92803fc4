"""The stripboard of the starter board as a picture, straight from its table of holes."""

from __future__ import annotations

from collections.abc import Iterable

from .. import strip
from ..kinds import RP2040_BOARD
from ..model import OPEN
from ..starter import ROWS, starter

PITCH = 26
LEFT, TOP = 70, 90
COLOURS = {"R": "#8a5a2b", "D": "#b02020", "U": "#303030", "Q": "#303030", "C": "#2050a0"}
NET_COLOURS = {"VPU": "#2050a0", "GND": "#202020", "VDD": "#b02020"}


def _x(column: float) -> float:
    return LEFT + (column - 1) * PITCH


def _y(row: float) -> float:
    return TOP + row * PITCH


def _text(x: float, y: float, words: str, size: float = 10, anchor: str = "middle", colour: str = "#000000") -> str:
    return (
        f'<text x="{x:g}" y="{y:g}" font-size="{size:g}" text-anchor="{anchor}" fill="{colour}"'
        f' font-family="DejaVu Sans, Arial, sans-serif">{words}</text>'
    )


def _line(a: tuple[float, float], b: tuple[float, float], colour: str, width: float, extra: str = "") -> str:
    return (
        f'<line x1="{a[0]:g}" y1="{a[1]:g}" x2="{b[0]:g}" y2="{b[1]:g}" stroke="{colour}" stroke-width="{width:g}"'
        f' stroke-linecap="round" {extra}/>'
    )


def _dot(x: float, y: float, radius: float, colour: str, extra: str = "") -> str:
    return f'<circle cx="{x:g}" cy="{y:g}" r="{radius:g}" fill="{colour}"{extra}/>'


def _strips() -> Iterable[str]:
    cut = strip.cuts()
    for row in range(strip.LAST_ROW + 1):
        yield _line((_x(1), _y(row)), (_x(strip.COLUMNS), _y(row)), "#e8d3a8", 14)
        yield _text(LEFT - 24, _y(row) + 4, str(row), 11)
        for column in range(1, strip.COLUMNS + 1):
            yield _dot(_x(column), _y(row), 2, "#ffffff", ' stroke="#b09a6a" stroke-width="0.6"')
    for column, row in sorted(cut):
        x, y = _x(column), _y(row)
        yield f'<rect x="{x - 9:g}" y="{y - 9:g}" width="18" height="18" fill="#ffffff"/>'
        yield _line((x - 6, y - 6), (x + 6, y + 6), "#c00000", 2)
        yield _line((x - 6, y + 6), (x + 6, y - 6), "#c00000", 2)
    for column in range(1, strip.COLUMNS + 1):
        if column == 1 or column % 5 == 0:
            yield _text(_x(column), TOP - 14, str(column), 11)


def _module() -> Iterable[str]:
    x, width = _x(strip.MODULE_LEFT) - 14, (strip.MODULE_RIGHT - strip.MODULE_LEFT) * PITCH + 28
    yield (
        f'<rect x="{x:g}" y="{_y(0.5):g}" width="{width:g}" height="{ROWS * PITCH:g}" rx="6" fill="#d8f0d8"'
        ' fill-opacity="0.75" stroke="#207020" stroke-width="1.5"/>'
    )
    middle = x + width / 2
    yield f'<rect x="{middle - 24:g}" y="{_y(0.1):g}" width="48" height="24" fill="#c0c0c0" stroke="#606060"/>'
    yield _text(middle, _y(0.75), "USB", 10)
    yield _text(middle, _y(10), "A1", 14)
    yield _text(middle, _y(10.7), "RP2040 board", 10)
    for pin in RP2040_BOARD.pins:
        column, row = strip.hole(strip.places()["A1"][pin.number])
        side = 1 if column == strip.MODULE_LEFT else -1
        yield _dot(_x(column), _y(row), 4, "#207020")
        yield _text(_x(column) + side * 9, _y(row) + 4, pin.name, 8, "start" if side > 0 else "end", "#104010")


def _buses() -> Iterable[str]:
    for bus in strip.BUSES.values():
        a, b = (_x(bus.top[0]), _y(bus.top[1])), (_x(bus.bottom[0]), _y(bus.bottom[1]))
        yield _line(a, b, NET_COLOURS[bus.net], 3)
        for end in (a, b):
            yield _dot(end[0], end[1], 4, NET_COLOURS[bus.net])
    for a, b in strip.WIRES:
        yield _line((_x(a[0]), _y(a[1])), (_x(b[0]), _y(b[1])), "#e08000", 3, 'stroke-dasharray="7 5"')
    for net, row in (("VPU", strip.VPU_ROW), ("GND", strip.GND_ROW), ("VDD", strip.VDD_ROW)):
        yield _text(_x(strip.COLUMNS) + 18, _y(row) + 4, net, 11, "start", NET_COLOURS[net])


def _parts() -> Iterable[str]:
    board, placed = starter(), strip.places()
    for part in board.parts:
        if part.ref == "A1":
            continue
        legs = placed[part.ref]
        colour = COLOURS.get(part.kind.letter, "#000000")
        points = [_leg(leg, legs) for number, leg in legs.items() if part.nets[number] != OPEN]
        for x, y in points:
            yield _dot(x, y, 3.5, colour)
        if part.kind.letter == "J":
            for number, leg in legs.items():
                if part.nets[number] != OPEN:
                    x, y = _leg(leg, legs)
                    yield _text(x - 22 if x < _x(25) else x + 22, y + 4, part.nets[number], 9)
            continue
        a, b = points[0], points[-1]
        yield _line(a, b, colour, 5, 'stroke-opacity="0.55"')
        yield from _name(part.ref, a, b)
        for pin in part.kind.pins:
            if pin.name == "K" and part.kind.letter == "D":
                x, y = _leg(legs[pin.number], legs)
                other = b if (x, y) == a else a
                bar = x + (other[0] - x) * 0.35
                yield _line((bar, y - 6), (bar, y + 6), "#000000", 2)


def _leg(leg: strip.Leg, legs: dict[str, strip.Leg]) -> tuple[float, float]:
    """Place of a leg; one on a bus is beside the part's other leg."""
    if not isinstance(leg, str):
        return _x(leg[0]), _y(leg[1])
    row = next(other[1] for other in legs.values() if not isinstance(other, str))
    return _x(strip.BUSES[leg].top[0]), _y(row)


def _name(ref: str, a: tuple[float, float], b: tuple[float, float]) -> Iterable[str]:
    x, y = (a[0] + b[0]) / 2, (a[1] + b[1]) / 2
    if abs(a[0] - b[0]) > PITCH * 2:
        yield _text(min(a[0], b[0]) + PITCH * 1.0, y - 4, ref, 8)
    elif abs(a[1] - b[1]) > PITCH:
        yield _text(x + 9, y + 3, ref, 9, "start")
    elif ref[0] == "D" or ref[:2] == "R3":
        yield _text(x, y - 7, ref, 6.5)
    else:
        yield _text(x + 9, y + 3, ref, 9, "start")


def stripboard_svg() -> str:
    """The whole picture."""
    width, height = _x(strip.COLUMNS) + 90, _y(strip.LAST_ROW) + 90
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:g}" height="{height:g}"'
        f' viewBox="0 0 {width:g} {height:g}">',
        f'<rect width="{width:g}" height="{height:g}" fill="#ffffff"/>',
        _text(LEFT - 30, 36, "Starter board on stripboard, seen from the side of the parts", 18, "start"),
        *_strips(),
        *_module(),
        *_parts(),
        *_buses(),
        _text(
            LEFT - 30,
            height - 42,
            "Red crosses: strip cut at this hole (on the far side). Thick lines down the board: bare wires above the"
            " parts; the far legs of upright diodes and pull-ups are soldered to them.",
            11,
            "start",
        ),
        _text(
            LEFT - 30,
            height - 22,
            "Dashed: insulated wires. Black bar on a diode: its band. Every hole is in starter-strip.txt.",
            11,
            "start",
        ),
        "</svg>",
    ]
    return "\n".join(lines) + "\n"
