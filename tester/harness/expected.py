"""What the harness must be after the job, as plain values: made by `plan`, judged by `judge`."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from tester.harness.netlist import Netlist, Pair

CHECKS = ("continuity", "isolation", "resistance", "direction", "dropout")


@dataclass(frozen=True)
class PathWire:
    """One wire on the way between two cavities. `size_mm2`, `length_m`: None when the plan does not say."""

    wire: str
    size_mm2: float | None = None
    length_m: float | None = None


@dataclass(frozen=True)
class ExpectedLink:
    """A wire that the plan put in, or an existing one that is measured against as found.

    `a`, `b`: cavities. `limit_ohms`: highest acceptable reading, with `source` in words. `size_mm2`,
    `length_m`: of the wire, None when unknown. `wire`: id in the plan, "" for existing ones.
    `path`: all new wires from a to b in order (more than one through a splice); `contacts` terminals at its
    ends, `splices` joints on the way. `found_ohms`, `found_u_ohms`: as-found reading of an existing link.
    """

    a: str
    b: str
    limit_ohms: float | None = None
    source: str = ""
    size_mm2: float | None = None
    length_m: float | None = None
    wire: str = ""
    path: tuple[PathWire, ...] = ()
    contacts: int = 2
    splices: int = 0
    found_ohms: float | None = None
    found_u_ohms: float | None = None


@dataclass(frozen=True)
class ExpectedPart:
    """A part between two circuits that must match. Ohms both ways as in PartReading; `source` says whence."""

    a: str
    b: str
    ohms_ab: float | None
    ohms_ba: float | None
    drop_v: float | None = None
    tolerance: float = 0.05
    kind: str = ""
    source: str = "as found"


@dataclass(frozen=True)
class Outcome:
    """One netlist that the finished harness may have, and in words what it would mean."""

    netlist: Netlist
    note: str = ""


@dataclass(frozen=True)
class Expected:
    """The expectation handed to judge.

    outcomes  1 to 16 acceptable netlists over all cavities that the expectation knows
    checks    of CHECKS, those required for PASS
    required  cavities that must be on a lead (and on a proven one if `prove_leads`)
    edited    cavities that a step touched
    opened    connectors whose housing a step opened
    steps     cavity -> ids of the steps that touch it, in order
    wires     id of a kit wire -> its cavities
    sealed_off names of leads that were sealed off and must touch nothing
    by_eye    cavity -> what only eyes can confirm there
    diodes    (a, b): b reads low while a is driven low and not the other way round, as Measured.directed;
              one pair for each pair of circuits, the first cavity of each
    unsteady  pairs that as found (or the reference) could not settle: NOT TESTED by name, they block nothing else
    notes     in words: parts that the edits took away or that cannot be placed, what the expectation rests on
    limits    numbers of the plan's [limits], such as {"celsius": 25.0, "contact_ohms": 0.01}; {} for the defaults
    table     conductor table of harness.copper that limits are computed from
    faces     connector -> rows of cavities as drawn ("" where there is none): neighbours, rows and mirror images
    grade     "scan" or "wire", as Measured.grade of the scan that the circuits come from; "" where that is not known
    sealed    cavity -> name of a lead of its circuit that was sealed off, so that diagnosis can point at its end
    """

    outcomes: tuple[Outcome, ...]
    checks: tuple[str, ...] = ("continuity",)
    required: frozenset[str] = frozenset()
    prove_leads: bool = False
    edited: frozenset[str] = frozenset()
    opened: frozenset[str] = frozenset()
    steps: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    wires: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    links: tuple[ExpectedLink, ...] = ()
    parts: tuple[ExpectedPart, ...] = ()
    diodes: frozenset[Pair] = frozenset()
    by_eye: Mapping[str, str] = field(default_factory=dict)
    sealed_off: tuple[str, ...] = ()
    unsteady: frozenset[Pair] = frozenset()
    notes: tuple[str, ...] = ()
    limits: Mapping[str, float] = field(default_factory=dict)
    table: str = ""
    faces: Mapping[str, tuple[tuple[str, ...], ...]] = field(default_factory=dict)
    sealed: Mapping[str, str] = field(default_factory=dict)
    grade: str = ""
