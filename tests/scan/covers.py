"""Random coverings of a harness by rounds, and the same question answered by brute force over all pairs."""

import random
from itertools import combinations

from tester.harness.netlist import pair
from tester.harness.reading import Link
from tester.scan import Round, combine, decode_walk
from tests.scan.boards import rows_of


def random_covering(rng: random.Random):
    """Circuits of names, and for each round the names on leads with the circuits that this round sees."""
    n = rng.randint(2, 12)
    names = [f"{'ABC'[i % 3]}-{i + 1}" for i in range(n)]
    circuits = _circuits(names, rng)
    rounds = []
    for _ in range(rng.randint(1, 4)):
        on_leads = rng.sample(names, rng.randint(1, n))
        seen = circuits if rng.random() < 0.85 else _circuits(names, rng)  # sometimes plugged in wrongly
        rounds.append((on_leads, seen))
    return rounds


def _circuits(names, rng):
    left, circuits = list(names), []
    rng.shuffle(left)
    while left:
        size = min(len(left), rng.choice([1, 1, 2, 2, 3, 5]))
        circuits.append([left.pop() for _ in range(size)])
    return circuits


def scanned(rounds):
    """The product's answer: walks of every round decoded and combined."""
    taken = []
    for on_leads, circuits in rounds:
        place = {name: k for k, name in enumerate(on_leads)}
        here = [[place[name] for name in circuit if name in place] for circuit in circuits]
        rows = rows_of([c for c in here if c], len(on_leads))
        channels = range(1, len(on_leads) + 1)
        links = decode_walk(channels, channels, rows)
        taken.append(Round(links, {k + 1: name for k, name in enumerate(on_leads)}))
    return combine(taken)


def brute_force(rounds):
    """Circuits, and the answer for each pair of names, straight from the definitions."""
    answers: dict[tuple[str, str], set[bool]] = {}
    for on_leads, circuits in rounds:
        home = {name: i for i, circuit in enumerate(circuits) for name in circuit}
        for a, b in combinations(on_leads, 2):
            answers.setdefault(pair(a, b), set()).add(home[a] == home[b])
    names = sorted({name for on_leads, _ in rounds for name in on_leads})
    group = {name: {name} for name in names}
    for (a, b), seen in answers.items():
        if True in seen and group[a] is not group[b]:
            merged = group[a] | group[b]
            for name in merged:
                group[name] = merged
    doubtful = {p for p, seen in answers.items() if False in seen and group[p[0]] is group[p[1]]}
    table = {}
    for a, b in combinations(names, 2):
        crossing = [pair(x, y) for x in group[a] for y in group[b] if x != y]
        if any(p in doubtful for p in crossing):
            table[pair(a, b)] = Link.DOUBTFUL
        elif group[a] is group[b]:
            table[pair(a, b)] = Link.JOINED
        elif any(p in answers for p in crossing):
            table[pair(a, b)] = Link.APART
        else:
            table[pair(a, b)] = Link.NOT_SEEN
    return {frozenset(g) for g in group.values()}, table


def check_coverings(count: int, seed: int) -> dict[Link, int]:
    """Compare `count` random coverings; returns how many pairs had each answer."""
    rng = random.Random(seed)
    tally = dict.fromkeys(Link, 0)
    for _ in range(count):
        rounds = random_covering(rng)
        measured = scanned(rounds)
        circuits, table = brute_force(rounds)
        assert {frozenset(circuit) for circuit in measured.netlist} == circuits, rounds
        for (a, b), wanted in table.items():
            assert measured.link(a, b) is wanted, (rounds, a, b)
            tally[wanted] += 1
    return tally
