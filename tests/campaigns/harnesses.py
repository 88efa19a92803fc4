"""Random harnesses as virtual-harness tables, and physical faults put into them. All from a handed-in generator."""

from __future__ import annotations

import copy
import random
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from itertools import combinations, pairwise
from typing import Any

from tester.harness.cavity import in_order
from tester.harness.expected import Expected, ExpectedLink, ExpectedPart, Outcome
from tester.harness.netlist import Joiner, Netlist, pair
from tester.harness.reading import Measured

Tables = dict[str, list[dict[str, Any]]]
WIRE_OHMS = 100.0
ENDS = (("link", "a"), ("link", "b"), ("leak", "a"), ("leak", "b"), ("diode", "anode"), ("diode", "cathode"))


@dataclass
class Harness:
    """A harness as built: its cavities and its tables. `netlist` follows from the tables alone."""

    cavities: tuple[str, ...]
    tables: Tables = field(default_factory=lambda: {"link": [], "leak": [], "diode": []})

    @property
    def netlist(self) -> Netlist:
        """Circuits by metal: links and whatever else has up to 100 ohm."""
        circuits = [[name for name in circuit if name in self.cavities] for circuit in self._joined()]
        return Netlist.of(circuit for circuit in circuits if circuit)

    @property
    def ends(self) -> list[list[str]]:
        """For each end of each part the cavities that it is joined to, none for a loose end."""
        nodes = [row[end] for table, end in ENDS[2:] for row in self.tables[table]]
        home = {name: circuit for circuit in self._joined(nodes) for name in circuit}
        return [[name for name in home[node] if name in self.cavities] for node in nodes]

    def _joined(self, more: Iterable[str] = ()) -> list[list[str]]:
        joiner = Joiner([*self.cavities, *more])
        for row in self.tables["link"]:
            if row["ohms"] <= WIRE_OHMS:
                joiner.join(row["a"], row["b"])
        return [sorted(circuit) for circuit in joiner.circuits()]

    @property
    def one_way_mix(self) -> bool:
        """True when two diodes touch one circuit: in a row a scan reads them either way, back to back as wire."""
        home = self.netlist.circuit_of
        ends = [row[end] for row in self.tables["diode"] for end in ("anode", "cathode")]
        circuits = [home(name) for name in ends if name in self.cavities]
        return len(circuits) != len(set(circuits))

    def copy(self) -> Harness:
        return Harness(self.cavities, copy.deepcopy(self.tables))

    def rename(self, names: dict[str, str]) -> Harness:
        """The same wires, ending elsewhere."""
        other = self.copy()
        for table, key in ENDS:
            for row in other.tables[table]:
                row[key] = names.get(row[key], row[key])
        return other


def build(rng: random.Random, cavities: int, *, parts: bool) -> Harness:
    """A harness of 2 to 6 connectors: pairs, splices, daisy chains, lone cavities, diodes, with `parts` resistors."""
    connectors = "ABCDEF"[: rng.randint(2, 6)]
    names = [f"{connectors[i % len(connectors)]}-{i // len(connectors) + 1}" for i in range(cavities)]
    harness = Harness(tuple(in_order(names)))
    rng.shuffle(names)
    joint = 0
    heads = []
    largest = 8 if cavities < 40 else 14
    while names:
        kind = rng.choice(("lone", "pair", "pair", "pair", "pair", "star", "chain", "trunk"))
        size = {"lone": 1, "pair": 2, "star": rng.randint(3, largest), "chain": 3, "trunk": rng.randint(4, 6)}[kind]
        ends = [names.pop() for _ in range(min(size, len(names)))]
        heads.append(ends[0])
        if len(ends) <= 3 and kind != "star":
            rows = list(pairwise(ends))
        elif kind == "trunk" and len(ends) > 3:
            left, right = f"~{joint}", f"~{joint + 1}"
            joint += 2
            rows = [(left, right), *((left if i % 2 else right, end) for i, end in enumerate(ends))]
        else:
            joint += 1
            rows = [(f"~{joint}s", end) for end in ends] if len(ends) > 1 else []
        harness.tables["link"] += [{"a": a, "b": b, "ohms": round(rng.uniform(0.02, 0.15), 4)} for a, b in rows]
    # no two parts touch the same circuit: two diodes in a row read as neither low nor high, two back to back as wire
    ends = rng.sample(heads, min(len(heads), 2 * rng.randint(0, 2))) if len(heads) > 2 else []
    for n, (a, b) in enumerate(zip(ends[::2], ends[1::2], strict=False)):
        if parts and n == 0:
            ohms = rng.choice((120.0, 470.0, 1000.0, 2200.0))
            harness.tables["leak"].append({"a": a, "b": b, "ohms": ohms})
        else:
            harness.tables["diode"].append({"anode": a, "cathode": b, "drop_v": 0.6})
    return harness


