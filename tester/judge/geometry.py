"""Where cavities lie on a face: neighbours, and the rearrangements that whole groups of terminals fall into."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from tester.harness.cavity import cavity_key, in_order, split_cavity

Rows = tuple[tuple[str, ...], ...]
FAR = 1000
OFFSETS = (1, -1, 2, -2)


class Geometry:
    """Faces by connector, as Expected.faces; connectors without one count as a single row in order of numbers."""

    def __init__(self, faces: Mapping[str, Rows], cavities: Iterable[str]) -> None:
        self.rows: dict[str, Rows] = {connector: rows for connector, rows in faces.items() if rows}
        by_connector: dict[str, list[str]] = {}
        for name in in_order(dict.fromkeys(cavities)):
            connector, number, _ = cavity_key(name)
            if number >= 0:
                by_connector.setdefault(connector, []).append(name)
        for connector, names in by_connector.items():
            self.rows.setdefault(connector, (tuple(names),))
        self._place = {
            name: (connector, y, x)
            for connector, rows in self.rows.items()
            for y, row in enumerate(rows)
            for x, name in enumerate(row)
            if name
        }

    def offset(self, a: str, b: str) -> tuple[int, int] | None:
        """Rows and columns from a to b, None when they are not on one face."""
        if a not in self._place or b not in self._place:
            return None
        (here, y, x), (there, v, u) = self._place[a], self._place[b]
        return (v - y, u - x) if here == there else None

    def connector(self, name: str) -> str:
        """The connector on whose face the cavity lies, "" for none."""
        return self._place.get(name, ("", 0, 0))[0]

    def distance(self, a: str, b: str) -> int:
        """How far apart two cavities lie, diagonal neighbours count as one; FAR on different connectors."""
        step = self.offset(a, b)
        return FAR if step is None else max(abs(step[0]), abs(step[1]))

    def mirrors(self, connector: str) -> list[dict[str, str]]:
        """The face flipped left to right, top to bottom, and both: cavity -> cavity, where both exist."""
        rows = self.rows[connector]
        width = max(len(row) for row in rows)
        padded = [list(row) + [""] * (width - len(row)) for row in rows]
        sideways = [row[::-1] for row in padded]
        images = []
        for image in (sideways, padded[::-1], sideways[::-1]):
            pairs = {a: b for row, other in zip(padded, image, strict=True) for a, b in zip(row, other, strict=True)}
            found = {a: b for a, b in pairs.items() if a and b and a != b}
            if found:
                images.append(found)
        return images

    def runs(self, cavities: Iterable[str]) -> Iterator[list[str]]:
        """Rows of neighbouring cavities, of two or more, among those given; and all of one connector in order."""
        wrong = set(cavities)
        for rows in self.rows.values():
            for row in rows:
                run: list[str] = []
                for name in (*row, ""):
                    if name in wrong:
                        run.append(name)
                        continue
                    if len(run) > 1:
                        yield run
                    run = []
            together = in_order(name for row in rows for name in row if name in wrong)
            if len(together) > 2:
                yield together


def rearrangements(geometry: Geometry, wrong: Iterable[str]) -> Iterator[dict[str, str]]:
    """Ways in which whole groups get misplaced: rows offset, groups rotated, faces mirrored, plugs exchanged.

    Each as a permutation of the cavities given (cavity where a terminal belongs -> cavity where it sits).
    """
    cavities = set(wrong)
    for run in geometry.runs(cavities):
        for step in OFFSETS:
            if abs(step) < len(run):
                yield {name: run[(i + step) % len(run)] for i, name in enumerate(run)}
    for connector in geometry.rows:
        for image in geometry.mirrors(connector):
            found = {a: b for a, b in image.items() if a in cavities and b in cavities}
            if found:
                yield found
    connectors = list(geometry.rows)
    for n, one in enumerate(connectors):
        for other in connectors[n + 1 :]:
            found = {}
            for name in cavities:
                connector, number = split_cavity(name) if cavity_key(name)[1] >= 0 else ("", -1)
                twin = f"{other if connector == one else one}-{number}"
                if connector in (one, other) and twin in cavities:
                    found[name] = twin
            if len(found) > 2:
                yield found
