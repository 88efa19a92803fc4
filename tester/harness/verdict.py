"""A verdict as plain values: made by `judge`, put in words by `words`, stored by `records`."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

PASS, FAIL, NOT_TESTED = "PASS", "FAIL", "NOT TESTED"
FAULT_KINDS = (
    "open", "short", "miswire", "high-resistance", "leakage", "reversed", "dropout", "doubtful",
)  # fmt: skip


@dataclass(frozen=True)
class Fault:
    """One physical fault of one explanation.

    kind         of FAULT_KINDS
    cavities     concerned, likeliest first; a short lists all cavities of both circuits
    explanation  number of the tied best explanation that this fault belongs to, from 0
    action       what happened, for `words`: "swap", "move", "open terminal", "missing wire", "bridge",
                 "rotated group", "row offset", "mirrored face", "splice incomplete", "sealed-off lead touching",
                 "lead not touching", "leads exchanged", "plugs exchanged", "plug not home", "" if none of these
    sits, belongs  for moves: cavity where the terminal sits -> cavity where it belongs, pairwise
    steps        ids of the plan's steps that touch these cavities
    values       numbers for words, such as {"ohms": 3.2, "limit_ohms": 0.09, "ms": 3.0}
    """

    kind: str
    cavities: tuple[str, ...]
    explanation: int = 0
    action: str = ""
    sits: tuple[str, ...] = ()
    belongs: tuple[str, ...] = ()
    steps: tuple[str, ...] = ()
    values: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class CavityVerdict:
    """One cavity: its verdict, the partners expected and measured, and why it was not tested (or "").

    `contact` is "proven", or "unproven" for a lone cavity on a lead that was never seen joined to anything.
    """

    cavity: str
    verdict: str
    expected: tuple[str, ...]
    measured: tuple[str, ...]
    why: str = ""
    contact: str = "proven"


@dataclass(frozen=True)
class LinkVerdict:
    """One resistance judged. Ohms; `u_ohms` standard uncertainty; `source` of the limit in words.

    `result` is "pass", "fail", "too close to call", "below zero", or "" when it was not measured (then `ohms` is None).
    """

    a: str
    b: str
    ohms: float | None
    u_ohms: float | None
    limit_ohms: float
    source: str
    result: str


@dataclass(frozen=True)
class Verdict:
    """The whole result. FAIL outranks NOT TESTED outranks PASS.

    scope         checks done, such as ("continuity", "isolation")
    not_in_scope  checks that were not done or cannot be done, each with a reason in words
    faults        those of every tied best explanation
    explanations  how many tied ones there are (0 when nothing is wrong), `shown` at most three
    exact         False when the search stopped at its bound: "at least this many faults"
    outcome       note of the expectation's outcome that was matched, or ""
    unproven      cavities that pass only on "no short seen"
    untested      what stands between this result and PASS: (reason in a few words, cavities, checks or steps)
    grade         "scan" or "wire", as Measured.grade
    complete      every explanation of that size is among the faults
    links         resistances judged, each with its limit and the source of it
    reach         how far the checks saw: "isolation_ohms" (no leak below it can have hidden), "joined_ohms" (up to
                  which "joined" may be), "dropout_ms" and "touch_ms" (a longer opening or touch cannot have been
                  missed), "touch_blind" (number of circuits among which parts hide touches); only what applies
    at_least      number of faults that any explanation needs; `exact` when the explanations have just as many
    """

    verdict: str
    scope: tuple[str, ...]
    not_in_scope: tuple[tuple[str, str], ...]
    cavities: tuple[CavityVerdict, ...]
    faults: tuple[Fault, ...] = ()
    explanations: int = 0
    exact: bool = True
    outcome: str = ""
    unproven: tuple[str, ...] = ()
    untested: tuple[tuple[str, tuple[str, ...]], ...] = ()
    grade: str = "scan"
    complete: bool = True
    at_least: int = 0
    links: tuple[LinkVerdict, ...] = ()
    reach: Mapping[str, float] = field(default_factory=dict)
