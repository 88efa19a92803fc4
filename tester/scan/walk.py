"""Decoding of a full scan: each channel driven low in turn, all read. Channels are numbers, rows are bit masks."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

ChannelPair = tuple[int, int]


@dataclass(frozen=True)
class ChannelLinks:
    """What one full scan, or several repeats of it, say about pairs of channels.

    points    channels that were driven and read, in order
    joined    pairs (lower first) that pulled each other low, both ways, in every repeat
    directed  (a, b): b read low while a was driven, and not the other way round, in every repeat
    varied    pairs (lower first) that did not answer alike in every repeat
    doubtful  `varied`, and pairs that are not joined although both are joined to a common channel
    silent    channels that did not read their own low: the board is at fault, no harness
    """

    points: tuple[int, ...]
    joined: frozenset[ChannelPair]
    directed: frozenset[ChannelPair] = frozenset()
    doubtful: frozenset[ChannelPair] = frozenset()
    varied: frozenset[ChannelPair] = frozenset()
    silent: frozenset[int] = frozenset()

    def to_repeat(self) -> tuple[int, ...]:
        """Channels whose pairs should be driven again: those in doubt and those that conduct one way."""
        return tuple(sorted({point for pair in self.doubtful | self.directed for point in pair}))


def bits(mask: int) -> Iterator[int]:
    """Positions of the bits that are set, lowest first."""
    while mask:
        low = mask & -mask
        yield low.bit_length() - 1
        mask ^= low


def decode_walk(drive: Sequence[int], read: Sequence[int], rows: Sequence[int]) -> ChannelLinks:
    """Links from one walk: ``rows[i]`` has bit k set when channel ``read[k]`` was LOW while ``drive[i]`` was driven.

    Low both ways is joined; low one way is a directed link; joined to a common channel and yet not joined is
    doubtful. Raises ValueError when the walk does not drive exactly the channels that it reads, since half of the
    answers would be missing.
    """
    if len(rows) != len(drive):
        raise ValueError(f"{len(drive)} channels driven, but {len(rows)} rows read")
    if len(set(drive)) != len(drive) or sorted(drive) != sorted(read):
        raise ValueError("a full scan drives exactly the channels that it reads, each once")
    points = tuple(sorted(read))
    place = {point: k for k, point in enumerate(points)}
    if any(row >> len(read) for row in rows):
        raise ValueError("a row has a bit beyond the channels read")
    row_of = dict(zip(drive, rows, strict=True))
    low = [row_of[point] for point in points]
    if tuple(read) != points:
        low = [sum(1 << place[read[k]] for k in bits(row)) for row in low]
    heard = transposed(low)
    joined = [row & other for row, other in zip(low, heard, strict=True)]
    silent = frozenset(points[i] for i, row in enumerate(low) if not row >> i & 1)
    directed = frozenset((points[i], points[k]) for i, row in enumerate(low) for k in bits(row & ~heard[i]))
    pairs = frozenset((points[i], points[k]) for i, row in enumerate(joined) for k in bits(row >> i + 1 << i + 1))
    return ChannelLinks(points, pairs, directed, _not_transitive(points, pairs), frozenset(), silent)


def transposed(rows: Sequence[int]) -> list[int]:
    """The square bit matrix with rows and columns exchanged."""
    out = [0] * len(rows)
    for i, row in enumerate(rows):
        bit = 1 << i
        for k in bits(row):
            out[k] |= bit
    return out


def merge_repeats(repeats: Sequence[ChannelLinks]) -> ChannelLinks:
    """Repeats of one scan as one answer. A later repeat may hold fewer channels; each pair counts where it was seen.

    A pair that did not answer alike in every repeat stays in doubt: it is never rounded by a majority.
    Raises ValueError for no repeats at all.
    """
    if not repeats:
        raise ValueError("no scan to merge")
    if len(repeats) == 1:
        return repeats[0]
    points = tuple(sorted({point for repeat in repeats for point in repeat.points}))
    state: dict[ChannelPair, set[int]] = {}
    for repeat in repeats:
        for pair in repeat.joined:
            state.setdefault(pair, set()).add(3)
        for a, b in repeat.directed:
            state.setdefault(_pair(a, b), set()).add(1 if a < b else 2)
        for pair in repeat.varied:
            state.setdefault(pair, set())  # answers are missing, so it stays in doubt
    homes = [set(repeat.points) for repeat in repeats]
    joined, directed, varied = set(), set(), set()
    whole = all(len(home) == len(points) for home in homes)
    for (a, b), seen in state.items():
        times = len(repeats) if whole else sum(a in home and b in home for home in homes)
        answers = sum((a, b) in r.joined or (a, b) in r.directed or (b, a) in r.directed for r in repeats)
        if len(seen) > 1 or answers != times:
            varied.add((a, b))
        elif 3 in seen:
            joined.add((a, b))
        else:
            directed.add((a, b) if 1 in seen else (b, a))
    pairs = frozenset(joined)
    doubtful = _not_transitive(points, pairs) | varied
    silent = frozenset(point for repeat in repeats for point in repeat.silent)
    return ChannelLinks(points, pairs, frozenset(directed), doubtful, frozenset(varied), silent)


def _pair(a: int, b: int) -> ChannelPair:
    return (a, b) if a < b else (b, a)


def _not_transitive(points: Sequence[int], joined: Iterable[ChannelPair]) -> frozenset[ChannelPair]:
    """Pairs within one contracted circuit that were not themselves seen joined."""
    place = {point: k for k, point in enumerate(points)}
    near = [0] * len(points)
    for a, b in joined:
        near[place[a]] |= 1 << place[b]
        near[place[b]] |= 1 << place[a]
    found = set()
    for circuit in components(near):
        for i in bits(circuit):
            for k in bits(circuit & ~near[i] >> i + 1 << i + 1):
                found.add((points[i], points[k]))
    return frozenset(found)


def components(near: Sequence[int]) -> list[int]:
    """Connected components of a symmetric bit matrix, each as a bit mask, ordered by lowest member."""
    left = (1 << len(near)) - 1
    found = []
    while left:
        circuit = fresh = left & -left
        while fresh:
            reached = 0
            for i in bits(fresh):
                reached |= near[i]
            fresh = reached & ~circuit
            circuit |= fresh
        found.append(circuit)
        left &= ~circuit
    return found
