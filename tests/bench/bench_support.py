"""Driving the bench app in tests: a small invented harness, the virtual board on a real pseudo-terminal, keys."""

from __future__ import annotations

import asyncio
import contextlib
import json
import time
from collections.abc import AsyncIterator, Callable
from pathlib import Path
from typing import Any

from textual.pilot import Pilot

from tester.bench.app import BenchApp
from tester.bench.session import Options
from tester.bench.strip import TopStrip
from tester.harness.netlist import Netlist
from tester.harness.reading import Measured
from tester.job.job import Job
from tester.job.scanfile import measured_object
from tester.records.store import Store, remember_bench

PLAN = """
format = 1
id = "small-door"
revision = "A"
title = "Courtesy lamp, small door"
checks = ["continuity", "isolation"]
prove_leads = false

[hazards]
restraint = "none"
high_voltage = "none"
checked = "wiring book of an invented van, sheet 3"

[[connector]]
id = "A"
title = "door side"
cavities = 6
rows = ["1-3", "4-6"]
moulded = [1, 3, 4, 6]

[[connector]]
id = "B"
title = "lamp side"
cavities = 6
rows = ["1-3", "4-6"]
moulded = [1, 3, 4, 6]

[[wire]]
id = "W1"
colour = "BU/RD"
size_mm2 = 0.5
a = { cavity = "A-5" }
b = { cavity = "B-5" }

[[step]]
id = "open-a"
do = "unlock"
connector = "A"

[[step]]
id = "w1-a"
do = "insert"
wire = "W1"
end = "a"

[[step]]
id = "w1-b"
do = "insert"
wire = "W1"
end = "b"

[[step]]
id = "tug"
do = "tug"
cavity = "A-5"

[[function]]
id = "lamp"
do = "open the door"
see = "the lamp is lit"
"""
LEADS = (
    'format = 1\nid = "small-leads"\nidentity = [[20, 21]]\nprobe = 22\n[channels]\n'
    + "".join(f'{n} = "A-{n}"\n' for n in range(1, 7))
    + "".join(f'{n + 6} = "B-{n}"\n' for n in range(1, 7))
)
BEFORE = (("A-1", "B-1"), ("A-2", "B-2"), ("A-3", "B-3"), ("A-4", "B-4"))
AFTER = (*BEFORE, ("A-5", "B-5"))
WRONG = (*BEFORE, ("A-5", "B-6"))
CAVITIES = tuple(f"{connector}-{n}" for connector in "AB" for n in range(1, 7))


def harness(*links: tuple[str, str], more: str = "") -> str:
    """A virtual harness with these links."""
    text = "format = 1\n"
    for a, b in links:
        text += f'[[link]]\na = "{a}"\nb = "{b}"\nohms = 0.05\n'
    return text + more


def left_half(bench: Bench) -> str:
    """What stands left of the list of cavities."""
    return "\n".join(line.split("▏")[0] for line in bench.text().splitlines())


