"""The quick check: few coded patterns that agree with the expectation if and only if the netlist equals it."""

from __future__ import annotations

import itertools
import math
from collections.abc import Collection, Iterable, Sequence

Circuit = Sequence[int]
LET_GO_TOGETHER = 16  # channels that the board lets go of at the same time (hwspec/protocol.md, WATCh:STARt?)


def pattern_count(circuits: int, lone: int) -> int:
    """How many patterns the quick check of `circuits` circuits takes, `lone` of which are a single channel.

    ceil(log2 q) when a lone channel may take code zero, else ceil(log2(q + 1)); q counts lone channels too.
    """
    if not 0 <= lone <= circuits:
        raise ValueError(f"{lone} lone channels of {circuits} circuits")
    return max(circuits - 1, 0).bit_length() if lone else circuits.bit_length()


def assign_codes(circuits: Sequence[Circuit]) -> list[int]:
    """A different code for each circuit: zero for at most one lone channel, else 1, 2, 3...

    Raises ValueError when a channel is in two circuits or a circuit is empty.
    """
    channels = [channel for circuit in circuits for channel in circuit]
    if len(channels) != len(set(channels)) or not all(circuits):
        raise ValueError("each channel must be in exactly one circuit, and no circuit may be empty")
    free = next((i for i, circuit in enumerate(circuits) if len(circuit) == 1), None)
    codes, code = [], 0
    for i in range(len(circuits)):
        if i == free:
            codes.append(0)
        else:
            code += 1
            codes.append(code)
    return codes


def quick_check(circuits: Sequence[Circuit]) -> list[tuple[int, ...]]:
    """Channels to drive low in each pattern: one channel of each circuit whose code has that bit.

    Never two of one circuit, which would hide an open between them. For links that conduct both ways, all
    readings agree with `circuits` exactly when the harness has these circuits.
    """
    codes = assign_codes(circuits)
    lone = sum(len(circuit) == 1 for circuit in circuits)
    return [
        tuple(sorted(circuit[0] for circuit, code in zip(circuits, codes, strict=True) if code >> k & 1))
        for k in range(pattern_count(len(circuits), lone))
    ]


def watch_pattern(circuits: Sequence[Circuit]) -> tuple[int, ...]:
    """The one pattern that drives every circuit: any pure open shows in it."""
    return tuple(sorted(circuit[0] for circuit in circuits))


def let_go_lists(held: Sequence[int]) -> list[tuple[int, ...]]:
    """Which held channels the board lets go of in turn, so that a touch between any two of them shows on both.

    The board takes those of a group of `LET_GO_TOGETHER` together and drives the rest. So of any two channels of a
    group each must be in a list without the other: their codes have equally many bits. Six lists at most.
    """
    groups: dict[int, list[int]] = {}
    for channel in sorted(held):
        groups.setdefault((channel - 1) // LET_GO_TOGETHER, []).append(channel)
    lists: list[list[int]] = []
    for members in groups.values():
        width = next(w for w in range(1, LET_GO_TOGETHER) if math.comb(w, (w + 1) // 2) >= len(members))
        lists += [[] for _ in range(width - len(lists))]
        for channel, code in zip(members, itertools.combinations(range(width), (width + 1) // 2), strict=False):
            for k in code:
                lists[k].append(channel)
    return [tuple(one) for one in lists]


def let_go_steps(lists: Iterable[Iterable[int]]) -> int:
    """How many times the board lets go in one round of these lists."""
    return sum(len({(channel - 1) // LET_GO_TOGETHER for channel in one}) for one in lists)


def hidden_touches(
    held: Iterable[int], lists: Sequence[Iterable[int]], low: Sequence[Collection[int]]
) -> list[tuple[int, ...]]:
    """Groups of held channels that read alike whatever is let go, so that no touch between them shows.

    `low`: of each list the channels that read low, let go, on the harness as it should be: parts lead on from them to
    what is driven. A touch shows where one reads high and the other low.
    """
    high: dict[int, list[int]] = {channel: [] for channel in held}
    for number, (listed, staying) in enumerate(zip(lists, low, strict=True)):
        for channel in set(listed).difference(staying):
            high[channel].append(number)
    groups: dict[tuple[int, ...], list[int]] = {}
    for channel, numbers in high.items():
        key = ((channel - 1) // LET_GO_TOGETHER, *numbers) if numbers else ()
        groups.setdefault(key, []).append(channel)
    return [tuple(sorted(group)) for group in groups.values() if len(group) > 1]


def expected_rows(circuits: Sequence[Circuit], read: Sequence[int], driven: Iterable[Circuit]) -> list[int]:
    """Masks over `read` (bit k is channel ``read[k]``, set when LOW) that a good harness answers, a row a pattern."""
    home = {channel: circuit for circuit in circuits for channel in circuit}
    place = {channel: k for k, channel in enumerate(read)}
    rows = []
    for pattern in driven:
        low = 0
        for channel in pattern:
            for member in home.get(channel, (channel,)):
                if member in place:
                    low |= 1 << place[member]
        rows.append(low)
    return rows


def agrees(circuits: Sequence[Circuit], read: Sequence[int], driven: Sequence[Circuit], rows: Sequence[int]) -> bool:
    """True when every reading of every pattern is the one that `circuits` would give."""
    return list(rows) == expected_rows(circuits, read, driven)


def differing(
    circuits: Sequence[Circuit], read: Sequence[int], driven: Sequence[Circuit], rows: Sequence[int]
) -> tuple[int, ...]:
    """Channels with a reading that `circuits` would not give, in order. A screening result: it names no fault."""
    wrong = 0
    for want, got in zip(expected_rows(circuits, read, driven), rows, strict=True):
        wrong |= want ^ got
    return tuple(sorted(channel for k, channel in enumerate(read) if wrong >> k & 1))
