"""The new circuits wire by wire: which kit wires lie between two cavities, for limits."""

from __future__ import annotations

from collections import deque

from tester.harness.cavity import in_order
from tester.harness.expected import ExpectedLink, PathWire
from tester.harness.netlist import Joiner
from tester.plan.graph import Bench, Node
from tester.plan.models import Limit, Plan


def new_links(plan: Plan, bench: Bench, used: set[str]) -> list[ExpectedLink]:
    """A link for each two cavities of a new circuit whose way runs through kit wires and splices only.

    Where a kit wire is spliced to an existing circuit, one link to its first cavity, of unknown length.
    """
    found = []
    for group in _kit_groups(bench):
        cavities = in_order(n[1] for n in group if n[0] == "cavity" and n[1] in bench.visible)
        for n, a in enumerate(cavities):
            paths = _paths(bench, ("cavity", a), group)
            for b in cavities[n + 1 :]:
                link = _link(plan, a, b, paths[("cavity", b)], used)
                if link is not None:
                    found.append(link)
        found += _taps(plan, bench, group, cavities, used)
    return found


def _kit_groups(bench: Bench) -> list[set[Node]]:
    """Connected groups of the bench without the as-found circuits, those that hold a kit wire."""
    joiner = Joiner()
    key: dict[str, Node] = {}
    for node, others in bench.edges.items():
        if node[0] == "blob":
            continue
        key["\x00".join(node)] = node
        joiner.add("\x00".join(node))
        for other in others:
            if other[0] != "blob":
                key["\x00".join(other)] = other
                joiner.join("\x00".join(node), "\x00".join(other))
    groups = [{key[name] for name in group} for group in joiner.circuits()]
    return [group for group in groups if any(node[0] == "end" for node in group)]


def _paths(bench: Bench, start: Node, group: set[Node]) -> dict[Node, list[Node]]:
    """Shortest way from `start` to every node of its group."""
    paths: dict[Node, list[Node]] = {start: [start]}
    work = deque([start])
    while work:
        node = work.popleft()
        for other in sorted(bench.edges.get(node, ())):
            if other in group and other not in paths:
                paths[other] = [*paths[node], other]
                work.append(other)
    return paths


def _link(plan: Plan, a: str, b: str, path: list[Node], used: set[str], known: bool = True) -> ExpectedLink | None:
    ids = list(dict.fromkeys(node[1] for node in path if node[0] == "end"))
    if not ids or not set(ids) <= used:
        return None
    wires = tuple(PathWire(id, plan.wire_of(id).mm2, plan.wire_of(id).length_m) for id in ids)
    sizes, lengths = {wire.size_mm2 for wire in wires}, [wire.length_m for wire in wires]
    whole = known and len(sizes) == 1 and all(length is not None for length in lengths)
    own = next((limit for limit in plan.limit if limit.wire is not None and ids == [limit.wire]), None)
    return ExpectedLink(
        a,
        b,
        limit_ohms=own.ohms if own else None,
        source=own_words(own) if own else "",
        size_mm2=next(iter(sizes)) if whole else None,
        length_m=sum(length for length in lengths if length is not None) if whole else None,
        wire=ids[0],
        path=wires,
        contacts=2,
        splices=sum(node[0] == "splice" or (node[0] == "cavity" and node[1] not in (a, b)) for node in path),
    )


def own_words(limit: Limit) -> str:
    """Where a limit of the plan comes from, in words."""
    return f"the plan's own limit{f' ({limit.why})' if limit.why else ''}"


def _taps(plan: Plan, bench: Bench, group: set[Node], cavities: list[str], used: set[str]) -> list[ExpectedLink]:
    """From the first new cavity of the group to one cavity of each existing circuit spliced to it."""
    fresh = [name for name in cavities if bench.inside.get(name, ("",))[0] == "end"]
    if not fresh:
        return []
    found = []
    for node in sorted(group):
        path = _paths(bench, ("cavity", fresh[0]), group).get(node)
        for blob in sorted(other for other in bench.edges.get(node, ()) if other[0] == "blob"):
            beyond = in_order(n[1] for n in bench.reached(blob, node) if n[0] == "cavity" and n not in group)
            if beyond and path is not None:
                link = _link(plan, fresh[0], beyond[0], path, used, known=False)
                found += [link] if link is not None else []
    return found
