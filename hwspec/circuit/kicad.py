"""KiCad netlist (S-expression, export version E) of one board."""

from __future__ import annotations

from .model import OPEN, Circuit, Kind

_PIN_TYPES = {
    "passive": "passive",
    "input": "input",
    "output": "output",
    "tri": "tri_state",
    "bidirectional": "bidirectional",
    "power_in": "power_in",
    "power_out": "power_out",
    "open": "open_collector",
}


def _quote(text: str) -> str:
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'


def netlist(board: Circuit) -> str:
    """Netlist that KiCad's board editor imports: components with footprints, kinds with pins, nets with nodes.

    Pins left open on purpose are in no net. Nothing in it depends on the day or the machine.
    """
    lines = [
        '(export (version "E")',
        "  (design",
        f"    (source {_quote(board.title)})",
        '    (tool "hwspec.circuit"))',
    ]
    lines.append("  (components")
    for part in board.parts:
        lines.append(f"    (comp (ref {_quote(part.ref)})")
        lines.append(f"      (value {_quote(part.value)})")
        lines.append(f"      (footprint {_quote(part.kind.footprint)})")
        lines.append("      (fields")
        if part.tolerance is not None:
            lines.append(f'        (field (name "Tolerance") {_quote(f"{part.tolerance:.3%}")})')
        lines.append(f'        (field (name "Why") {_quote(part.why)}))')
        lines.append(f'      (libsource (lib "loomwright") (part {_quote(lib_name(part.kind))}) (description ""))')
        lines.append(f"      (tstamps {_quote(part.ref)}))")
    lines[-1] += ")"
    lines.append("  (libparts")
    kinds = {lib_name(part.kind): part.kind for part in board.parts}
    for name in sorted(kinds):
        lines.append(f'    (libpart (lib "loomwright") (part {_quote(name)})')
        lines.append("      (pins")
        for pin in kinds[name].pins:
            kind = _quote(_PIN_TYPES[pin.type])
            lines.append(f"        (pin (num {_quote(pin.number)}) (name {_quote(pin.name)}) (type {kind}))")
        lines[-1] += "))"
    lines[-1] += ")"
    lines.append("  (nets")
    for code, (net, pins) in enumerate(sorted(board.nets().items()), start=1):
        lines.append(f"    (net (code {_quote(str(code))}) (name {_quote(net)})")
        for part, pin in pins:
            lines.append(
                f"      (node (ref {_quote(part.ref)}) (pin {_quote(pin.number)})"
                f" (pinfunction {_quote(pin.name)}) (pintype {_quote(_PIN_TYPES[pin.type])}))"
            )
        lines[-1] += ")"
    return "\n".join(lines) + "))\n"


def lib_name(kind: Kind) -> str:
    """Kind name without blanks and commas, as KiCad wants library names; connectors with their number of pins."""
    name = kind.name.replace(",", "").replace(" ", "_")
    return f"{name}_{len(kind.pins)}" if kind.letter == "J" else name


def connected_pins(board: Circuit) -> dict[str, set[tuple[str, str]]]:
    """Net -> {(reference, pin number)}: what a reader of the netlist must find."""
    return {net: {(part.ref, pin.number) for part, pin in pins} for net, pins in board.nets().items() if net != OPEN}
