"""A harness that may be wet, led through by keys: refused, photographed, dried, measured again, or scanned in part."""

from __future__ import annotations

import asyncio
import json
import re
from pathlib import Path

import pytest

from tester.bench.picks import PickList
from tester.cli.main import main
from tester.harness.netlist import Netlist
from tester.harness.reading import Measured
from tester.job.job import Job
from tester.job.replay import replay_wire
from tester.job.scanfile import measured_object
from tester.records.store import Store
from tests.bench.bench_support import AFTER, BEFORE, CAVITIES, LEADS, Bench, harness

WET = '[[voltage]]\nat = "{}"\nvolts = 0.6\nohms = 8000\n'
SCAN = json.dumps(measured_object(Measured(Netlist.of(AFTER, CAVITIES), grade="wire")))
LIVE = '[[voltage]]\nat = "B-2"\nvolts = 12.6\nohms = 50\n'


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return Bench(tmp_path)


async def plug(bench: Bench, name: str, *links: tuple[str, str], wet: tuple[str, ...] = (), more: str = "") -> None:
    """Another harness lies on the leads."""
    text = harness(*links, more="".join(WET.format(cavity) for cavity in wet) + more)
    await bench.rehearse(f"harness {bench.write(name + '.toml', text)}")


async def scans(bench: Bench, count: int) -> None:
    """Wait for the scan with this number, as it is stored."""
    await bench.until(lambda: len(bench.job.state.scans) == count, f"scan {count}")


async def prove(bench: Bench) -> None:
    """On the leads stage: check the board, touch every cavity that is asked for, go back."""
    await bench.until(lambda: "LEADS" in strip(bench), "leads")
    stage = bench.app.stage
    assert "Clean the lead set" in strip(bench)
    await bench.keys("enter")
    await bench.until(lambda: stage.checked, "checked")
    stage.query_one(PickList).go("proof 0")
    await bench.pilot.pause()
    assert "prove it again by touch" in strip(bench)
    await bench.keys("enter")
    await bench.until(lambda: stage.proof.running, "the proof")
    while stage.proof.running and stage.proof.next:
        now = stage.proof.next
        await bench.rehearse(f"touch {now}")
        await bench.until(lambda now=now: stage.proof.next != now, f"{now} answers")
        await bench.rehearse("release")
        await asyncio.sleep(0.15)
    await bench.until(lambda: not stage.proof.running, "the end of the proof")
    await bench.keys("d")


def strip(bench: Bench) -> str:
    """The strip as one line, wherever it was folded."""
    return " ".join(bench.strip.split())


def lines(bench: Bench) -> str:
    """What the newest verdict says."""
    return " ".join(bench.job.state.verdict["says"])


def replayed(bench: Bench, record: str) -> int:
    """Scans of a record whose every byte on the line was played back; a refused run has its bytes too."""
    with Store.open(bench.log, read_only=True) as log:
        job = Job.take_up(log, record)
        aborted = [event for event in job.events() if event.kind == "aborted"]
        assert aborted and all(event.blobs["recording"] for event in aborted)
        return replay_wire(job)


def verdict(bench: Bench) -> str:
    return str(bench.job.state.verdicts[-1].verdict["verdict"])


@pytest.mark.campaign
async def test_a_wet_harness_never_passes_until_the_lead_set_is_proven_again(bench: Bench) -> None:
    async with bench.at("as left"):
        await plug(bench, "wet", *AFTER, wet=("B-2",))
        await bench.keys("enter")
        await bench.until_text("Possibly wet: A-2 and B-2")
        assert (
            "photograph it (p)" in strip(bench)
            and "s measures again" in strip(bench)
            and "e scans the rest" in strip(bench)
        )
        assert "B-2: +0.60 V behind" in bench.text() and "Photograph it as it is" in bench.text()
        await bench.keys("e", "n")
        assert not bench.job.state.left_out and not bench.app.stage.scanning
        await bench.keys("e")
        await bench.until_text("cannot be PASS")
        await bench.keys("y")
        await scans(bench, 2)
        assert verdict(bench) == "NOT TESTED"
        assert "Not tested: possibly wet, left out of the scan: A-2 and B-2" in " ".join(
            bench.job.state.verdict["says"]
        )
        assert "Clean the lead set, then press c" in strip(bench) and "A-2    2 joined" not in bench.text()

        await plug(bench, "dry", *AFTER)
        await bench.keys("s")
        await scans(bench, 3)
        assert verdict(bench) == "NOT TESTED", "a whole scan of a dry harness, the leads not yet proven"
        assert "clean it and prove it again by touch" in lines(bench)
        assert not bench.job.state.left_out and "Clean the lead set" in strip(bench)

        await plug(bench, "none")
        await bench.keys("c")
        await prove(bench)
        await bench.until(lambda: "AS LEFT" in strip(bench), "back where it was")
        assert verdict(bench) == "NOT TESTED" and "proven again" in strip(bench)
        await plug(bench, "dry", *AFTER)
        await bench.keys("s")
        await scans(bench, 4)
        assert verdict(bench) == "PASS"
        kinds = [event.kind for event in bench.job.events()]
        assert kinds.count("left-out") == 1 and kinds.index("aborted") < kinds.index("left-out")
        page = bench.folder / "page.html"
        record = bench.job.record
    assert main(["records", "report", record, "--log", str(bench.log), "--output", str(page)]) == 0
    text = re.sub("<[^>]*>", "", page.read_text())
    assert "Possibly wet, left out of a scan" in text and "as left: A-2 and B-2" in text
    assert replayed(bench, record) == 3


