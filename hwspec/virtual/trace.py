"""What the chips did, with virtual time: driven and released channels, reset line, multiplexers, rail."""

from __future__ import annotations

import json
from collections import deque
from typing import IO, NamedTuple


class Event(NamedTuple):
    """One transition. `ns`: virtual time. `kind`: "pin", "reset", "mux", "rail", "harness", "fault" or "note".

    `what`: for "pin" the channel, else a name. `state`: for "pin" "low", "high" or "z".
    """

    ns: int
    kind: str
    what: int | str
    state: str


class Trace:
    """The last `keep` events in memory, and all of them as JSON lines in `file` if there is one."""

    def __init__(self, file: IO[str] | None = None, keep: int = 200_000) -> None:
        self.events: deque[Event] = deque(maxlen=keep)
        self._file = file

    def add(self, ns: int, kind: str, what: int | str, state: str) -> None:
        """Append one event."""
        event = Event(ns, kind, what, state)
        self.events.append(event)
        if self._file is not None:
            self._file.write(json.dumps(event._asdict()) + "\n")

    def flush(self) -> None:
        """Bring what was written to the file."""
        if self._file is not None:
            self._file.flush()

    def pins(self) -> list[Event]:
        """The pin transitions only."""
        return [event for event in self.events if event.kind == "pin"]

    def driven(self) -> set[int]:
        """Channels that drive after the last event kept."""
        last = {event.what: event.state for event in self.events if event.kind == "pin"}
        return {int(channel) for channel, state in last.items() if state != "z"}
