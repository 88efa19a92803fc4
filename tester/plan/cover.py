"""The covering search behind `leadplan`: sets of cavities, as few as can be found, that show all pairs of circuits."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations
from random import Random

from tester.harness.netlist import Joiner, Pair

# Known coverings of pairs by blocks, parts of equal size: (parts, blocks). A block of each is one round, so a round
# holds (parts in a block) / parts of all circuits. Triangle; four parts in twos; Fano plane PG(2,2); five in twos;
# AG(2,3); PG(2,3). (Standard designs; see C. J. Colbourn and J. H. Dinitz, Handbook of Combinatorial Designs.)
_FANO = ((0, 1, 2), (0, 3, 4), (0, 5, 6), (1, 3, 5), (1, 4, 6), (2, 3, 6), (2, 4, 5))
_AG23 = (
    (0, 1, 2), (3, 4, 5), (6, 7, 8), (0, 3, 6), (1, 4, 7), (2, 5, 8),
    (0, 4, 8), (1, 5, 6), (2, 3, 7), (0, 5, 7), (1, 3, 8), (2, 4, 6),
)  # fmt: skip
_PG23 = tuple(tuple((n + d) % 13 for d in (0, 1, 3, 9)) for n in range(13))
_SIX = ((0, 1, 2, 3), (0, 1, 4, 5), (2, 3, 4, 5))
_TEN = ((0, 1, 2, 3, 4, 5), (0, 1, 6, 7, 8, 9), (2, 3, 6, 7, 8, 9), (4, 5, 6, 7, 8, 9))
_DESIGNS: tuple[tuple[int, tuple[tuple[int, ...], ...]], ...] = (
    (3, tuple(combinations(range(3), 2))),
    (6, _SIX),
    (10, _TEN),
    (4, tuple(combinations(range(4), 2))),
    (7, _FANO),
    (5, tuple(combinations(range(5), 2))),
    (9, _AG23),
    (13, _PG23),
    (6, tuple(combinations(range(6), 2))),
)
_TRIES = 6
_REPAIRS = 60


def cover(
    circuits: Sequence[Sequence[str]],
    channels: int,
    again: Sequence[str],
    together: Sequence[Pair],
    seed: int,
    enough: int,
) -> list[list[str]]:
    """Rounds of at most `channels` cavities, each with both of `again`, so that

    each circuit is joined by rounds that share a cavity of it, each two circuits meet in a round, and each pair of
    `together` does. Several ways are tried, until one has `enough` rounds; the one with the fewest is kept.
    """
    need = _Need(circuits, channels, again, together)
    best: list[list[int]] | None = None
    ways = [need.by_design(parts, blocks) for parts, blocks in _DESIGNS]
    starts = [way for way in ways if way is not None]
    random = Random(seed)
    for start in [*starts, *([] for _ in range(_TRIES if len(need.names) <= 80 else 2))]:
        if best is not None and len(best) <= enough:
            break
        rounds = need.thinned(need.filled([list(one) for one in start], random), random)
        if best is None or len(rounds) < len(best):
            best = rounds
    assert best is not None
    for _ in range(_REPAIRS if len(need.names) <= 80 else 0):
        if len(best) <= enough:
            break
        broken = [list(one) for one in random.sample(best, max(1, len(best) - 3))]
        rounds = need.thinned(need.filled(broken, random), random)
        best = rounds if len(rounds) <= len(best) else best
    return [[need.names[n] for n in one] for one in best]


class _Need:
    """Cavities as numbers. A task is a pair of circuits to meet, or a pair of cavities to be together."""

    def __init__(
        self, circuits: Sequence[Sequence[str]], channels: int, again: Sequence[str], together: Sequence[Pair]
    ) -> None:
        self.names = [name for circuit in circuits for name in circuit]
        number = {name: n for n, name in enumerate(self.names)}
        self.circuits = [[number[name] for name in circuit] for circuit in circuits]
        self.home = [c for c, circuit in enumerate(circuits) for _ in circuit]
        self.channels = channels
        self.again = [number[name] for name in again]
        self.together = [(number[a], number[b]) for a, b in together if a in number and b in number]

    def by_design(self, parts: int, blocks: Sequence[Sequence[int]]) -> list[list[int]] | None:
        """First cavities of all circuits laid into equal parts, a round a block; None when a round is too full."""
        heads = [circuit[0] for circuit in self.circuits if self.again[0] not in circuit]
        laid = [heads[n::parts] for n in range(parts)]
        rounds = [[*self.again, *(n for part in block for n in laid[part] if n not in self.again)] for block in blocks]
        return rounds if all(len(one) <= self.channels for one in rounds) else None

    def met(self, rounds: Sequence[Sequence[int]]) -> list[int]:
        """For each circuit, a bit for each circuit that it meets in some round."""
        found = [1 << c for c in range(len(self.circuits))]
        for one in rounds:
            bits = 0
            for n in one:
                bits |= 1 << self.home[n]
            for n in one:
                found[self.home[n]] |= bits
        return found

    def apart(self, rounds: Sequence[Sequence[int]]) -> list[tuple[int, int]]:
        """Pairs of cavities that must come together: cavities of a circuit not yet joined, and the wanted pairs."""
        sets = [set(one) for one in rounds]
        open_pairs = [ab for ab in self.together if not any(ab[0] in one and ab[1] in one for one in sets)]
        for circuit in self.circuits:
            if len(circuit) < 2:
                continue
            joiner = Joiner(map(str, circuit))
            for one in sets:
                inside = [n for n in circuit if n in one]
                for n in inside[1:]:
                    joiner.join(str(inside[0]), str(n))
            heads = sorted(int(min(group, key=int)) for group in joiner.circuits())
            open_pairs += [(heads[0], n) for n in heads[1:]]
        return open_pairs

    def done(self, rounds: Sequence[Sequence[int]]) -> bool:
        """True when nothing is left to see."""
        everything = (1 << len(self.circuits)) - 1
        return all(bits == everything for bits in self.met(rounds)) and not self.apart(rounds)

    def filled(self, rounds: list[list[int]], random: Random) -> list[list[int]]:
        """`rounds` completed: free places used first, then rounds added until nothing is left to see."""
        for one in rounds:
            self.fill_joined(one, rounds)
        while not self.done(rounds):
            fresh = list(self.again)
            rounds.append(fresh)
            self.fill(fresh, rounds, random)
        return rounds

    def fill_joined(self, one: list[int], rounds: Sequence[Sequence[int]]) -> None:
        """Put cavities into the free places of a round that bring open pairs together."""
        for a, b in self.apart(rounds):
            lacking = [n for n in (a, b) if n not in one]
            if len(lacking) == 1 and len(one) < self.channels:
                one.append(lacking[0])

    def fill(self, fresh: list[int], rounds: Sequence[Sequence[int]], random: Random) -> None:
        """Fill a new round greedily: open pairs first, then the cavity whose circuit has most left to meet here."""
        for a, b in self.apart(rounds):
            lacking = [n for n in (a, b) if n not in fresh]
            half = max(2, self.channels // 3)
            if lacking and len(fresh) + len(lacking) <= (self.channels if len(lacking) == 1 else half + len(fresh) % 2):
                fresh += lacking
        if len(fresh) == len(self.again):
            first = self.apart(rounds)
            fresh += [n for n in first[0] if n not in fresh] if first and len(fresh) + 2 <= self.channels else []
        met = self.met(rounds)
        inside = 0
        for n in fresh:
            inside |= 1 << self.home[n]
        left = [c for c in range(len(self.circuits)) if not inside >> c & 1]
        while len(fresh) < self.channels and left:
            gains = [(bits_left(inside & ~met[c]), bits_left(~met[c] & ((1 << len(met)) - 1)), c) for c in left]
            top = max(gains)[:2]
            if top == (0, 0):
                break
            chosen = random.choice([c for gain, all_left, c in gains if (gain, all_left) == top])
            fresh.append(self.circuits[chosen][0])
            inside |= 1 << chosen
            left.remove(chosen)
        self.fill_joined(fresh, rounds)

    def thinned(self, rounds: list[list[int]], random: Random) -> list[list[int]]:
        """Rounds that can go without loss taken out, then places that show nothing emptied."""
        order = list(range(len(rounds)))
        random.shuffle(order)
        for n in sorted(order, key=lambda n: len(rounds[n])):
            rest = [one for one in rounds if one is not rounds[n]]
            if rest and self.done(rest):
                return self.thinned(rest, random)
        for one in rounds:
            for n in [n for n in one if n not in self.again]:
                one.remove(n)
                if not self.done(rounds):
                    one.append(n)
        return rounds


def bits_left(bits: int) -> int:
    """How many bits are set."""
    return bits.bit_count()
