"""What the harness must be after the job, as plain values: made by `plan`, judged by `judge`."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from tester.harness.netlist import Netlist, Pair

CHECKS = ("continuity", "isolation", "resistance", "direction", "dropout")


@dataclass(frozen=True)
class ExpectedLink:
    """A wire that the plan put in, or an existing one that is measured against as found.

    `a`, `b`: cavities. `limit_ohms`: highest acceptable reading, with `source` in words. `size_mm2`,
    `length_m`: of the wire, None when unknown. `wire`: id in the plan, "" for existing ones.
    """

    a: str
    b: str
    limit_ohms: float | None = None
    source: str = ""
    size_mm2: float | None = None
    length_m: float | None = None
    wire: str = ""


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
