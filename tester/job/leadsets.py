"""What earlier jobs of the log know of a lead set: which of its leads were proven lately, and whether it is still wet.

A proof belongs to a lead set, not to a job: to the text of its lead map, on one board, for a day, until it was on a
wet harness. Another job may count it once the set was known there by its identity jumpers. Only what was touched is
counted on, never what was itself counted on. A lead set left wet stays so for every later job until it is proven again.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from tester.harness.leads import LeadMap
from tester.records.events import Event
from tester.records.search import Query
from tester.records.store import Store

TERM = "lead-set"
TOUCHED = "touched"
GOOD_FOR = timedelta(hours=24)
KINDS = ("lead-proven", "left-out", "lead-unproven")
NEWEST = 20  # records looked at; a set that is wet is written into each new record that uses it


@dataclass
class Past:
    """Cavity -> record in which its lead was touched last, and cavities still to be proven since the set was wet."""

    proven: dict[str, str] = field(default_factory=dict)
    unclean: set[str] = field(default_factory=set)
    wet_in: str = ""


def key_of(text: str) -> str:
    """A lead set as the log finds it again: by the text of its map."""
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def keys_at(texts: Iterable[str], maps: Iterable[LeadMap], cavities: Iterable[str]) -> list[str]:
    """Keys of the lead sets that go to any of these cavities."""
    wanted = set(cavities)
    return sorted({key_of(text) for text, one in zip(texts, maps, strict=True) if wanted & set(one.cavities)})


def past(log: Store, text: str, *, board: str = "", now: datetime | None = None, besides: str = "") -> Past:
    """What the newest records say of the lead set with this map.

    `board`, `now`: proofs count that were touched on the board with this serial number within a day before `now`.
    `besides`: this job, whose own events are known already.
    """
    key = key_of(text)
    touches: list[tuple[Event, str]] = []
    wets: list[Event] = []
    for one in log.jobs(Query(terms={TERM: key}, limit=NEWEST)):
        if one.job != besides:
            for event in (e for kind in KINDS for e in log.read(one.job, kind) if key in e.data.get("sets", ())):
                if event.kind != "lead-proven":
                    wets.append(event)
                elif event.data.get("how") == TOUCHED:
                    touches.append((event, one.term("board")))
    known = Past()
    for event in sorted(wets, key=lambda wet: (wet.at, wet.serial)):
        cavities = _soiled(event)
        since = {name for touch, _ in touches if later(touch, event) for name in touch.data["cavities"]}
        known.unclean |= cavities - since
        known.wet_in = event.data.get("since", event.job) if cavities - since else known.wet_in
    for event, serial in sorted(touches, key=lambda both: (both[0].at, both[0].serial)):
        if serial == board and now is not None and timedelta() <= now - event.at <= GOOD_FOR:
            wet = {name for one in wets if not later(event, one) for name in _soiled(one)}
            known.proven |= dict.fromkeys(set(event.data["cavities"]) - wet, event.job)
    return known


def later(one: Event, other: Event) -> bool:
    """Whether one event came after another: by the order of one bench's log, else by the clocks of the two benches."""
    return one.serial > other.serial if one.bench == other.bench else one.at > other.at


def _soiled(event: Event) -> set[str]:
    return set(event.data.get("unproven", event.data["cavities"]))


def wet_before(log: Store, texts: Sequence[str]) -> list[dict[str, Any]]:
    """Facts of a "lead-unproven" event for each of these lead sets that a job left wet."""
    found = []
    for text in dict.fromkeys(texts):
        known = past(log, text)
        if known.unclean:
            wet = {"why": "possibly wet", "since": known.wet_in}
            found.append({"cavities": sorted(known.unclean), **wet, "sets": [key_of(text)]})
    return found
