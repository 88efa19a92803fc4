"""The command line, with one line on a pipe for each event once the log has acknowledged it. Run with ``python -m``.

ACKS=FD python -m tests.support.acknowledged ARGUMENTS...

Nothing of the run is changed but this: when the outermost transaction of the log is left, ``ack SERIAL HASH`` goes out
for each event in it, one write a line, so that a kill cannot leave half a line buffered.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from tester.cli.main import main
from tester.records.events import Event
from tester.records.store import Store

PIPE = int(os.environ["ACKS"])
waiting: list[Event] = []
depth = 0
_append, _together = Store._append, Store.together


def append(log: Store, *given: Any, **named: Any) -> Event:
    event = _append(log, *given, **named)
    waiting.append(event)
    return event


@contextmanager
def together(log: Store) -> Iterator[None]:
    global depth
    depth += 1
    try:
        with _together(log):
            yield
    except BaseException:
        waiting.clear()
        raise
    finally:
        depth -= 1
    if not depth:
        for event in waiting:
            os.write(PIPE, f"ack {event.serial} {event.hash}\n".encode())
        waiting.clear()


if __name__ == "__main__":
    Store._append, Store.together = append, together  # type: ignore[method-assign]
    sys.exit(main(sys.argv[1:]))
