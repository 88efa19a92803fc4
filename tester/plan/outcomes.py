"""Which netlists a bench may end in, where nobody knows how an as-found circuit is wired inside."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import product

from tester.harness.cavity import in_order
from tester.harness.netlist import Joiner, Netlist
from tester.plan.graph import Bench, Node, Split

MOST = 16
_TOO_MANY = 12  # surviving ends of one blob beyond which the ways to fall apart are not enumerated

Blocks = tuple[tuple[Node, ...], ...]


@dataclass(frozen=True)
class Ways:
    """How one blob may have fallen apart: its surviving ends in blocks, one entry a way; () when too many."""

    blob: Node
    survivors: tuple[Node, ...]
    ways: tuple[Blocks, ...]
    splits: tuple[Split, ...]

    @property
    def open_splits(self) -> tuple[Split, ...]:
        """Splits that an answer would settle."""
        return tuple(split for split in self.splits if split.known is None)


def ends_seen(bench: Bench, node: Node, without: Node) -> list[str]:
    """Visible cavities reached from a node, not through a blob."""
    return in_order(n[1] for n in bench.reached(node, without) if n[0] == "cavity" and n[1] in bench.visible)


def ways_of(bench: Bench) -> list[Ways]:
    """For each blob that steps may have split: how it can have fallen apart."""
    blobs = {split.blob: [s for s in bench.splits if s.blob == split.blob] for split in bench.splits}
    found = []
    for blob, splits in blobs.items():
        taken = {split.node for split in splits if split.kind == "remove"}
        around = sorted(bench.edges.get(blob, set()) - taken)
        survivors = tuple(node for node in around if ends_seen(bench, node, blob))
        found.append(Ways(blob, survivors, tuple(_ways(survivors, splits)), tuple(splits)))
    return found


def _ways(survivors: tuple[Node, ...], splits: Sequence[Split]) -> list[Blocks]:
    """Partitions of the survivors that the splits allow; [] when there are more than `MOST`."""
    live = [split for split in splits if split.known is not False]
    if not live or len(survivors) < 2:
        return [(survivors,)]
    told = [split for split in live if split.groups]
    if len(told) == len(live):
        return [_by_groups(survivors, told)]
    if len(survivors) > _TOO_MANY:
        return []
    sure = any(split.known is True or split.kind == "cut" for split in live)
    most, least = 1 + len(live), 2 if sure and len(splits) == 1 else 1
    kept: list[Blocks] = []
    for blocks in partitions(survivors, most):
        if len(blocks) >= least and all(_fits(blocks, split, len(splits) == 1) for split in live):
            kept.append(blocks)
            if len(kept) > MOST:
                return []
    return kept


def _by_groups(survivors: tuple[Node, ...], told: Sequence[Split]) -> Blocks:
    """The blocks when every split says its groups. An end that no group names stays with the first."""
    blocks: dict[tuple[int, ...], list[Node]] = {}
    for node in survivors:
        key = tuple(_group(node, split) or 0 for split in told)
        blocks.setdefault(key, []).append(node)
    return tuple(tuple(block) for block in blocks.values())


def _group(node: Node, split: Split) -> int | None:
    return next((n for n, group in enumerate(split.groups) if node[0] == "terminal" and node[1] in group), None)


def _fits(blocks: Blocks, split: Split, alone: bool) -> bool:
    """Does a way to fall apart agree with what this one step says?"""
    if alone and split.kind == "cut" and any(split.node in block and len(blocks) == 1 for block in blocks):
        return False
    if not split.groups:
        return True
    for block in blocks:
        groups = {_group(node, split) for node in block} - {None}
        if len(groups) > 1:
            return False
    return not alone or len(blocks) == len(split.groups)


def partitions(items: Sequence[Node], most: int) -> Iterator[Blocks]:
    """All ways to lay `items` into at most `most` blocks, the undivided one first."""

    def grow(place: int, blocks: list[list[Node]]) -> Iterator[Blocks]:
        if place == len(items):
            yield tuple(tuple(block) for block in blocks)
            return
        for block in blocks:
            block.append(items[place])
            yield from grow(place + 1, blocks)
            block.pop()
        if len(blocks) < most:
            blocks.append([items[place]])
            yield from grow(place + 1, blocks)
            blocks.pop()

    yield from grow(0, [])


@dataclass(frozen=True)
class End:
    """One netlist that the bench may end in; `blocks` says how each split blob fell apart."""

    netlist: Netlist
    blocks: Mapping[Node, Blocks]
    note: str = ""


def all_ends(bench: Bench, found: Sequence[Ways]) -> list[End] | None:
    """Every distinct netlist over the visible cavities; None when there are more than `MOST`."""
    count = 1
    for ways in found:
        count *= len(ways.ways)
    if count == 0 or count > MOST * MOST:
        return None
    kept: dict[tuple[tuple[str, ...], ...], End] = {}
    for choice in product(*(ways.ways for ways in found)):
        blocks = {ways.blob: one for ways, one in zip(found, choice, strict=True)}
        netlist = netlist_of(bench, blocks)
        if netlist.circuits not in kept:
            kept[netlist.circuits] = End(netlist, blocks, _note(bench, found, choice))
            if len(kept) > MOST:
                return None
    return list(kept.values())


def netlist_of(bench: Bench, blocks: Mapping[Node, Blocks]) -> Netlist:
    """The netlist over the visible cavities when the split blobs fell apart as told."""
    joiner = Joiner()
    key = {node: "\x00".join(node) for node in bench.edges}
    key |= {("cavity", name): "cavity\x00" + name for name in bench.visible}
    for node, others in bench.edges.items():
        if node in blocks:
            continue
        joiner.add(key[node])
        for other in others:
            if other not in blocks:
                joiner.join(key[node], key[other])
    for parts in blocks.values():
        for block in parts:
            for node in block[1:]:
                joiner.join(key[block[0]], key[node])
    home = {name: joiner.root(key["cavity", name]) if ("cavity", name) in bench.edges else "" for name in bench.visible}
    circuits: dict[str, list[str]] = {}
    for name, root in home.items():
        circuits.setdefault(root or name, []).append(name)
    return Netlist.of(circuits.values())


def _note(bench: Bench, found: Sequence[Ways], choice: Sequence[Blocks]) -> str:
    """What an outcome would mean, in words; "" when nothing was open."""
    said = []
    for ways, blocks in zip(found, choice, strict=True):
        if len(ways.ways) < 2:
            continue
        where = " and ".join(split.cavity for split in ways.open_splits)
        groups = [
            ", ".join(in_order({c for node in block for c in ends_seen(bench, node, ways.blob)})) for block in blocks
        ]
        if len(groups) == 1:
            said.append(f"{where} was not a junction: {groups[0]} stay joined")
        else:
            said.append(f"{where} was a junction: it leaves {' | '.join(groups)} apart")
    return "; ".join(said)