@pytest.mark.campaign
async def test_a_comeback_is_led_through_and_says_what_it_did_not_look_at(bench: Bench) -> None:
    async with bench.running(record=bench.prepare("judged")):
        await bench.until(lambda: bench.app.board_state == "rest", "the board")
        bench.job.photo("from-the-first-job.png", b"old")
        bench.job.touched(why="a year later")
        bench.job.keep_scan_file("as left", SCAN, "left.json")
        await plug(bench, "wet", *AFTER, wet=("B-2",))
        bench.app.call_later(bench.app.show_stage, "comeback")
        await bench.until_text("job opened")
        assert "Photograph first (p)" in strip(bench)
        await bench.keys("s")
        await bench.until_text("Possibly wet: A-2 and B-2")
        await bench.keys("p")
        await bench.type(str(bench.write("now.png", "picture")))
        await bench.keys("enter")
        await bench.until(lambda: len(bench.job.state.photos) == 2, "the photo")
        await bench.until_text("✓ Photograph it as it is")
        assert "photograph" not in strip(bench) and "let it dry" in strip(bench)
        record = bench.job.record
    async with bench.running(record=record):  # left and taken up again: the guide stands there as before
        bench.app.call_later(bench.app.show_stage, "comeback")
        await bench.until_text("Possibly wet: A-2 and B-2")
        await bench.until(lambda: bench.app.board_state == "rest", "the board")
        await plug(bench, "wet", *AFTER, wet=("B-2",))
        await bench.keys("s")
        await bench.until(lambda: len(bench.job.state.aborted) == 2, "measured again: still wet")
        await bench.keys("e", "y")
        await bench.until(lambda: bench.job.state.newest_scan("comeback") is not None, "the scan of the rest")
        await bench.until_text("Possibly wet, left out: A-2")
        assert "not tested" in bench.text() and "Clean the lead set" in strip(bench)
        await bench.keys("c")
        await bench.until(lambda: "LEADS" in strip(bench), "leads")
        bench.job.prove(CAVITIES, at=0)
        await bench.keys("d")
        await bench.until(lambda: "The lead set is proven again" in strip(bench), "back at what changed")


async def test_a_real_voltage_is_refused_with_volts_and_cavity_and_nothing_else_is_offered(bench: Bench) -> None:
    async with bench.at("as left"):
        for more, wet in ((LIVE, ()), (LIVE, ("B-3",))):
            before = len(bench.job.state.aborted)
            await plug(bench, "live", *AFTER, wet=wet, more=more)
            await bench.keys("s")
            await bench.until(lambda before=before: len(bench.job.state.aborted) > before, "the refusal")
            assert "voltage present" in strip(bench) and "A-2 +" in strip(bench) and "B-2 +" in strip(bench)
            await bench.keys("e")
            assert bench.app.screen is bench.app.stage and "scan the rest" not in bench.text()
            assert not bench.job.state.scans[1:] and not bench.job.state.left_out


