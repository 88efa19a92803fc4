"""The events of one job on a log: appended one by one, folded into the state, kept in memory when the log fails."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from typing import Any, Self

from tester.errors import StoreError
from tester.harness.verdict import NOT_TESTED
from tester.job.shapes import misfit
from tester.job.state import JobState, advance, fold, is_fact
from tester.records.events import Event
from tester.records.store import Store


class JobEvents:
    """A job's place in a log.

    `keep_going`: when the log can no longer be written, go on in memory and keep the reason in `store_error`, so
    that a verdict is still reached and shown.
    """

    def __init__(self, log: Store, record: str, events: Sequence[Event], *, keep_going: bool = False) -> None:
        self._log = log
        for event in events:
            wrong = misfit(event.kind, event.data)
            if wrong:
                raise StoreError(
                    f"record {record}: event {event.serial} of bench {event.bench}, {event.kind}: {wrong}: not as this "
                    "program writes it",
                    "records verify says whether it was changed here; an archive may have brought it.",
                )
        self._events = list(events)
        self._keep_going = keep_going
        self.store_error: StoreError | None = None
        self.record = record
        self.state: JobState = fold(events, record)

    def _append(
        self,
        kind: str,
        data: Mapping[str, Any] | None = None,
        blobs: Mapping[str, bytes] | None = None,
        terms: Mapping[str, Any] | None = None,
    ) -> None:
        data, blobs, terms = data or {}, blobs or {}, terms or {}
        if self.state.standing and is_fact(kind, data):
            terms = {"verdict": NOT_TESTED, **terms}  # so that a list of records tells no result that is stale
        try:
            event = self._log.append(self.record, kind, data, blobs, terms=terms)
        except StoreError as error:
            if not self._keep_going:
                raise
            self._go_on_in_memory(error)
            event = self._log.append(self.record, kind, data, blobs, terms=terms)
        self._events.append(event)
        self.state = advance(self.state, event)

    def _go_on_in_memory(self, error: StoreError) -> None:
        self.store_error = error
        self._log = Store.in_memory()
        first, *rest = self._events
        self.record = self._log.new_job(first.data, terms=first.terms, at=first.at)
        for event in rest:
            self._log.append(self.record, event.kind, event.data, dict(event.blobs), terms=event.terms, at=event.at)
        self.state = fold(self._events, self.record)

    @property
    def stored(self) -> bool:
        """False once the log could not be written, or for a log that is only in memory."""
        return self._log.durable and self.store_error is None

    def events(self) -> tuple[Event, ...]:
        """All events so far."""
        return tuple(self._events)

    def before(self, place: int) -> Self:
        """The job as it stood before the event at that place; to look at, nothing is appended to it."""
        return type(self)(self._log, self.record, self._events[: max(0, place - 1)])

    def at(self, place: int) -> JobState:
        """The state as it was after the event at that place."""
        return fold(self._events[:place], self.record)

    # What is told beside the measuring

    def use_board(self, facts: Mapping[str, Any]) -> None:
        """Keep which board is in use."""
        if dict(facts) != self.state.board:
            self._append("board", dict(facts), terms={"board": str(facts.get("serial", ""))})

    def initials(self, role: str, initials: str) -> None:
        """Initials of "builder" or "tester"."""
        self._append("initials", {"role": role, "initials": initials})

    def note(self, text: str) -> None:
        """A remark for the record."""
        self._append("note", {"text": text})

    def photo(self, name: str, content: bytes, about: str = "") -> None:
        """A photo, stored by its hash."""
        self._append("photo", {"name": name, "about": about, "bytes": len(content)}, {"photo": content})

    def function_check(self, item: str, result: str) -> None:
        """Result of one function check after installing: "ok", "not ok" or "not tried"; "" takes an answer back."""
        self._append("function-check", {"item": item, "result": result})

    def finish(self) -> None:
        """Close the job at the bench."""
        self._append("finished", {"at": datetime.now(UTC).isoformat(timespec="seconds")})
