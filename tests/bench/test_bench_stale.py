"""A job whose newest verdict no longer counts: no screen goes on telling the old PASS."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from tester.bench.app import BenchApp
from tester.harness.netlist import Netlist
from tester.harness.reading import Measured
from tester.job.job import Job
from tester.job.scanfile import measured_object
from tester.records.store import Store
from tests.bench.bench_support import AFTER, CAVITIES, Bench, left_half

SCAN = json.dumps(measured_object(Measured(Netlist.of(AFTER, CAVITIES), grade="wire", proven=frozenset(CAVITIES))))
AFTERWARDS: dict[str, Callable[[Job], None]] = {
    "a step undone": lambda job: job.undo("tug"),
    "a new touch": lambda job: job.touched(("A-5",)),
    "an answer": lambda job: job.answer("occupied A-1", True),
}


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Bench:
    monkeypatch.setattr(BenchApp, "connect", lambda app: None)
    return Bench(tmp_path)


def passed(bench: Bench, afterwards: str = "", closed: bool = False) -> str:
    """A job that passed, with initials under it, and what happened afterwards."""
    record = bench.prepare("as left")
    with Store.open(bench.log, bench="BENCH") as log:
        job = Job.take_up(log, record)
        job.keep_scan_file("as left", SCAN, "left.json")
        assert job.judge().verdict == "PASS"
        job.initials("builder", "AB")
        job.initials("tester", "CD")
        if closed:
            job.finish()
        if afterwards:
            AFTERWARDS[afterwards](job)
    return record


@pytest.mark.parametrize("afterwards", AFTERWARDS)
@pytest.mark.parametrize("stage", ["as left", "wiggle", "finish", "after installing", "comeback", "find", "jobs"])
async def test_an_old_pass_is_told_nowhere(bench: Bench, stage: str, afterwards: str) -> None:
    record = passed(bench, afterwards, closed=True)
    async with bench.running(plan="", leads=[], board="", record=record):
        await bench.until(lambda: bench.job is not None, "the job")
        bench.app.call_later(bench.app.show_stage, stage)
        await bench.until(lambda: (stage if stage != "jobs" else "") == bench.app.stage.STAGE, stage)
        await bench.pilot.pause()
        if stage == "comeback":
            await bench.keys("end")
            assert "the verdict before no longer counts: test again" in " ".join(left_half(bench).split())
        text = bench.text().replace("A PASS says that", "").replace("PASS, no longer counts", "")
        assert "PASS" not in text, text


async def test_a_pass_that_counts_is_told(bench: Bench) -> None:
    record = passed(bench)
    async with bench.running(plan="", leads=[], board="", record=record):
        for stage in ("as left", "finish", "jobs"):
            bench.app.call_later(bench.app.show_stage, stage)
            await bench.until(lambda stage=stage: stage.replace("jobs", "") == bench.app.stage.STAGE, stage)
            await bench.until_text("PASS")


async def test_the_list_of_jobs_tells_no_pass_that_no_longer_counts(bench: Bench) -> None:
    passed(bench, "a new touch")
    async with bench.running(plan="", leads=[], board=""):
        await bench.until_text("NOT TESTED")
        assert "PASS" not in bench.text()


async def test_the_list_of_stages_says_which_is_to_be_done_again(bench: Bench) -> None:
    async with bench.running(plan="", leads=[], board="", record=passed(bench, "a new touch", closed=True)):
        await bench.until(lambda: "AFTER INSTALLING" in bench.strip, "the stage")
        await bench.keys("g")
        await bench.until_text("Go to")
        assert any("! as left" in line and "test again" in line for line in bench.text().splitlines())
        await bench.keys("escape")
        await bench.until_text("NOT TESTED: the harness was handled after the last scan")


async def test_initials_under_an_older_verdict_are_asked_for_again(bench: Bench) -> None:
    record = passed(bench, "a new touch", closed=True)
    async with bench.running(plan="", leads=[], board="", record=record):
        await bench.until(lambda: bench.job is not None, "the job")
        bench.app.call_later(bench.app.show_stage, "finish")
        await bench.until_text("its verdict no longer counts")
        assert "AB" in bench.text()
        bench.job.keep_scan_file("as left", SCAN, "left.json")
        bench.job.judge()
        bench.app.call_later(bench.app.stage.state_changed)
        await bench.until_text("(AB under an earlier verdict)")
        assert bench.job.state.signed == {}
        await bench.keys("enter")
        assert "AFTER INSTALLING" in bench.strip
