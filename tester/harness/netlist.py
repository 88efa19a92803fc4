"""Netlists: the partition of all cavities into circuits."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cached_property

from tester.harness.cavity import cavity_key, in_order

Pair = tuple[str, str]


def pair(a: str, b: str) -> Pair:
    """An unordered pair as a tuple in cavity order."""
    return (a, b) if cavity_key(a) <= cavity_key(b) else (b, a)


class Joiner:
    """Union-find over names; `joined(a, b)`, `circuits()`."""

    def __init__(self, names: Iterable[str] = ()) -> None:
        self._up: dict[str, str] = {name: name for name in names}

    def add(self, name: str) -> None:
        self._up.setdefault(name, name)

    def root(self, name: str) -> str:
        up = self._up
        top = name
        while up[top] != top:
            top = up[top]
        while up[name] != top:
            up[name], name = top, up[name]
        return top

    def join(self, a: str, b: str) -> None:
        self.add(a)
        self.add(b)
        ra, rb = self.root(a), self.root(b)
        if ra != rb:
            self._up[rb] = ra

    def joined(self, a: str, b: str) -> bool:
        return self.root(a) == self.root(b)

    def circuits(self) -> list[set[str]]:
        groups: dict[str, set[str]] = {}
        for name in self._up:
            groups.setdefault(self.root(name), set()).add(name)
        return list(groups.values())


@dataclass(frozen=True)
class Netlist:
    """A partition of cavities: every cavity in exactly one circuit. Lone cavities are circuits of one.

    `circuits` is canonical: cavities of each circuit in order, circuits ordered by their first cavity.
    """

    circuits: tuple[tuple[str, ...], ...]

    @classmethod
    def of(cls, circuits: Iterable[Iterable[str]], cavities: Iterable[str] = ()) -> Netlist:
        """From circuits that share no cavity, plus `cavities` that are lone where no circuit names them.

        Raises ValueError when a cavity is in two circuits.
        """
        groups = [in_order(set(circuit)) for circuit in circuits]
        named = [name for group in groups for name in group]
        if len(named) != len(set(named)):
            twice = in_order({name for name in named if named.count(name) > 1})
            raise ValueError(f"in more than one circuit: {', '.join(twice)}")
        groups += [[name] for name in set(cavities) - set(named)]
        return cls(tuple(tuple(g) for g in sorted((g for g in groups if g), key=lambda g: cavity_key(g[0]))))

    @classmethod
    def from_links(cls, links: Iterable[Pair], cavities: Iterable[str] = ()) -> Netlist:
        """Circuits are the connected components of `links`; `cavities` adds lone ones."""
        joiner = Joiner(cavities)
        for a, b in links:
            joiner.join(a, b)
        return cls.of(joiner.circuits())

    @cached_property
    def _home(self) -> dict[str, tuple[str, ...]]:
        return {name: circuit for circuit in self.circuits for name in circuit}

    @cached_property
    def cavities(self) -> tuple[str, ...]:
        """All cavities, in order."""
        return tuple(in_order(self._home))

    def __contains__(self, name: object) -> bool:
        return name in self._home

    def __iter__(self) -> Iterator[tuple[str, ...]]:
        return iter(self.circuits)

    def circuit_of(self, name: str) -> tuple[str, ...]:
        """The circuit that holds the cavity, itself included. KeyError when unknown."""
        return self._home[name]

    def partners(self, name: str) -> tuple[str, ...]:
        """The other cavities of its circuit."""
        return tuple(other for other in self._home[name] if other != name)

    def joined(self, a: str, b: str) -> bool:
        """True when both are in one circuit."""
        return self._home[a] is self._home[b]

    def restricted(self, cavities: Iterable[str]) -> Netlist:
        """The same partition seen on these cavities only."""
        keep = set(cavities)
        return Netlist.of([name for name in circuit if name in keep] for circuit in self.circuits)

    def lone(self) -> tuple[str, ...]:
        """Cavities joined to nothing, in order."""
        return tuple(circuit[0] for circuit in self.circuits if len(circuit) == 1)