def expectation(netlist: Netlist, measured: Measured, checks: tuple[str, ...]) -> Expected:
    """What a plan from this reference says: circuits as given, parts and resistances as they were measured."""
    home = netlist.circuit_of
    diodes = {(home(a)[0], home(b)[0]) for a, b in measured.directed}
    parts = tuple(ExpectedPart(p.a, p.b, p.ohms_ab, p.ohms_ba, p.drop_v) for p in measured.parts)
    links = tuple(ExpectedLink(r.a, r.b, found_ohms=r.ohms, found_u_ohms=r.u_ohms) for r in measured.ohms.values())
    return Expected(
        (Outcome(netlist),),
        checks=checks,
        required=frozenset(netlist.cavities),
        diodes=frozenset(diodes),
        parts=parts,
        links=links if "resistance" in checks else (),
    )


@dataclass(frozen=True)
class Broken:
    """A harness with faults.

    moved   where terminals sit, None when it is no fault of circuits; `others`: openings and bridges beside
    at      cavities concerned
    """

    kind: str
    harness: Harness
    at: tuple[str, ...]
    moved: dict[str, str] | None = None
    others: int = 0


def circuit_faults(good: Harness) -> Iterator[Broken]:
    """Every single fault of circuits: swap, move, terminal open, wire broken, short."""
    netlist = good.netlist
    lone = set(netlist.lone())
    wired = [name for name in good.cavities if name not in lone]
    for a, b in combinations(wired, 2):
        if not netlist.joined(a, b):
            yield Broken("swap", good.rename({a: b, b: a}), (a, b), {a: b, b: a})
    for a in wired:
        for b in in_order(lone):
            yield Broken("move", good.rename({a: b, b: a}), (a, b), {a: b, b: a})
        yield Broken("terminal open", good.rename({a: loose(good, a)}), (a,), {}, 1)
    for i, row in enumerate(good.tables["link"]):
        broken = good.copy()
        del broken.tables["link"][i]
        ends = tuple(name for name in (row["a"], row["b"]) if not name.startswith("~"))
        yield Broken("wire broken", broken, ends, {}, 1)
    for one, other in combinations(netlist.circuits, 2):
        yield Broken("short", shorted(good, one[0], other[0]), (one[0], other[0]), {}, 1)


def loose(good: Harness, cavity: str) -> str:
    """A node for the wire that left a terminal: its own, also when another wire left the same cavity before."""
    before = {row[key] for table, key in ENDS for row in good.tables[table] if row[key].startswith(f"~loose-{cavity}.")}
    return f"~loose-{cavity}.{len(before)}"


def shorted(good: Harness, a: str, b: str, ohms: float = 0.05) -> Harness:
    broken = good.copy()
    broken.tables["link"].append({"a": a, "b": b, "ohms": ohms})
    return broken


def random_circuit_fault(good: Harness, rng: random.Random, kind: str) -> Broken | None:
    """One fault of a class, None where the harness allows none."""
    netlist = good.netlist
    lone = set(netlist.lone())
    wired = [name for name in good.cavities if name not in lone]
    if kind == "swap" and len(netlist.circuits) - len(lone) > 1:
        a = rng.choice(wired)
        b = rng.choice([name for name in wired if not netlist.joined(a, name)])
        return Broken(kind, good.rename({a: b, b: a}), (a, b), {a: b, b: a})
    if kind == "move" and lone and wired:
        a, b = rng.choice(wired), rng.choice(in_order(lone))
        return Broken(kind, good.rename({a: b, b: a}), (a, b), {a: b, b: a})
    if kind == "terminal open" and wired:
        a = rng.choice(wired)
        return Broken(kind, good.rename({a: loose(good, a)}), (a,), {}, 1)
    if kind == "wire broken" and good.tables["link"]:
        broken = good.copy()
        row = broken.tables["link"].pop(rng.randrange(len(broken.tables["link"])))
        return Broken(kind, broken, tuple(n for n in (row["a"], row["b"]) if not n.startswith("~")), {}, 1)
    if kind == "short" and len(netlist.circuits) > 1:
        one, other = rng.sample(netlist.circuits, 2)
        return Broken(kind, shorted(good, one[0], other[0]), (one[0], other[0]), {}, 1)
    return None


