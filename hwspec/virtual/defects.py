"""A board that was soldered badly: defects for rehearsing `board check` and the build guide.

open-pin 17         channel 17: no joint between cell and expander pin
open-sense 17       channel 17: no joint at its sense resistor
open-mux S+ 17      channel 17 never reaches that bus (S+, S- or force)
bridge 17 18        solder between two channels
dead-expander 2     expander 2 (from 1) does not answer
no-converter        the converter does not answer
reference 12.5      the spare reference cell has so many ohms
"""

from __future__ import annotations

import difflib
from collections.abc import Sequence
from dataclasses import dataclass, field

from hwspec.virtual.files import BadFile
from hwspec.virtual.multiplexer import FORCE, TREES
from hwspec.virtual.parts import Parts

_OPEN_OHMS = 1e12
_SHAPES = {
    "open-pin": "CHANNEL",
    "open-sense": "CHANNEL",
    "open-mux": "S+|S-|force CHANNEL",
    "bridge": "CHANNEL CHANNEL",
    "dead-expander": "NUMBER",
    "no-converter": "",
    "reference": "OHM",
}


@dataclass
class Defects:
    """What is left after the parts were changed: `bridges` between channels, `dead` expanders, no converter."""

    bridges: list[tuple[int, int]] = field(default_factory=list)
    dead: set[int] = field(default_factory=set)
    no_converter: bool = False


def apply(parts: Parts, texts: Sequence[str]) -> Defects:
    """Change `parts` as the texts say and give the rest. Raises BadFile for a text that is none of the above."""
    found = Defects()
    for text in texts:
        _apply_one(parts, text, found)
    return found


def _apply_one(parts: Parts, text: str, found: Defects) -> None:
    name, *rest = text.split() or [""]
    if name not in _SHAPES:
        near = difflib.get_close_matches(name, _SHAPES, 1)
        hint = f'did you mean "{near[0]}"?' if near else f"known are: {', '.join(_SHAPES)}"
        raise BadFile(f'--defect: unknown defect "{name}"; {hint}')
    try:
        if name == "no-converter" and not rest:
            found.no_converter = True
        elif name == "reference" and len(rest) == 1:
            parts.spare = max(1e-3, float(rest[0]))
        elif name == "dead-expander" and len(rest) == 1:
            found.dead.add(_number(rest[0], (len(parts.cells) + 15) // 16) - 1)
        elif name == "bridge" and len(rest) == 2:
            a, b = (_number(part, len(parts.cells)) for part in rest)
            found.bridges.append((a, b))
        else:
            _open_joint(parts, name, rest)
    except (ValueError, IndexError):
        raise BadFile(f'--defect "{text}": write {name} {_SHAPES[name]}'.rstrip()) from None


def _number(text: str, most: int) -> int:
    if not text.isdecimal() or not 1 <= int(text) <= most:
        raise ValueError(text)
    return int(text)


def _open_joint(parts: Parts, name: str, rest: list[str]) -> None:
    cell = parts.cells[_number(rest[-1], len(parts.cells)) - 1]
    if name == "open-mux" and len(rest) == 2:
        ohms = list(cell.mux)
        ohms[TREES.index(rest[0])] = _OPEN_OHMS
        cell.mux = (ohms[0], ohms[1], ohms[FORCE])
    elif name == "open-pin" and len(rest) == 1:
        cell.pin_series = _OPEN_OHMS
    elif name == "open-sense" and len(rest) == 1:
        cell.sense = _OPEN_OHMS
    else:
        raise ValueError(name)
