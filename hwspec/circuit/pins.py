"""Which chip pin each channel is on, found by walking the nets of the whole build, never by formula."""

from __future__ import annotations

import csv
import io
from dataclasses import astuple, dataclass, fields

from .main import MAIN_PINS
from .model import OPEN, Circuit, Part
from .rules import select_of
from .stack import CARDS_MAX, full_build, prefix
from .starter import RAIL_PIN, starter


@dataclass(frozen=True)
class FullPin:
    """One channel of the full build. `bit` 0..15 counts port A then port B; `mux_chip` 0..3 within each tree."""

    channel: int
    card: int
    connector: str
    connector_pin: int
    select: int
    address: int
    bit: int
    pin: str
    mux_chip: int
    mux_input: int


@dataclass(frozen=True)
class StarterPin:
    """One channel of the starter build: its GP number."""

    channel: int
    connector: str
    connector_pin: int
    gp: int


def _far(part: Part, net: str) -> str:
    ends = list(part.nets.values())
    return ends[1] if ends[0] == net else ends[0]


def _walk(board: Circuit, net: str, *roles: str) -> str:
    """Net reached from `net` through one part of each role in turn."""
    for role in roles:
        found = [part for part, _ in board.on_net(net) if part.role == role]
        net = _far(found[0], net)
    return net


def _only(board: Circuit, net: str, role: str) -> tuple[Part, str]:
    """The one part of a role at a net, and the name of its pin there."""
    found = [(part, pin.name) for part, pin in board.on_net(net) if part.role == role]
    if len(found) != 1:
        raise ValueError(f"net {net}: {len(found)} parts of role {role}")
    return found[0]


def _level(net: str) -> int:
    return 0 if net == "GND" else 1


def full_pins(cards: int = CARDS_MAX) -> list[FullPin]:
    """Table of the full build, channels 1 .. 64 * cards."""
    whole = full_build(cards)
    rows = []
    for card in range(cards):
        mark = prefix(card)
        harness = [p for p in whole.with_role("harness") if p.ref.startswith(mark)]
        channel = card * 64
        for connector in harness:
            for pin in connector.kind.pins:
                tp = connector.nets[pin.number]
                if tp == OPEN:
                    continue
                channel += 1
                rows.append(_full_pin(whole, channel, card, connector, pin.number, tp))
    return rows


def _full_pin(whole: Circuit, channel: int, card: int, connector: Part, number: str, tp: str) -> FullPin:
    driven = _walk(whole, tp, "Rs", "R2")
    expander, pin = _only(whole, driven, "expander")
    address = 4 * _level(expander.net("A2")) + 2 * _level(expander.net("A1")) + _level(expander.net("A0"))
    inputs = {
        "FORCE": _only(whole, driven, "multiplexer FORCE"),
        "SENSE_P": _only(whole, _walk(whole, tp, "Rp"), "multiplexer SENSE_P"),
        "SENSE_N": _only(whole, _walk(whole, tp, "Rp"), "multiplexer SENSE_N"),
    }
    places = {(_chip(whole, mux, tree), int(name[1:])) for tree, (mux, name) in inputs.items()}
    if len(places) != 1:
        raise ValueError(f"channel {channel}: its three trees disagree: {sorted(places)}")
    chip, mux_input = places.pop()
    return FullPin(
        channel=channel,
        card=card,
        connector=connector.ref.split(".")[-1],
        connector_pin=int(number),
        select=int(select_of(whole, expander)[-1]),
        address=address,
        bit=int(pin[-1]) + (8 if pin.startswith("GPB") else 0),
        pin=pin,
        mux_chip=chip,
        mux_input=mux_input,
    )


def _chip(whole: Circuit, mux: Part, tree: str) -> int:
    """Which enable bit of its register opens a multiplexer; the address lines must be the register's low bits."""
    register, output = _only(whole, mux.net("E"), f"register {tree}")
    for bit in range(4):
        other, name = _only(whole, mux.net(f"S{bit}"), f"register {tree}")
        if other.ref != register.ref or name != f"Q{bit}":
            raise ValueError(f"{mux.ref}: address line {bit} comes from {other.ref} {name}")
    return int(output[1:]) - 4


def chain_order(cards: int = CARDS_MAX) -> list[tuple[int, str]]:
    """Registers from the main board outward: (card, tree). The byte for the last one is shifted first."""
    whole = full_build(cards)
    order: list[tuple[int, str]] = []
    net = "CHAIN_0"
    while True:
        through = [p for p, _ in whole.on_net(net) if p.role == "line" and "CHAIN_DS" in "".join(p.nets.values())]
        if through:
            net = _far(through[0], net)
        stage = [part for part, pin in whole.on_net(net) if part.role.startswith("register") and pin.name == "DS"]
        if not stage:
            return order
        order.append((int(stage[0].ref[1]), stage[0].role.split()[1]))
        net = stage[0].net("Q7S")


def starter_pins() -> list[StarterPin]:
    """Table of the starter build, by channel."""
    board = starter()
    rows = []
    for connector in board.with_role("harness"):
        for pin in connector.kind.pins:
            tp = connector.nets[pin.number]
            if tp == OPEN:
                continue
            _, gp = _only(board, _walk(board, tp, "Rs", "R2"), "processor")
            rows.append(StarterPin(int(tp[2:]), connector.ref, int(pin.number), int(gp[2:])))
    return sorted(rows, key=lambda row: row.channel)


def pins_csv() -> str:
    """The full build's table as CSV, channels 1..256."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow([field.name for field in fields(FullPin)])
    writer.writerows(astuple(row) for row in full_pins())
    return out.getvalue()


def starter_csv() -> str:
    """The starter build's table as CSV."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow([field.name for field in fields(StarterPin)])
    writer.writerows(astuple(row) for row in starter_pins())
    return out.getvalue()


def wiring_module() -> str:
    """Python source of `wiring.py`: plain constants for firmware and virtual board, no imports."""
    rows = [(p.card, p.select, p.address, p.bit, p.mux_chip, p.mux_input) for p in full_pins()]
    lines = [
        '"""Channel to chip pins, generated by `python -m hwspec.circuit.generate`; do not edit.',
        "",
        "Plain constants and no imports, so that MicroPython reads it too.",
        '"""',
        "",
        "# Signal of the main board (full build) -> GP number.",
        "MAIN_PINS = {",
        *(f'    "{name}": {number},' for name, number in MAIN_PINS.items()),
        "}",
        "",
        "# Registers from the main board outward: (card, tree). The byte of the last one is shifted first.",
        "CHAIN = (",
        *(f'    ({card}, "{tree}"),' for card, tree in chain_order()),
        ")",
        "",
        "# Index channel - 1: (card, chip select, address, bit, multiplexer chip, multiplexer input).",
        "CHANNELS = (",
        *(f"    ({', '.join(map(str, row))})," for row in rows),
        ")",
        "",
        "# Starter build. Index channel - 1: GP number.",
        "STARTER_CHANNELS = (",
        *(f"    {row.gp}," for row in starter_pins()),
        ")",
        f"STARTER_RAIL = {RAIL_PIN}",
    ]
    return "\n".join(lines) + "\n"
