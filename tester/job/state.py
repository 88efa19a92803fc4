"""The state of a job: a pure fold over its events. Leaving, taking up again and replay all read it from here."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any, Protocol

STAGES = (
    "intake", "leads", "as found", "work sheet", "as left", "wiggle", "finish", "after installing",
)  # fmt: skip


class EventLike(Protocol):
    """What the fold needs of an event: see tester.records for the stored form."""

    @property
    def serial(self) -> int: ...
    @property
    def kind(self) -> str: ...
    @property
    def at(self) -> datetime: ...
    @property
    def data(self) -> Mapping[str, Any]: ...
    @property
    def blobs(self) -> Mapping[str, bytes]: ...


@dataclass(frozen=True)
class Tick:
    """A step marked done: by the board or by hand, when, by whom."""

    step: str
    how: str
    at: datetime
    place: int
    by: str = ""


@dataclass(frozen=True)
class ScanEntry:
    """A stored full scan: `purpose` is "as found" or "as left"; `blobs` fetches its frames when asked.

    serial    its number in the chain of its bench, for people
    place     its place among the events of the job, 1 for the first
    left_out  cavities that it did not drive, possibly wet
    unclean   cavities of lead sets that were on a wet harness and not yet proven again when it was made
    """

    serial: int
    purpose: str
    at: datetime
    blobs: Mapping[str, bytes]
    place: int
    data: Mapping[str, Any] = field(default_factory=dict)
    left_out: frozenset[str] = frozenset()
    unclean: frozenset[str] = frozenset()


@dataclass(frozen=True)
class VerdictEntry:
    """A stored verdict object, when it was given, and its place among the events of the job."""

    place: int
    at: datetime
    verdict: dict[str, Any]


@dataclass(frozen=True)
class JobState:
    """Everything known of a job after its events so far.

    What came before what is told by the places of the events in the job: the serials of two benches, whose events one
    job may hold, say nothing about each other.

    opened    intake: job, tag, side, by, title, customer and what else was given
    plan      plan text as it was used; `plan_name` the file name
    leads     (name, text) of each lead map, one a round
    ticks     step id -> tick, steps undone are gone
    left_out  cavities that the newest look left out, possibly wet
    unclean   cavities whose leads were on a wet harness: to be cleaned and proven again by touch
    signed    role -> initials given under the newest verdict; `initials` holds older ones too
    last_physical  place of the newest event after which the harness is another: a tick, an undo, a touch
    last_fact      place of the newest event that changes what a verdict would say
    place          place of the newest event: how many there are
    """

    record: str = ""
    opened: dict[str, Any] = field(default_factory=dict)
    plan_name: str = ""
    plan: str = ""
    leads: tuple[tuple[str, str], ...] = ()
    board: dict[str, Any] = field(default_factory=dict)
    cautions: dict[str, str] = field(default_factory=dict)
    proven: frozenset[str] = frozenset()
    left_out: frozenset[str] = frozenset()
    unclean: frozenset[str] = frozenset()
    leads_done: bool = False
    answers: dict[str, str] = field(default_factory=dict)
    accepted: tuple[str, ...] = ()
    ticks: dict[str, Tick] = field(default_factory=dict)
    tick_order: tuple[str, ...] = ()
    scans: tuple[ScanEntry, ...] = ()
    verdicts: tuple[VerdictEntry, ...] = ()
    wiggles: tuple[dict[str, Any], ...] = ()
    aborted: tuple[dict[str, Any], ...] = ()
    initials: dict[str, str] = field(default_factory=dict)
    signed: dict[str, str] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    photos: tuple[dict[str, Any], ...] = ()
    function_checks: dict[str, str] = field(default_factory=dict)
    finished: bool = False
    last_physical: int = 0
    last_fact: int = 0
    place: int = 0

    def newest_scan(self, purpose: str) -> ScanEntry | None:
        """The newest stored scan of that purpose."""
        return next((s for s in reversed(self.scans) if s.purpose == purpose), None)

    @property
    def scan_is_fresh(self) -> bool:
        """True when the newest as-left scan came after the last physical step."""
        scan = self.newest_scan("as left")
        return scan is not None and scan.place > self.last_physical

    @property
    def standing(self) -> VerdictEntry | None:
        """The newest verdict, unless a later step, scan, answer or dropout watch has made it stale."""
        if not self.verdicts or not self.scan_is_fresh:
            return None
        newest = self.verdicts[-1]
        return newest if newest.place > self.last_fact else None

    @property
    def verdict(self) -> dict[str, Any] | None:
        """What the standing verdict says."""
        return self.standing.verdict if self.standing else None

    @property
    def stale(self) -> bool:
        """True when there is a verdict, but none that stands."""
        return bool(self.verdicts) and self.standing is None

    @property
    def unjudged(self) -> bool:
        """True when the newest as-left scan still counts, and no verdict on it does."""
        return self.scan_is_fresh and self.verdict is None

    @property
    def watch_is_stale(self) -> bool:
        """True when the harness was handled after the newest dropout watch."""
        return bool(self.wiggles) and self.wiggles[-1]["place"] < self.last_physical

    @property
    def stage(self) -> str:
        """The stage that the job stands at: the first whose work is not done."""
        if not self.opened or not self.plan:
            return "intake"
        if not self.leads or not self.leads_done:
            return "leads"
        if self.newest_scan("as found") is None and "as-found skipped" not in self.accepted:
            return "as found"
        if self.finished:
            return "after installing"
        if self.verdict and self.verdict.get("verdict") == "PASS":
            return "finish"
        return "as left" if self.scan_is_fresh else "work sheet"


def fold(events: Iterable[EventLike], record: str = "") -> JobState:
    """State after these events, in their order. Unknown kinds are passed over, so that newer logs still open."""
    state = JobState(record=record)
    for event in events:
        state = advance(state, event)
    return state


def advance(state: JobState, event: EventLike) -> JobState:
    """State after one more event."""
    state = replace(state, place=state.place + 1)
    change = _CHANGES.get(event.kind)
    if change is not None:
        state = change(state, event)
    if is_fact(event.kind, event.data):
        state = replace(state, last_fact=state.place)
    return state


def is_fact(kind: str, data: Mapping[str, Any]) -> bool:
    """Whether an event changes what a verdict would say. A scan of a harness that came back judges nothing anew."""
    return kind in _FACTS or (kind == "scan" and data["purpose"] in ("as found", "as left"))


def _opened(state: JobState, event: EventLike) -> JobState:
    return replace(state, opened=dict(event.data))


def _plan(state: JobState, event: EventLike) -> JobState:
    return replace(state, plan=event.data["text"], plan_name=event.data["name"])


def _leads(state: JobState, event: EventLike) -> JobState:
    maps = tuple((one["name"], one["text"]) for one in event.data["maps"])
    same = {text for _, text in state.leads} & {text for _, text in maps}
    unclean = state.unclean if same else frozenset()  # named again, a wet lead set is as wet as before
    return replace(state, leads=maps, leads_done=False, proven=frozenset(), unclean=unclean)


def _leads_done(state: JobState, event: EventLike) -> JobState:
    return replace(state, leads_done=True)


def _proven(state: JobState, event: EventLike) -> JobState:
    cavities = frozenset(event.data["cavities"])
    return replace(state, proven=state.proven | cavities, unclean=state.unclean - cavities)


def _unproven(state: JobState, event: EventLike) -> JobState:
    cavities = frozenset(event.data["cavities"])
    return replace(state, unclean=state.unclean | cavities, proven=state.proven - cavities)


def _left_out(state: JobState, event: EventLike) -> JobState:
    cavities = frozenset(event.data["cavities"])
    unclean = frozenset(event.data.get("unproven", cavities))
    return replace(
        state, left_out=cavities, unclean=state.unclean | unclean, proven=state.proven - unclean
    )  # fmt: skip


def _board(state: JobState, event: EventLike) -> JobState:
    return replace(state, board=dict(event.data))


def _caution(state: JobState, event: EventLike) -> JobState:
    return replace(state, cautions={**state.cautions, event.data["caution"]: event.data.get("by", "")})


def _answer(state: JobState, event: EventLike) -> JobState:
    return replace(state, answers={**state.answers, event.data["question"]: event.data["answer"]})


def _accepted(state: JobState, event: EventLike) -> JobState:
    return replace(state, accepted=(*state.accepted, event.data["what"]))


def _tick(state: JobState, event: EventLike) -> JobState:
    step = event.data["step"]
    tick = Tick(step, event.data.get("how", "hand"), event.at, state.place, event.data.get("by", ""))
    order = (*(s for s in state.tick_order if s != step), step)
    return replace(state, ticks={**state.ticks, step: tick}, tick_order=order, last_physical=state.place)


def _undo(state: JobState, event: EventLike) -> JobState:
    step = event.data["step"]
    ticks = {name: tick for name, tick in state.ticks.items() if name != step}
    order = tuple(s for s in state.tick_order if s != step)
    return replace(state, ticks=ticks, tick_order=order, last_physical=state.place)


def _touched(state: JobState, event: EventLike) -> JobState:
    return replace(state, last_physical=state.place)


def _scan(state: JobState, event: EventLike) -> JobState:
    left_out = frozenset(event.data.get("left_out", ()))
    entry = ScanEntry(
        event.serial, event.data["purpose"], event.at, event.blobs, state.place, event.data, left_out, state.unclean
    )  # fmt: skip
    return replace(state, scans=(*state.scans, entry), left_out=left_out)


def _verdict(state: JobState, event: EventLike) -> JobState:
    entry = VerdictEntry(state.place, event.at, dict(event.data))
    return replace(state, verdicts=(*state.verdicts, entry), signed={})


def _wiggle(state: JobState, event: EventLike) -> JobState:
    return replace(state, wiggles=(*state.wiggles, {**event.data, "place": state.place, "at": event.at}))


def _aborted(state: JobState, event: EventLike) -> JobState:
    left_out = frozenset(event.data.get("left_out", state.left_out))
    entry = {**event.data, "place": state.place, "at": event.at}
    return replace(state, aborted=(*state.aborted, entry), left_out=left_out)


def _initials(state: JobState, event: EventLike) -> JobState:
    given = {event.data["role"]: event.data["initials"]}
    return replace(state, initials=state.initials | given, signed=state.signed | given)


def _note(state: JobState, event: EventLike) -> JobState:
    return replace(state, notes=(*state.notes, event.data["text"]))


def _photo(state: JobState, event: EventLike) -> JobState:
    return replace(state, photos=(*state.photos, {**event.data, "place": state.place}))


def _function_check(state: JobState, event: EventLike) -> JobState:
    checks = {**state.function_checks, event.data["item"]: event.data["result"]}
    return replace(state, function_checks={item: result for item, result in checks.items() if result})


def _finished(state: JobState, event: EventLike) -> JobState:
    return replace(state, finished=True)


_FACTS = frozenset({"wiggle", "answer", "tick", "undo", "touched"})
_CHANGES = {
    "job-opened": _opened,
    "plan": _plan,
    "leads": _leads,
    "leads-done": _leads_done,
    "lead-proven": _proven,
    "left-out": _left_out,
    "lead-unproven": _unproven,
    "board": _board,
    "caution": _caution,
    "answer": _answer,
    "accepted": _accepted,
    "tick": _tick,
    "undo": _undo,
    "touched": _touched,
    "scan": _scan,
    "verdict": _verdict,
    "wiggle": _wiggle,
    "aborted": _aborted,
    "initials": _initials,
    "note": _note,
    "photo": _photo,
    "function-check": _function_check,
    "finished": _finished,
}
