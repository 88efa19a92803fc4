"""Electrical rules: what must be true of a board before anyone orders parts for it.

`check` gives one sentence a finding; an empty list means that the rules hold. A rule knows roles and nets, never
references, so a renumbered board is judged alike.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable

from .model import OPEN, Circuit, Part, Pin

SUPPLY_NAMES = {"VDD", "VCC", "3V3"}
GROUND_NAMES = {"GND", "VSS"}
SHARED_OUTPUTS = {"X_MISO"}
"""Nets on which several three-state outputs are meant to be: the expanders of one card answer by address."""

CLAMPED = {"MCP23S17", "74HC595", "CD74HC4067"}
"""Chips whose inputs conduct into their supply: no line from another board may reach them without a resistor."""


def _base(net: str) -> str:
    """Net name without the prefix of its board."""
    return net.rsplit(".", 1)[-1]


def every_pin_once(board: Circuit) -> Iterable[str]:
    """Each pin of each part has one net or is marked open; nothing is joined that the part does not have."""
    for part in board.parts:
        known = {pin.number for pin in part.kind.pins}
        if len(known) != len(part.kind.pins):
            yield f"{part.ref}: its kind has a pin number twice"
        for pin in part.kind.pins:
            if not part.nets.get(pin.number):
                yield f"{part.ref} pin {pin.number} ({pin.name}) is neither joined nor marked open"
        for number in part.nets:
            if number not in known:
                yield f"{part.ref} has no pin {number}"


def no_lonely_net(board: Circuit) -> Iterable[str]:
    """A net joins two pins or more."""
    for net, pins in board.nets().items():
        if len(pins) < 2:
            part, pin = pins[0]
            yield f"net {net} ends at {part.ref} pin {pin.number} ({pin.name})"


def outputs_do_not_fight(board: Circuit) -> Iterable[str]:
    """One output a net; a set of three-state outputs only where it is meant."""
    for net, pins in board.nets().items():
        hard = [f"{p.ref}.{pin.name}" for p, pin in pins if pin.type in ("output", "power_out")]
        soft = [f"{p.ref}.{pin.name}" for p, pin in pins if pin.type == "tri"]
        if len(hard) > 1 or (hard and soft) or (len(soft) > 1 and _base(net) not in SHARED_OUTPUTS):
            yield f"net {net} has several outputs: {', '.join(hard + soft)}"


def inputs_are_driven(board: Circuit) -> Iterable[str]:
    """A net with an input has something that sets its level: an output, a resistor, a jumper, a connector."""
    for net, pins in board.nets().items():
        if not any(pin.type == "input" for _, pin in pins):
            continue
        if not any(pin.type != "input" and part.kind.letter != "C" for part, pin in pins):
            yield f"net {net} has inputs and nothing that drives them"


def supplies_and_decoupling(board: Circuit) -> Iterable[str]:
    """Supply pins on VDD, ground pins on GND, each chip with its own capacitor between the two."""
    for part in board.parts:
        if part.kind.letter not in ("U", "A"):
            continue
        rails = {part.nets[pin.number] for pin in part.kind.pins if pin.name in SUPPLY_NAMES | {"VIN", "VOUT"}}
        for pin in part.kind.pins:
            net = _base(part.nets.get(pin.number, ""))
            if pin.name in SUPPLY_NAMES and net != "VDD":
                yield f"{part.ref} pin {pin.name} is on {net}, not on VDD"
            if pin.name in GROUND_NAMES and net != "GND":
                yield f"{part.ref} pin {pin.name} is on {net}, not on GND"
        if not rails:
            continue
        served = {net for cap in board.parts if cap.serves == part.ref for net in cap.nets.values()}
        if "GND" not in {_base(net) for net in served} or not served & rails:
            yield f"{part.ref} has no capacitor of its own between its supply and GND"


def _others(board: Circuit, net: str, role: str, channel: int) -> list[tuple[Part, str]]:
    """Two-pin parts of a role and channel at `net`, each with the net at its other end."""
    found = []
    for part in board.with_role(role, channel):
        ends = list(part.nets.values())
        if net in ends:
            found.append((part, ends[1] if ends[0] == net else ends[0]))
    return found


def channels_are_protected(board: Circuit) -> Iterable[str]:
    """From each harness pin to a chip: series resistor, clamp to both sides, pin resistor; no way around them."""
    nets = board.nets()
    for connector in board.with_role("harness"):
        for pin in connector.kind.pins:
            tp = connector.nets[pin.number]
            if tp == OPEN:
                continue
            where = f"{connector.ref} pin {pin.number} ({tp})"
            series = [p for p, _ in nets[tp] if p.role == "Rs"]
            if len(series) != 1:
                yield f"{where} has {len(series)} series resistors, not one"
                continue
            yield from _channel(board, nets, where, tp, series[0])


def _channel(board: Circuit, nets: dict[str, list[tuple[Part, Pin]]], where: str, tp: str, rs: Part) -> Iterable[str]:
    ends = set(rs.nets.values()) - {tp}
    node = ends.pop() if ends else tp
    channel = rs.channel
    clamped = {_base(net) for p, _ in nets[node] if p.role == "clamp" for net in p.nets.values()} - {_base(node)}
    if clamped != {"VDD", "GND"}:
        yield f"{where}: {node} is clamped to {sorted(clamped)}, not to GND and VDD"
    if not _polarity_right(nets, node):
        yield f"{where}: a clamp at {node} is the wrong way round"
    pulls = [{_base(net) for net in p.nets.values()} for p, _ in nets[node] if p.role == "Rpu"]
    if len(pulls) != 1 or "VPU" not in pulls[0]:
        yield f"{where}: {node} has no pull-up to the rail"
    pins = _others(board, node, "R2", channel)
    if len(pins) != 1:
        yield f"{where}: {len(pins)} pin resistors, not one"
    elif not any(pin.name.startswith("GP") for _, pin in nets[pins[0][1]]):
        yield f"{where}: {pins[0][1]} reaches no pin of a driver"
    allowed = {"Rs", "Rp", "tvs", "harness"}
    for part, _ in nets[tp]:
        if part.role not in allowed:
            yield f"{where} goes straight to {part.ref}"
    for part, pin in nets[node]:
        if part.role not in {"Rs", "R2", "Rpu", "clamp"}:
            yield f"{where}: {node} goes straight to {part.ref} pin {pin.name}"
    if any(p.role == "expander" for p in board.parts):
        yield from _sense(board, nets, where, tp, channel)


def _polarity_right(nets: dict[str, list[tuple[Part, Pin]]], node: str) -> bool:
    """Anodes at GND, cathodes at VDD."""
    for part, _ in nets[node]:
        if part.role != "clamp":
            continue
        for pin in part.kind.pins:
            net = _base(part.nets[pin.number])
            if (pin.name == "A" and net == "VDD") or (pin.name == "K" and net == "GND"):
                return False
    return True


def _sense(board: Circuit, nets: dict[str, list[tuple[Part, Pin]]], where: str, tp: str, channel: int) -> Iterable[str]:
    taps = _others(board, tp, "Rp", channel)
    if len(taps) != 1:
        yield f"{where}: {len(taps)} sense resistors, not one"
        return
    trees = sorted(p.role for p, _ in nets[taps[0][1]] if p.role.startswith("multiplexer"))
    if trees != ["multiplexer SENSE_N", "multiplexer SENSE_P"]:
        yield f"{where}: its sense tap reaches {trees or 'no multiplexer'}"
    if not any(p.role == "tvs" for p, _ in nets[tp]):
        yield f"{where} has no discharge protection"


def addresses_are_unique(board: Circuit) -> Iterable[str]:
    """No two expanders answer to the same chip select and address."""
    seen: dict[tuple[str, ...], str] = {}
    for part in board.with_role("expander"):
        address = tuple(_base(part.net(name)) for name in ("A2", "A1", "A0"))
        key = (select_of(board, part), *address)
        if key in seen:
            yield f"{part.ref} and {seen[key]} share chip select {key[0]} and address {'/'.join(address)}"
        seen[key] = part.ref


def select_of(board: Circuit, expander: Part) -> str:
    """Chip select of an expander, traced back through the card's buffer to the jumper or the stacking pin."""
    net = expander.net("CS")
    for part, pin in board.on_net(net):
        if part.role == "buffer" and pin.name.endswith("Y"):
            return part.net(pin.name[0] + "A")
    return net


def bus_lines_are_limited(board: Circuit) -> Iterable[str]:
    """No digital line of the stacking header reaches a chip that conducts into its supply, but through a resistor."""
    analog = {"SENSE_P", "SENSE_N", "FORCE"}
    for header in board.with_role("stack"):
        for net in header.nets.values():
            if _base(net) in analog | {"GND", "V5"}:
                continue
            for part, pin in board.on_net(net):
                if part.kind.name in CLAMPED and pin.type == "input":
                    yield f"line {net} reaches {part.ref} pin {pin.name} without a resistor"


RULES: tuple[Callable[[Circuit], Iterable[str]], ...] = (
    every_pin_once,
    no_lonely_net,
    outputs_do_not_fight,
    inputs_are_driven,
    supplies_and_decoupling,
    channels_are_protected,
    addresses_are_unique,
    bus_lines_are_limited,
)


def check(board: Circuit) -> list[str]:
    """Findings of all rules; later rules rest on the pins being joined, so those are reported alone."""
    first = list(every_pin_once(board))
    if first:
        return first
    return [finding for rule in RULES for finding in rule(board)]
