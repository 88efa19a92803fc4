"""A scan in words: circuits, lone cavities, one-way links, what disagrees and what was never seen together."""

from __future__ import annotations

from tester.harness.partkinds import part_kind
from tester.harness.reading import Measured, PartReading
from tester.words.lists import counted, listed, ohms

MOST = 12


def reading_lines(measured: Measured) -> list[str]:
    """What one scan saw, a line each; every cavity on a lead is in one of them."""
    circuits = [circuit for circuit in measured.netlist if len(circuit) > 1]
    lone = measured.netlist.lone()
    lines = [f"Circuit of {counted(len(c), 'cavity', 'cavities')}: {listed(c)}" for c in circuits]
    if lone:
        lines.append(f"{counted(len(lone), 'lone cavity', 'lone cavities')}: {listed(lone)}")
    for a, b in _one_each(measured):
        lines.append(f"One way only: conducts from {b} to {a}, not back")
    lines += [_part(part) for part in measured.parts]
    for a, b in sorted(measured.doubtful):
        lines.append(f"Doubtful: readings of {a} and {b} disagree")
    if measured.not_seen:
        shown = [f"{a} with {b}" for a, b in sorted(measured.not_seen)]
        lines.append(f"Never on leads together: {listed(shown, most=MOST, ordered=False)}")
    for number in measured.unanchored:
        lines.append(
            f"Round {number + 1} saw no circuit of an earlier round again: nothing shows that it was plugged right"
        )
    return lines


def _one_each(measured: Measured) -> list[tuple[str, str]]:
    """One pair for each two circuits with a one-way link: the first cavity of each."""
    home = measured.netlist.circuit_of
    return sorted({(home(a)[0], home(b)[0]) for a, b in measured.directed})


def _part(part: PartReading) -> str:
    both = [ohms(value) if value is not None else "no conduction" for value in (part.ohms_ab, part.ohms_ba)]
    kind = part_kind(part)
    name = kind or "part"
    text = f"{name[0].upper()}{name[1:]} between {part.a} and {part.b}: {both[0]}"
    text += f", the other way {both[1]}" if both[0] != both[1] else ""
    if part.drop_v is not None and "diode" in kind:
        text += f", {part.drop_v:.2f} V"
    return text if part.stable else f"{text}; it does not hold still"
