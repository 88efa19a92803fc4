"""Virtual harness files: what is physically plugged in (metal, leaks, diodes, dropouts, voltages).

```toml
format = 1
[[link]]     a, b, ohms = 0.05, capacitance_nf = 0.05     metal; `~name` is a buried junction
[[leak]]     a, b, ohms                                   moisture, or any resistor
[[resistor]] a, b, ohms                                   the same; a part that is meant to be there
[[diode]]    anode, cathode, drop_v = 0.6                 drop at 1 mA
[[dropout]]  a, b, every_ms, open_ms, phase_ms = 0, ohms = 0.05
[[voltage]]  at, volts, ohms = 50, to = board ground
[[capacitor]] at, nf
```
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from hwspec.virtual.files import BadFile, Table, read_toml, show

LINK_NF = 0.05


@dataclass(frozen=True)
class Resistor:
    """Ohms between two nodes. `metal`: a wire, so both ends settle together; `nf`: its capacitance to ground."""

    a: str
    b: str
    ohms: float
    metal: bool = True
    nf: float = 0.0


@dataclass(frozen=True)
class Diode:
    """One-way part: `drop_v` at 1 mA from anode to cathode."""

    anode: str
    cathode: str
    drop_v: float = 0.6


@dataclass(frozen=True)
class Dropout:
    """A link that is open for `open_ms` from `phase_ms` on in every `every_ms`."""

    a: str
    b: str
    every_ms: float
    open_ms: float
    phase_ms: float = 0.0
    ohms: float = 0.05

    def is_open(self, ns: int) -> bool:
        """True when open at that virtual time."""
        return (ns - int(self.phase_ms * 1e6)) % int(self.every_ms * 1e6) < int(self.open_ms * 1e6)

    def next_edge(self, ns: int) -> int:
        """Virtual time of the first change after `ns`."""
        every, opened = int(self.every_ms * 1e6), int(self.open_ms * 1e6)
        into = (ns - int(self.phase_ms * 1e6)) % every
        return ns - into + (opened if into < opened else every)


@dataclass(frozen=True)
class Voltage:
    """A source of `volts` behind `ohms` from `to` (None: board ground) to `at`."""

    at: str
    volts: float
    ohms: float = 50.0
    to: str | None = None


@dataclass(frozen=True)
class Harness:
    """Everything in one file. `capacitors`: node -> nF to ground."""

    resistors: tuple[Resistor, ...] = ()
    diodes: tuple[Diode, ...] = ()
    dropouts: tuple[Dropout, ...] = ()
    voltages: tuple[Voltage, ...] = ()
    capacitors: dict[str, float] = field(default_factory=dict)
    noise_seed: int = 0

    def nodes(self) -> set[str]:
        """All cavities and junctions that the file names."""
        named = {end for wire in self.resistors for end in (wire.a, wire.b)}
        named |= {end for drop in self.dropouts for end in (drop.a, drop.b)}
        named |= {end for part in self.diodes for end in (part.anode, part.cathode)}
        named |= {end for part in self.voltages for end in (part.at, part.to) if end is not None}
        return named | set(self.capacitors)


def _two_ends(table: Table, first: str, second: str) -> tuple[str, str]:
    a, b = table.node(first), table.node(second)
    if a == b:
        raise table.wrong(second, f'is "{b}", the same as {first}; a part has two different ends')
    return a, b


def _link(table: Table) -> Resistor:
    table.close(("a", "b", "ohms", "capacitance_nf", "note"))
    a, b = _two_ends(table, "a", "b")
    ohms = table.number("ohms", 0, 1e9, 0.05)
    return Resistor(a, b, max(ohms, 1e-3), True, table.number("capacitance_nf", 0, 1e5, LINK_NF))


def _resistor(table: Table) -> Resistor:
    table.close(("a", "b", "ohms", "note"))
    a, b = _two_ends(table, "a", "b")
    return Resistor(a, b, table.number("ohms", 1e-3, 1e12), False)


def _diode(table: Table) -> Diode:
    table.close(("anode", "cathode", "drop_v", "note"))
    anode, cathode = _two_ends(table, "anode", "cathode")
    return Diode(anode, cathode, table.number("drop_v", 0.05, 10, 0.6))


def _dropout(table: Table) -> Dropout:
    table.close(("a", "b", "every_ms", "open_ms", "phase_ms", "ohms", "note"))
    a, b = _two_ends(table, "a", "b")
    every = table.number("every_ms", 0.001, 1e7)
    opened = table.number("open_ms", 0.0001, 1e7)
    if opened >= every:
        raise table.wrong("open_ms", f"is {opened:g}; it must be less than every_ms ({every:g})")
    phase, ohms = table.number("phase_ms", 0, 1e7, 0.0), table.number("ohms", 0, 1e9, 0.05)
    return Dropout(a, b, every, opened, phase, max(ohms, 1e-3))


def _voltage(table: Table) -> Voltage:
    table.close(("at", "volts", "ohms", "to", "note"))
    at = table.node("at")
    to = table.node("to") if table.has("to") else None
    if at == to:
        raise table.wrong("to", f'is "{to}", the same as at; leave it out for board ground')
    return Voltage(at, table.number("volts", -60, 60), max(1e-3, table.number("ohms", 0, 1e9, 50.0)), to)


_READERS: dict[str, Callable[[Table], Any]] = {
    "link": _link,
    "leak": _resistor,
    "resistor": _resistor,
    "diode": _diode,
    "dropout": _dropout,
    "voltage": _voltage,
}
_TOP = ("format", "id", "note", "title", "noise_seed", "capacitor", *_READERS)


def _capacitor(table: Table) -> tuple[str, float]:
    table.close(("at", "nf", "note"))
    return table.node("at"), table.number("nf", 0, 1e6)


def parse_harness(data: dict[str, Any], file: str) -> Harness:
    """The harness in the tables of a file. Raises BadFile."""
    top = Table(file, "", data)
    top.close(_TOP)
    check_format(top)
    found: dict[str, list[Any]] = {kind: [] for kind in (*_READERS, "capacitor")}
    for kind, reader in (*_READERS.items(), ("capacitor", _capacitor)):
        rows = data.get(kind, [])
        if not isinstance(rows, list):
            raise BadFile(f"{file}: {kind} is {show(rows)}; write it as [[{kind}]], two brackets on each side")
        found[kind] = [reader(Table(file, f"[[{kind}]] {n}", row)) for n, row in enumerate(rows, 1)]
    capacitors: dict[str, float] = {}
    for node, nf in found["capacitor"]:
        capacitors[node] = capacitors.get(node, 0.0) + nf
    return Harness(
        tuple(found["link"] + found["leak"] + found["resistor"]),
        tuple(found["diode"]),
        tuple(found["dropout"]),
        tuple(found["voltage"]),
        capacitors,
        int(top.number("noise_seed", 0, 2**31, 0)),
    )


def check_format(top: Table) -> None:
    """Refuse files of another format than 1."""
    if not top.has("format"):
        raise BadFile(f"{top.place}: format is missing; the first line is format = 1")
    if top.get("format") != 1 or isinstance(top.get("format"), bool):
        raise top.wrong("format", f"is {show(top.get('format'))}; this program reads format = 1")


def load_harness(path: Path) -> Harness:
    """Read a virtual harness file. Raises BadFile."""
    return parse_harness(read_toml(path), str(path))