class Bench:
    """Files of one test, and the running app."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.app: BenchApp = None  # type: ignore[assignment]
        self.pilot: Pilot[Any] = None  # type: ignore[assignment]
        self.plan = self.write("plan.toml", PLAN)
        self.leads = [self.write("leads.toml", LEADS)]
        self.harness = self.write("before.toml", harness(*BEFORE))
        self.log = folder / "log.db"

    def write(self, name: str, text: str) -> Path:
        """A file for this test."""
        path = self.folder / name
        path.write_text(text, encoding="utf-8")
        return path

    def options(self, **more: Any) -> Options:
        """The command line of this test."""
        given = {
            "board": f"virtual:{self.harness}",
            "leads": [str(path) for path in self.leads],
            "plan": str(self.plan),
            "log": str(self.log),
        }
        return Options(**{**given, **more})

    @contextlib.asynccontextmanager
    async def running(self, size: tuple[int, int] = (80, 24), **more: Any) -> AsyncIterator[Bench]:
        """The app on a screen of this size."""
        self.app = BenchApp(self.options(**more), environ={"COLORTERM": "truecolor"})
        async with self.app.run_test(size=size) as self.pilot:
            await self.until(lambda: self.app.stage is not None and self.app.stage.built, "the first screen")
            yield self

    def prepare(self, stage: str, **intake: str) -> str:
        """A job brought to this stage beforehand, through the same calls that the screens make. Returns its record."""
        with Store.open(self.log, bench="BENCH") as log:
            remember_bench(log)
            job = Job.start(
                log,
                plan=(str(self.plan), self.plan.read_text()),
                leads=[(str(path), path.read_text()) for path in self.leads],
                intake={"job": "J7", "tag": "T1", "by": "AB", **intake},
            )
            if stage != "leads":
                for one in job.cautions():
                    job.acknowledge(one.id, "AB")
                job.leads_done()
            if stage not in ("leads", "as found"):
                found = Measured(Netlist.of(BEFORE, CAVITIES), grade="wire", proven=frozenset(CAVITIES))
                job.keep_scan_file("as found", json.dumps(measured_object(found)), "before.json")
                for question in job.questions():
                    job.answer(question.id, False)
            if stage in ("as left", "judged"):
                job.tick_all(by="AB")
            if stage == "judged":
                left = Measured(Netlist.of(WRONG, CAVITIES), grade="wire", proven=frozenset(CAVITIES))
                job.keep_scan_file("as left", json.dumps(measured_object(left)), "wrong.json")
                job.judge()
            return job.record

    @contextlib.asynccontextmanager
    async def at(self, stage: str, size: tuple[int, int] = (80, 24), **more: Any) -> AsyncIterator[Bench]:
        """The app at this stage of a prepared job, the board there."""
        async with self.running(size, record=self.prepare(stage), **more):
            if stage == "as left":
                self.app.call_later(self.app.show_stage, stage)
            await self.until(lambda: stage.upper() in self.strip, stage)
            await self.until(lambda: self.app.board_state in ("rest", "driving"), "the board")
            yield self

    async def keys(self, *keys: str) -> None:
        """Press keys one after the other, as a person does."""
        for key in keys:
            await self.pilot.press(key)
            await self.pilot.pause()

    async def type(self, text: str) -> None:
        """Type text."""
        for char in text:
            await self.pilot.press(
                {" ": "space", "-": "minus", "/": "slash", ".": "full_stop", "_": "underscore"}.get(char, char)
            )
        await self.pilot.pause()

    async def until(self, what: Callable[[], Any], name: str = "", seconds: float = 20.0) -> None:
        """Wait until something is so; fail with the screen's text when it never is."""
        end = time.monotonic() + seconds
        while not what():
            if time.monotonic() > end:
                raise AssertionError(f"never came: {name}\n{self.text() if self.app else ''}")
            await asyncio.sleep(0.02)
        await self.pilot.pause()

    async def until_text(self, text: str, seconds: float = 20.0) -> None:
        """Wait until the screen shows this."""
        await self.until(lambda: text in self.text(), repr(text), seconds)

    def text(self) -> str:
        """What a person sees now, as plain text."""
        width = self.app.size.width
        return "\n".join(strip.crop(0, width).text.rstrip() for strip in self.app.screen._compositor.render_strips())

    @property
    def strip(self) -> str:
        """Text of the strip of the stage."""
        assert self.app.stage is not None
        return self.app.stage.query_one(TopStrip).text()

    @property
    def job(self) -> Any:
        """The open job."""
        return self.app.session.job

    async def rehearse(self, command: str) -> None:
        """Something happens at the virtual bench."""
        assert self.app.worker is not None
        worker = self.app.worker
        await asyncio.get_running_loop().run_in_executor(None, self.app.session.rehearse, worker, command)

    # The way through the stages, by keys

    async def intake(self) -> None:
        """Fill in the form."""
        await self.until(lambda: "INTAKE" in self.strip, "intake")
        self.app.stage.query_one("#in-job").focus()
        await self.pilot.pause()
        for text in ("J7", "T1", "AB", ""):
            await self.type(text)
            await self.keys("enter")
        await self.until(lambda: "LEADS" in self.strip, "leads")

    async def leads_ready(self) -> None:
        """Acknowledge every caution, have the board checked, go on."""
        for _ in range(len(self.job.cautions())):
            await self.keys("enter")
        await self.until(lambda: self.app.board_state == "rest", "the board")
        await self.keys("enter")
        await self.until(lambda: "voltage, drivers" in self.text() and "checked" in self.text(), "checked")

    async def as_found(self) -> None:
        """Scan as found and answer what is asked."""
        await self.keys("d")
        await self.until(lambda: "AS FOUND" in self.strip, "as found")
        await self.keys("enter")
        await self.until(lambda: self.job.state.newest_scan("as found") is not None, "as-found scan")
        while self.app.session.resolved().questions:
            await self.keys("n")

    async def to_sheet(self) -> None:
        """From the intake to the work sheet."""
        await self.intake()
        await self.leads_ready()
        await self.as_found()
        await self.keys("enter")
        await self.until(lambda: "WORK SHEET" in self.strip, "work sheet")
