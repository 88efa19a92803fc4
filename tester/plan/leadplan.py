"""Which cavities go on which channels, in one round or several, so that everything that must be seen is seen.

What must be seen: each known circuit joined, each two circuits apart (one cavity of each on leads in the same round),
named pairs together, and in every round after the first two cavities of the first again, against misplugging.
Choosing the fewest rounds is a covering problem: there is no quick exact answer, so several ways are tried and the
bound that was not beaten is told.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations
from math import ceil

from tester.errors import InputError
from tester.harness.cavity import in_order
from tester.harness.leads import CHANNELS, LeadMap
from tester.harness.netlist import Netlist, Pair, pair
from tester.plan.cover import cover

MOST_ROUNDS = 400


@dataclass(frozen=True)
class Unseen:
    """What stays NOT TESTED when only the first `rounds` are made: pairs of circuits, cavities never on a lead."""

    rounds: int
    pairs: int
    cavities: tuple[str, ...]


@dataclass(frozen=True)
class LeadPlan:
    """Lead sets for one plan.

    rounds    one lead map each, to be used in this order
    again     the two cavities that every round has, () with one round
    moved     leads to move before each round after the first
    bound     no lead plan has fewer rounds than this; bound_source says why
    unseen    for each smaller number of rounds, what would stay NOT TESTED
    """

    rounds: tuple[LeadMap, ...]
    again: tuple[str, ...]
    moved: tuple[int, ...]
    bound: int
    bound_source: str
    unseen: tuple[Unseen, ...]


def plan_leads(
    id: str,
    cavities: Iterable[str],
    channels: int,
    known: Netlist | None = None,
    together: Iterable[Pair] = (),
    seed: int = 1,
    again: Pair | None = None,
) -> LeadPlan:
    """Lead maps for `cavities` on a board with `channels`.

    known     circuits that are known, from a reference or as-found scan; without, every two cavities must be seen
    together  pairs that must be on leads in one round (links whose resistance is measured)
    again     two cavities that are joined for sure, for every round; chosen from `known` if left out
    Raises InputError when the board has too few channels for any plan, or too many cavities for this search.
    """
    names = in_order(set(cavities))
    if not names:
        raise InputError("there is no cavity to put on a lead")
    if not 2 <= channels <= CHANNELS:
        raise InputError(f"a board has 2 to {CHANNELS} channels, not {channels}")
    circuits = _circuits(names, known)
    if len(names) <= channels:
        return _maps(id, [names], (), channels, circuits, 1, "one round is always needed")
    if channels < 4:
        raise InputError(f"{channels} channels are too few for several rounds: two are needed to see a pair again")
    again = again if again is not None and set(again) <= set(names) else _again(circuits)
    bound, source = lower_bound(circuits, channels, again)
    if bound > MOST_ROUNDS:
        raise InputError(
            f"{len(names)} cavities on {channels} channels need at least {bound} rounds",
            "Use a board with more channels.",
        )
    rounds = cover(circuits, channels, again, sorted({pair(*one) for one in together}), seed, bound)
    return _maps(id, rounds, again, channels, circuits, bound, source)


def _circuits(names: Sequence[str], known: Netlist | None) -> list[list[str]]:
    """Known circuits on these cavities; unknown cavities stand alone."""
    if known is None:
        return [[name] for name in names]
    inside = known.restricted(name for name in names if name in known)
    rest = [[name] for name in names if name not in known]
    return [list(circuit) for circuit in inside] + rest


def _again(circuits: Sequence[Sequence[str]]) -> tuple[str, str]:
    """The pair that each round has: two cavities of the largest known circuit, else the first two cavities."""
    largest = max(circuits, key=len)
    if len(largest) > 1:
        return (largest[0], largest[1])
    return (circuits[0][0], circuits[1][0])


def lower_bound(circuits: Sequence[Sequence[str]], channels: int, again: Sequence[str]) -> tuple[int, str]:
    """No lead plan that has the pair `again` in every round has fewer rounds, and why.

    Each circuit must meet v - 1 others, at most k - 1 in a round, so it is in ceil((v - 1) / (k - 1)) rounds; v times
    that many places, k in a round: J. Schönheim, "On coverings", Pacific J. Math. 14 (1964) 1405-1411. The other
    cavities of a circuit take a place each, too. The same holds for the circuits beside the pair, which have two
    places fewer in every round.
    """
    v = len(circuits)
    homes = sum(any(name in circuit for name in again) for circuit in circuits)
    same = homes == 1
    k = min(channels - 1 if same else channels, v)
    each = ceil((v - 1) / (k - 1)) if k > 1 else v
    places = v * each + sum(len(circuit) - 1 for circuit in circuits)
    extra = 1 if same else 0  # the pair seen again takes one place more than its circuit in every round
    found = [
        (ceil(v * each / k), f"Schönheim bound for {v} circuits, {k} in a round (1964)"),
        (
            ceil((places - extra) / (channels - extra)),
            f"{places} places on leads, {channels - extra} in a round (after Schönheim 1964)",
        ),
    ]
    beside, free = v - homes, channels - 2
    if free == 1 and beside:
        found.append((beside, f"{beside} circuits beside the pair seen again, one place for them in a round"))
    elif free > 1 and beside > 1:
        k = min(free, beside)
        rounds = ceil(beside * ceil((beside - 1) / (k - 1)) / k)
        found.append(
            (rounds, f"Schönheim bound for {beside} circuits beside the pair seen again, {k} in a round (1964)")
        )
    return max(found, key=lambda one: one[0])


def _maps(
    id: str,
    rounds: Sequence[Sequence[str]],
    again: tuple[str, ...],
    channels: int,
    circuits: Sequence[Sequence[str]],
    bound: int,
    source: str,
) -> LeadPlan:
    ordered = _least_moves(rounds)
    maps: list[dict[int, str]] = []
    moved = []
    for names in ordered:
        before = maps[-1] if maps else {}
        now = {channel: name for channel, name in before.items() if name in names}
        free = [channel for channel in range(1, channels + 1) if channel not in now]
        fresh = in_order(set(names) - set(now.values()))
        now |= dict(zip(free, fresh, strict=False))
        moved.append(len(fresh))
        maps.append(dict(sorted(now.items())))
    many = len(maps) > 1
    made = tuple(LeadMap(f"{id}-round-{n}" if many else id, one) for n, one in enumerate(maps, 1))
    unseen = tuple(_unseen(n, ordered, circuits) for n in range(1, len(ordered)))
    return LeadPlan(made, again if many else (), tuple(moved[1:]), bound, source, unseen)


def _least_moves(rounds: Sequence[Sequence[str]]) -> list[list[str]]:
    """Rounds in an order in which neighbours share much: from each start the nearest next, the best start kept."""
    best: list[list[str]] | None = None
    cost = -1
    for start in range(min(len(rounds), 30)):
        left = [set(one) for one in rounds]
        path = [left.pop(start)]
        shared = 0
        while left:
            nearest = max(range(len(left)), key=lambda n: len(left[n] & path[-1]))
            shared += len(left[nearest] & path[-1])
            path.append(left.pop(nearest))
        if shared > cost:
            best, cost = [in_order(one) for one in path], shared
    return best or []


def unseen_pairs(rounds: Iterable[Iterable[str]], circuits: Sequence[Sequence[str]]) -> int:
    """Pairs of circuits of which no round has a cavity of each on leads."""
    home = {name: n for n, circuit in enumerate(circuits) for name in circuit}
    seen: set[tuple[int, int]] = set()
    for one in rounds:
        seen.update(combinations(sorted({home[name] for name in one}), 2))
    return len(circuits) * (len(circuits) - 1) // 2 - len(seen)


def _unseen(count: int, rounds: Sequence[Sequence[str]], circuits: Sequence[Sequence[str]]) -> Unseen:
    made = rounds[:count]
    on_leads = {name for one in made for name in one}
    never = in_order({name for circuit in circuits for name in circuit} - on_leads)
    return Unseen(count, unseen_pairs(made, circuits), tuple(never))
