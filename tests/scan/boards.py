"""An ideal board for tests of pure code: what it reads from given circuits, computed from the circuits alone."""

from collections.abc import Iterable, Sequence


def rows_of(circuits: Iterable[Iterable[int]], channels: int) -> list[int]:
    """Row i: mask of channels that read low while channel i (from 0) is driven."""
    rows = [1 << i for i in range(channels)]
    for circuit in circuits:
        members = list(circuit)
        mask = sum(1 << i for i in members)
        for i in members:
            rows[i] = mask
    return rows


def read_patterns(circuits: Iterable[Sequence[int]], driven: Iterable[Sequence[int]]) -> list[int]:
    """For each pattern the mask of channels (bit = channel number) that read low: members of a driven circuit."""
    masks = {i: sum(1 << k for k in circuit) for circuit in circuits for i in circuit}
    out = []
    for pattern in driven:
        low = 0
        for channel in pattern:
            low |= masks[channel]
        out.append(low)
    return out


def partitions(points: list[int]):
    """All set partitions of `points`."""
    if not points:
        yield []
        return
    first, rest = points[0], points[1:]
    for smaller in partitions(rest):
        yield [[first], *smaller]
        for i, block in enumerate(smaller):
            yield [*smaller[:i], [first, *block], *smaller[i + 1 :]]
