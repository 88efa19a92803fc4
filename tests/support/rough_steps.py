"""Steps carried out on a rough harness (tests/support/rough_harness.py), one by one, from the file's tables."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from tests.support.rough_harness import Rough


class Impossible(Exception):
    """A step cannot be done; the argument is its id."""


def carry_out(
    rough: Rough, steps: Sequence[Mapping[str, Any]], kit: Sequence[Mapping[str, Any]], empty: set[str]
) -> None:
    """Do `steps` (tables with id) on the harness; every terminal holds one wire only. `empty`: known empty."""
    wires = {wire["id"]: wire for wire in kit}
    inserted = {step["wire"] for step in steps if step["do"] == "insert" and "wire" in step}
    for id in wires:
        rough.wires.append((f"{id} a", f"{id} b"))
    empty = set(empty)
    sealed: set[str] = set()
    used: set[str] = set()
    for step in steps:
        do, id = step["do"], step["id"]
        if do == "remove":
            if step["cavity"] in empty:
                raise Impossible(id)
            terminal = rough.sits.pop(step["cavity"], f"lone {step['cavity']}")
            empty.add(step["cavity"])
            used.discard(terminal)
            if "lead" in step:
                rough.leads[step["lead"]] = terminal
        elif do == "move":
            if step["from"] in empty or step["to"] in rough.sits:
                raise Impossible(id)
            terminal = rough.sits.pop(step["from"], f"lone {step['from']}")
            rough.sits[step["to"]] = terminal
            empty.add(step["from"])
            empty.discard(step["to"])
        elif do == "insert":
            end = wires[step["wire"]][step["end"]] if "wire" in step else {}
            terminal = f"{step['wire']} {step['end']}" if "wire" in step else rough.leads.get(step["lead"])
            into = step.get("cavity") or end["cavity"]
            if terminal is None or terminal in sealed or terminal in used or into in rough.sits:
                raise Impossible(id)
            rough.sits[into] = terminal
            used.add(terminal)
            empty.discard(into)
        elif do == "splice":
            ends = [f"{w} {e}" for w, wire in wires.items() for e in "ab" if wire[e].get("splice") == step["splice"]]
            never = {w for w in wires if w not in inserted and _ever_inserted(w, wires)}
            ends = [end for end in ends if end.split(" ")[0] not in never]
            if len(ends) != step["ways"]:
                raise Impossible(id)
            rough.wires += [(f"joint {step['splice']}", end) for end in ends]
        elif do == "seal-off":
            ends = [f"{step['wire']} a", f"{step['wire']} b"]
            if any(end in used for end in ends):
                raise Impossible(id)
            sealed |= set(ends)
        elif do == "plug":
            if step["cavity"] in rough.sits:
                raise Impossible(id)
            empty.add(step["cavity"])


def _ever_inserted(wire: str, wires: Mapping[str, Any]) -> bool:
    return any("cavity" in wires[wire][end] for end in "ab")