async def test_wet_cavities_of_several_rounds_add_up(bench: Bench) -> None:
    first = LEADS.replace("small-leads", "one").replace("identity = [[20, 21]]\n", "")
    second = first.replace('"one"', '"two"')
    for n in range(4, 7):
        first = first.replace(f'{n + 6} = "B-{n}"\n', "")
    for n in range(1, 4):
        second = second.replace(f'{n + 6} = "B-{n}"\n', "")
    bench.leads = [bench.write("one.toml", first), bench.write("two.toml", second)]
    async with bench.at("as left"):
        await plug(bench, "wet", *AFTER[:4], wet=("B-2", "B-5"))
        await bench.keys("s")
        await bench.until_text("Possibly wet: A-2 and B-2.")
        await bench.keys("e", "y")
        await bench.until_text("Possibly wet: A-2, B-2 and B-5")
        await bench.keys("e", "y")
        await scans(bench, 2)
        assert bench.job.state.newest_scan("as left").left_out == {"A-2", "B-2", "B-5"}
        assert bench.job.state.unclean >= {"A-1", "B-1", "B-6"}, "both lead sets went to a wet cavity"
        assert verdict(bench) != "PASS"
        record = bench.job.record
    assert replayed(bench, record) == 1


async def test_the_watch_of_the_work_sheet_leads_the_same_way(bench: Bench) -> None:
    async with bench.at("work sheet"):
        await bench.until(lambda: bench.app.stage.watching.on, "the board watches")
        await bench.keys("o")
        await bench.until(lambda: not bench.app.stage.watching.on, "it no longer watches")
        await plug(bench, "wet", *BEFORE, wet=("B-2",))
        await bench.keys("o")
        await bench.until_text("Possibly wet: A-2 and B-2")
        assert "o measures again" in strip(bench)
        await bench.keys("e", "y")
        await bench.until(
            lambda: bench.app.stage.watching.on and bench.app.stage.watching.partners, "it watches the rest"
        )
        assert "A-2" not in bench.app.stage.watching.partners and bench.app.stage.watching.partners["A-1"] == ("B-1",)
        assert bench.job.state.unclean


@pytest.mark.campaign
async def test_the_leads_stage_leads_the_same_way_and_an_incomplete_as_found_forbids_pass(bench: Bench) -> None:
    bench.harness = bench.write("wet.toml", harness(*BEFORE, more=WET.format("B-2")))
    async with bench.at("leads"):
        for _ in range(len(bench.job.cautions())):
            await bench.keys("enter")
        await bench.until(lambda: bench.app.board_state == "rest", "the board")
        await bench.keys("enter")
        await bench.until_text("Possibly wet: A-2 and B-2")
        assert "Enter measures again" in strip(bench)
        await bench.keys("e", "y")
        await bench.until(lambda: bench.app.stage.checked, "checked without them")
        await bench.keys("d")
        await bench.until(lambda: "AS FOUND" in strip(bench), "as found")
        await bench.keys("enter")
        await bench.until(lambda: bench.app.stage.wet.found is not None, "refused again")
        await bench.keys("e", "y")
        await scans(bench, 1)
        while bench.app.session.resolved().questions:
            await bench.keys("n")
        assert "Not seen, possibly wet: A-2 and B-2" in strip(bench)
        bench.job.tick_all()
        bench.job.prove(bench.job.leads[0].cavities)
        await plug(bench, "dry", *AFTER)
        bench.app.call_later(bench.app.show_stage, "as left")
        await bench.until(lambda: "AS LEFT" in strip(bench), "as left")
        await bench.keys("s")
        await scans(bench, 2)
        assert verdict(bench) == "NOT TESTED"
        assert "possibly wet, left out of the scan as found: A-2 and B-2" in lines(bench)


async def test_a_lead_set_known_by_its_jumpers_needs_no_second_touch_on_the_same_day(bench: Bench) -> None:
    async with bench.at("as found"):
        await bench.until(lambda: bench.job.state.board, "the board's serial number")
        bench.job.prove(CAVITIES, at=0)
        first = bench.job.record
    async with bench.at("leads"):
        assert bench.job.record != first
        for _ in range(len(bench.job.cautions())):
            await bench.keys("enter")
        await bench.until(lambda: bench.app.board_state == "rest", "the board")
        await bench.keys("enter")
        await bench.until(lambda: bench.app.stage.checked, "checked")
        assert not bench.job.state.proven
        await bench.rehearse("touch A-1")  # the probe hanging somewhere changes nothing of the jumpers
        await bench.keys("enter")
        await bench.until(lambda: bench.app.stage.proof.known, "known by its jumpers")
        assert bench.job.state.proven == set(CAVITIES)
        await bench.until_text("12/12")
        assert f"touched in {first}" in " ".join(bench.app.stage.proof.words("identity 0").split())
