"""A process that writes records and says on its output what it was told is stored. Run with ``python -m``.

    writer WHERE BENCH RECORDS [SEED [loose]]

One line ``ack JOB SERIAL HASH`` after each acknowledged append; pairs of events that belong together are written in one
transaction and acknowledged after it. RECORDS 0 goes on until killed. ``loose`` turns syncing off, for checks that
must then fail.
"""

from __future__ import annotations

import os
import random
import sys

from tester.records.events import Draft, Event
from tester.records.store import Store


def say(*parts: object) -> None:
    """One line in one write, so that a kill cannot leave half of it buffered."""
    os.write(1, (" ".join(map(str, parts)) + "\n").encode())


def acknowledge(event: Event) -> None:
    say("ack", event.job, event.serial, event.hash)


def main(where: str, bench: str, records: int, seed: int = 1, loose: bool = False) -> None:
    rng = random.Random(seed)
    with Store.open(where, bench, patience=120) as log:
        if loose:
            log.engine.run("PRAGMA synchronous = OFF")
        begun = [] if records else log.jobs()
        open_jobs = [summary.job for summary in begun if summary.job.startswith(bench) and summary.events < 12]
        say("ready", *open_jobs[:1])
        done = 0
        while not records or done < records:
            job = open_jobs.pop(0) if open_jobs else log.new_job({"seed": seed}, terms={"tag": f"T-{done}"})
            say("job", job)
            frame = rng.randbytes(rng.choice((100, 4000, 60000)))
            acknowledge(log.append(job, "scan", {"purpose": "as found"}, {"walk": frame}))
            for step in range(rng.randint(1, 4)):
                acknowledge(log.append(job, "tick", {"step": f"s{step}"}, terms={"cavity": f"H-{rng.randint(1, 32)}"}))
            number = rng.randrange(10**9)
            pair = log.append_all([Draft(job, "verdict", {"pair": number}), Draft(job, "initials", {"pair": number})])
            for event in pair:
                acknowledge(event)
            done += 1


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2], int(sys.argv[3]), *map(int, sys.argv[4:5]), loose=sys.argv[5:] == ["loose"])
