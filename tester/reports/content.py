"""What reports are made of: one job as plain values, filled in by `job` from its events."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime

from tester.harness.connectors import Face
from tester.harness.verdict import Verdict

NO_CLAIM = (
    "Nothing here is claimed on sealing, on how the harness is routed, or on its behaviour under load.",
    "It was a low-voltage test: nothing is claimed on insulation under high voltage.",
)


@dataclass(frozen=True)
class ConnectorView:
    """A connector to be drawn: its identity, what the plan calls it, and its face from the side to be looked at."""

    id: str
    title: str
    face: Face


@dataclass(frozen=True)
class StepLine:
    """A step of the work sheet. `state`: "done", "open" or "not needed"; `how`: "by hand", "seen by the board", ""."""

    id: str
    text: str
    state: str
    how: str = ""
    at: datetime | None = None
    by: str = ""


@dataclass(frozen=True)
class LimitLine:
    """A limit that was applied: to what, the reading, the limit, where the limit comes from, the result in words."""

    what: str
    reading: str
    limit: str
    source: str
    result: str = ""


@dataclass(frozen=True)
class ReworkLine:
    """An earlier verdict of the job: when, its headline, its faults as sentences."""

    at: datetime
    headline: str
    faults: tuple[str, ...] = ()


@dataclass(frozen=True)
class PhotoLine:
    """A photo: file name, SHA-256, what it shows, and the picture itself if it is to be in the page.

    `content` is left out where there are many or large ones.
    """

    name: str
    sha256: str
    note: str = ""
    content: bytes | None = None


@dataclass(frozen=True)
class JobRecord:
    """One job for reports. Text is as people typed it; reports escape it.

    record      number, such as BENCH-0001
    title       what the plan calls the job
    changed     what was changed on the harness, a sentence each
    edited      cavities that a step touched, marked on the faces
    verdict     the one that stands; None before the first, and when work was done after the newest (`stale`), which is
                then among `rework`: no page can take it for the result
    accepted    what was odd as found and accepted before work
    wet         cavities left out of a scan, possibly wet: purpose and names, a line a time
    answers     (question, answer) of what was seen by eye
    cautions    (text, acknowledged by)
    initials    (role, initials)
    versions    (what, version): program, board, firmware, protocol, calibration, temperature
    checklist   (function, result) after installing; result "" while open
    head        chain head of the log when the report was made
    made        when the report was made
    """

    record: str
    made: datetime
    title: str = ""
    plan: str = ""
    revision: str = ""
    plan_text: str = ""
    harness: str = ""
    tag: str = ""
    side: str = ""
    variant: str = ""
    customer: str = ""
    opened: datetime | None = None
    verdict: Verdict | None = None
    verdict_at: datetime | None = None
    stale: bool = False
    connectors: tuple[ConnectorView, ...] = ()
    edited: frozenset[str] = frozenset()
    changed: tuple[str, ...] = ()
    steps: tuple[StepLine, ...] = ()
    accepted: tuple[str, ...] = ()
    answers: tuple[tuple[str, str], ...] = ()
    rework: tuple[ReworkLine, ...] = ()
    aborted: tuple[str, ...] = ()
    wet: tuple[str, ...] = ()
    limits: tuple[LimitLine, ...] = ()
    cautions: tuple[tuple[str, str], ...] = ()
    initials: tuple[tuple[str, str], ...] = ()
    versions: tuple[tuple[str, str], ...] = ()
    checklist: tuple[tuple[str, str], ...] = ()
    photos: tuple[PhotoLine, ...] = ()
    notes: tuple[str, ...] = ()
    head: str = ""
    extra: tuple[tuple[str, str], ...] = field(default=())

    def __post_init__(self) -> None:
        if self.stale and self.verdict is not None:
            raise ValueError("a verdict that work has outdated is no verdict of the record")

    @property
    def why_untested(self) -> str:
        """Why there is no result that stands, in words."""
        return "work was done after the last result: test again" if self.stale else "no test has been finished"

    @property
    def marks(self) -> dict[str, str]:
        """Verdict of each cavity."""
        return {one.cavity: one.verdict for one in self.verdict.cavities} if self.verdict else {}