KINDS = ("swap", "move", "terminal open", "wire broken", "short")


def several_faults(good: Harness, rng: random.Random, number: int) -> Broken:
    """So many circuit faults one after the other, as one."""
    now, moved, others, at, kinds = good, dict[str, str](), 0, list[str](), list[str]()
    while len(kinds) < number:
        one = random_circuit_fault(now, rng, rng.choice(KINDS))
        if one is None:
            continue
        now = one.harness
        names = set(moved) | set(one.moved or {})
        moved = {t: (one.moved or {}).get(moved.get(t, t), moved.get(t, t)) for t in names}
        others += one.others
        at += one.at
        kinds.append(one.kind)
    return Broken(f"{number} faults", now, tuple(at), {t: c for t, c in moved.items() if t != c}, others)


def part_faults(good: Harness, rng: random.Random) -> Iterator[Broken]:
    """Faults that need the converter or the direction: of parts, of resistance, of isolation."""
    netlist = good.netlist
    for i, row in enumerate(good.tables["diode"]):
        turned = good.copy()
        turned.tables["diode"][i] |= {"anode": row["cathode"], "cathode": row["anode"]}
        yield Broken("diode reversed", turned, (row["anode"], row["cathode"]))
        yield Broken("diode missing", _without(good, "diode", i), (row["anode"], row["cathode"]))
    for i, row in enumerate(good.tables["leak"]):
        other = good.copy()
        other.tables["leak"][i]["ohms"] *= rng.choice((0.5, 2.0))
        yield Broken("part of other value", other, (row["a"], row["b"]))
        yield Broken("part missing", _without(good, "leak", i), (row["a"], row["b"]))
    taken = {pair(netlist.circuit_of(x)[0], netlist.circuit_of(y)[0]) for x, y in _part_ends(good)}
    free = [(c[0], d[0]) for c, d in combinations(netlist.circuits, 2) if pair(c[0], d[0]) not in taken]
    for _ in range(min(3, len(free))):
        a, b = rng.choice(free)
        leaky = good.copy()
        leaky.tables["leak"].append({"a": a, "b": b, "ohms": round(10 ** rng.uniform(2.3, 4.3))})
        yield Broken("leakage", leaky, (a, b))
    links = [i for i, row in enumerate(good.tables["link"])]
    for i in rng.sample(links, min(4, len(links))):
        poor = good.copy()
        poor.tables["link"][i]["ohms"] += round(rng.uniform(0.5, 5.0), 3)
        row = poor.tables["link"][i]
        yield Broken("high resistance", poor, tuple(n for n in (row["a"], row["b"]) if not n.startswith("~")))


def _part_ends(good: Harness) -> list[tuple[str, str]]:
    return [(r["a"], r["b"]) for r in good.tables["leak"]] + [(r["anode"], r["cathode"]) for r in good.tables["diode"]]


def _without(good: Harness, table: str, i: int) -> Harness:
    other = good.copy()
    del other.tables[table][i]
    return other


def invisible_faults(good: Harness, rng: random.Random) -> dict[str, tuple[Harness, Harness] | None]:
    """Faults that continuity cannot see: name -> (harness as it should be, with the fault); None where none fits."""
    netlist = good.netlist
    parted = {name for row in _part_ends(good) for name in row}
    pairs = [c for c in netlist if len(c) == 2 and parted.isdisjoint(c)]
    found: dict[str, tuple[Harness, Harness] | None] = {"same wires swapped at both ends": None}
    if len(pairs) > 1:
        (a, b), (c, d) = rng.sample(pairs, 2)
        found["same wires swapped at both ends"] = (good, good.rename({a: c, c: a, b: d, d: b}))
    thin = good.copy()
    rng.choice(thin.tables["link"])["ohms"] += 1.0
    found["thin wire (1 ohm more)"] = (good, thin)
    row = rng.choice(good.tables["link"])
    twice = good.copy()
    twice.tables["link"].append(dict(row))
    found["one of two parallel paths broken"] = (twice, good)
    # electrically the same harness: a terminal that is not latched touches as well as one that is, and a terminal in a
    # lone cavity joins nothing whether it is there or not
    found["lone cavity pulled"] = (good, good.copy()) if netlist.lone() else None
    found["terminal barely seated"] = (good, good.copy())
    return found
