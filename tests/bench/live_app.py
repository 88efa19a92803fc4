"""Scripts for the speed campaign, run as programs on a pseudo-terminal: an empty Textual app, and 256 live cavities.

python -m tests.bench.live_app empty
python -m tests.bench.live_app live FOLDER SECONDS    prints updates reached and processor share as JSON into FOLDER
"""

from __future__ import annotations

import json
import random
import sys
import threading
import time
from pathlib import Path
from typing import Any

from textual.app import App, ComposeResult
from textual.widgets import Static

RATE = 30
CAVITIES = 256


class Empty(App[None]):
    """The least that a Textual app can be."""

    def compose(self) -> ComposeResult:
        yield Static("ready")


def big_plan() -> str:
    """A connector of 256 cavities, and steps enough to walk through with the arrow keys."""
    rows = ", ".join(f'"{n}-{n + 15}"' for n in range(1, CAVITIES, 16))
    steps = "".join(f'[[step]]\ndo = "look"\nsee = "seal {n}"\ncavity = "A-{n}"\n' for n in range(1, 61))
    return (
        'format = 1\nid = "big"\nrevision = "A"\nchecks = ["continuity"]\nprove_leads = false\n'
        '[hazards]\nrestraint = "none"\nhigh_voltage = "none"\nchecked = "invented"\n'
        f'[[connector]]\nid = "A"\ncavities = {CAVITIES}\nrows = [{rows}]\n{steps}'
    )


def live(folder: Path, seconds: float) -> None:
    """The work sheet of such a plan, all 256 cavities changing 30 times a second from a thread of its own."""
    from tester.bench.app import BenchApp
    from tester.bench.messages import WorkTold
    from tester.bench.session import Options
    from tester.bench.stages.watching import Seen
    from tester.harness.netlist import Netlist
    from tester.harness.reading import Measured
    from tester.job.job import Job
    from tester.job.scanfile import measured_object
    from tester.records.store import Store

    log = folder / "live.db"
    leads = 'format = 1\nid = "big"\n[channels]\n' + "".join(f'{n} = "A-{n}"\n' for n in range(1, CAVITIES + 1))
    names = [f"A-{n}" for n in range(1, CAVITIES + 1)]
    with Store.open(log) as store:
        job = Job.start(store, plan=("big.toml", big_plan()), leads=[("big-leads.toml", leads)], intake={"by": "AB"})
        for one in job.cautions():
            job.acknowledge(one.id, "AB")
        job.leads_done()
        found = Measured(Netlist.of([], names), proven=frozenset(names))
        job.keep_scan_file("as found", json.dumps(measured_object(found)), "big.json")
        record = job.record
    app = BenchApp(Options(log=str(log), record=record, no_sound=True))
    tally = {"sent": 0, "drawn": 0}

    def feed() -> None:
        rng = random.Random(256)
        while app.stage is None or app.stage.STAGE != "work sheet" or not app.stage.built:
            time.sleep(0.05)
        stage: Any = app.stage
        stage.watching.number, stage.watching.on = 77, True
        mark = stage.mark_live

        def counted(marks: Any) -> None:
            tally["drawn"] += 1
            mark(marks)

        stage.mark_live = counted
        began, used, tick = time.monotonic(), time.process_time(), 0
        while time.monotonic() - began < seconds:
            joined = {name: ("A-1",) if rng.random() < 0.5 else () for name in names}
            app.post_message(WorkTold(77, "watch", Seen(joined, ())))
            tick += 1
            time.sleep(max(0.0, began + tick / RATE - time.monotonic()))
        wall = time.monotonic() - began
        share = (time.process_time() - used) / wall
        result = {"sent": tick / wall, "reached": tally["drawn"] / wall, "share": share}
        (folder / "live.json").write_text(json.dumps(result), encoding="utf-8")

    threading.Thread(target=feed, daemon=True).start()
    app.run()


if __name__ == "__main__":
    if sys.argv[1] == "empty":
        Empty().run()
    else:
        live(Path(sys.argv[2]), float(sys.argv[3]))
