"""Parts, pins and nets as plain data.

A `Kind` is what one buys (pins, package, footprint); a `Part` is one of them on a board, with the net of each pin.
A `Circuit` is a list of parts; its nets follow from them. Nothing here reads or writes files.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Literal

PinType = Literal["passive", "input", "output", "tri", "bidirectional", "power_in", "power_out", "open"]

OPEN = "-"
"""Net name that marks a pin as left open on purpose."""


class CircuitError(Exception):
    """The description of the board contradicts itself: a mistake in this package, not of a user."""


@dataclass(frozen=True)
class Pin:
    """One pin of a kind. `number` as on the package, `name` as in its data sheet."""

    number: str
    name: str
    type: PinType = "passive"


@dataclass(frozen=True)
class Kind:
    """What one buys: value-independent facts.

    `name` is the chip's number or the sort of part ("resistor"), `package` as a shop lists it,
    `footprint` a name of the KiCad library, `letter` the start of its reference.
    """

    name: str
    letter: str
    package: str
    footprint: str
    pins: tuple[Pin, ...]

    def pin(self, name: str) -> Pin:
        """Pin by its name; names are unique within a kind except for doubled supply pins."""
        for pin in self.pins:
            if pin.name == name:
                return pin
        raise CircuitError(f"{self.name} has no pin {name!r}")


@dataclass(frozen=True)
class Part:
    """One part on a board.

    `nets` maps pin number to net (or `OPEN`). `value` is the printed value, `number` the same in SI units where it
    is one (ohm, farad, volt). `tolerance` is relative. `why` says what the part is for; parts that share kind,
    value and why are one line of the parts list. `serves` names the part that a decoupling capacitor belongs to,
    `channel` the channel (1..64 on its card) of a cell's part.
    """

    ref: str
    kind: Kind
    value: str
    nets: Mapping[str, str]
    why: str
    number: float = 0.0
    tolerance: float | None = None
    serves: str = ""
    channel: int = 0
    role: str = ""

    def net(self, pin_name: str) -> str:
        """Net at the pin of that name."""
        return self.nets[self.kind.pin(pin_name).number]


@dataclass
class Circuit:
    """Parts of one board (or of several boards plugged together)."""

    name: str
    title: str
    parts: list[Part] = field(default_factory=list)
    _nets: tuple[int, dict[str, list[tuple[Part, Pin]]]] | None = field(default=None, repr=False, compare=False)

    def add(self, part: Part) -> Part:
        """Append a part and hand it back; the same reference twice is a mistake."""
        if any(other.ref == part.ref for other in self.parts):
            raise CircuitError(f"{self.name}: {part.ref} is there twice")
        self.parts.append(part)
        return part

    def part(self, ref: str) -> Part:
        for part in self.parts:
            if part.ref == ref:
                return part
        raise CircuitError(f"{self.name} has no part {ref!r}")

    def nets(self) -> dict[str, list[tuple[Part, Pin]]]:
        """Every net with its (part, pin) in order of the parts; open pins are not in it. Kept until a part is added."""
        if self._nets is not None and self._nets[0] == len(self.parts):
            return self._nets[1]
        found: dict[str, list[tuple[Part, Pin]]] = {}
        for part in self.parts:
            for pin in part.kind.pins:
                net = part.nets.get(pin.number, OPEN)
                if net != OPEN:
                    found.setdefault(net, []).append((part, pin))
        self._nets = (len(self.parts), found)
        return found

    def on_net(self, net: str) -> Iterator[tuple[Part, Pin]]:
        yield from self.nets().get(net, [])

    def with_role(self, role: str, channel: int | None = None) -> list[Part]:
        """Parts of a role ("Rs", "clamp", ...), of all channels or of one."""
        return [p for p in self.parts if p.role == role and (channel is None or p.channel == channel)]


def connect(kind: Kind, nets: Mapping[str, str]) -> dict[str, str]:
    """Pin names -> pin numbers. Every pin of the kind must be named, `OPEN` for those left open.

    Doubled pins (two grounds) take the net that their shared name is given.
    """
    unknown = set(nets) - {pin.name for pin in kind.pins}
    missing = {pin.name for pin in kind.pins} - set(nets)
    if unknown or missing:
        raise CircuitError(f"{kind.name}: unknown pins {sorted(unknown)}, missing pins {sorted(missing)}")
    return {pin.number: nets[pin.name] for pin in kind.pins}


def merged(name: str, title: str, boards: Iterable[tuple[str, Circuit, Mapping[str, str]]]) -> Circuit:
    """Several boards as one circuit: each part's reference gets a prefix, each net the prefix unless renamed.

    `boards` holds (prefix, circuit, {net of the board: net of the whole}).
    """
    whole = Circuit(name, title)
    for prefix, board, rename in boards:
        for part in board.parts:
            nets = {number: net if net == OPEN else rename.get(net, prefix + net) for number, net in part.nets.items()}
            whole.parts.append(
                Part(
                    ref=prefix + part.ref,
                    kind=part.kind,
                    value=part.value,
                    nets=nets,
                    why=part.why,
                    number=part.number,
                    tolerance=part.tolerance,
                    serves=prefix + part.serves if part.serves else "",
                    channel=part.channel,
                    role=part.role,
                )
            )
    return whole
