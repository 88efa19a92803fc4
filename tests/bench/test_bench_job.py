"""The whole job by keys, against the virtual board on a real pseudo-terminal."""

from __future__ import annotations

import asyncio
import re
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from tester.bench.cavities import CavityList
from tester.bench.face import FaceView
from tester.bench.lineview import Lines
from tester.bench.messages import WorkFailed
from tester.board.client import Board
from tester.errors import BoardError
from tester.job import measure
from tests.bench.bench_support import AFTER, BEFORE, LEADS, PLAN, WRONG, Bench, harness

ROOT = Path(__file__).parents[2]


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return Bench(tmp_path)


async def test_a_job_goes_from_intake_to_a_closed_record_that_passes(bench: Bench) -> None:
    async with bench.running():
        await bench.to_sheet()
        await bench.until(lambda: bench.app.stage.watching.on, "the board watches")
        await bench.keys("enter", "enter")
        await bench.rehearse(f"harness {bench.write('after.toml', harness(*AFTER))}")
        await bench.until(lambda: bench.job.state.ticks.get("w1-b") or "sees it" in bench.strip, "seen by the board")
        while any(step.state == "open" for step in bench.app.session.steps()):
            await bench.keys("enter")
        await bench.keys("s", "enter")
        await bench.until(lambda: bench.job.state.verdict is not None, "a verdict")
        assert bench.job.state.verdict["verdict"] == "PASS", bench.text()
        assert "PASS: continuity" in bench.text() and "not tested" in bench.text()
        await bench.keys("enter")
        await bench.until(lambda: "FINISH" in bench.strip, "finish")
        await bench.keys("enter", "enter", "enter")
        await bench.type("CD")
        await bench.keys("enter", "enter")
        await bench.until(lambda: bench.job.state.finished, "closed")
        assert bench.job.state.initials == {"builder": "AB", "tester": "CD"}
        await bench.keys("enter")
        await bench.until_text("the lamp is lit")
        await bench.keys("enter")
        assert bench.job.state.function_checks == {"lamp": "ok"}


async def test_a_miswire_is_told_at_once_named_as_left_and_passes_after_rework(bench: Bench) -> None:
    async with bench.at("work sheet"):
        await bench.until(lambda: bench.app.stage.watching.on, "the board watches")
        await bench.keys("enter", "enter")
        await bench.rehearse(f"harness {bench.write('wrong.toml', harness(*WRONG))}")
        await bench.until_text("B-6")
        await bench.until(lambda: "wrong" in bench.app.sounds.played, "the sound for wrong")
        assert "✗" in bench.text()
        while any(step.state == "open" for step in bench.app.session.steps()):
            await bench.keys("enter")
        await bench.keys("s", "enter")
        await bench.until(lambda: bench.job.state.verdict is not None, "a verdict")
        assert bench.job.state.verdict["verdict"] == "FAIL"
        assert "FAIL" in bench.text() and "B-5" in bench.text() and "✗6◂" in bench.text()
        await bench.rehearse(f"harness {bench.write('after.toml', harness(*AFTER))}")
        await bench.keys("r", "y")
        await bench.until(
            lambda: bench.job.state.verdict is not None and bench.job.state.verdict["verdict"] == "PASS", "PASS"
        )
        assert "PASS: continuity" in bench.text()


async def test_a_voltage_is_refused_with_volts_and_cavity_before_anything_drives(bench: Bench) -> None:
    live = '[[voltage]]\nat = "B-2"\nvolts = 12.6\nohms = 50\n'
    bench.harness = bench.write("live.toml", harness(*BEFORE, more=live))
    async with bench.at("leads"):
        for _ in range(len(bench.job.cautions())):
            await bench.keys("enter")
        await bench.until(lambda: bench.app.board_state == "rest", "the board")
        await bench.keys("enter")
        await bench.until(lambda: "voltage present" in bench.strip, "the refusal")
        assert re.search(r"B-2 \+\d+\.\d+ V", bench.strip)
        await bench.keys("d")
        assert "LEADS" in bench.strip and bench.job.state.aborted


async def test_nothing_drives_before_every_caution_is_acknowledged_by_name(bench: Bench) -> None:
    async with bench.at("leads"):
        await bench.keys("enter", "end", "enter")
        assert "Caution" in bench.strip or "First" in bench.strip
        await bench.keys("d")
        assert "LEADS" in bench.strip and "caution" in bench.strip
        assert bench.job.state.cautions == {"battery": "AB"}


async def test_a_board_unplugged_mid_job_is_told_waited_for_and_the_job_goes_on(bench: Bench) -> None:
    async with bench.at("as found"):
        await bench.rehearse("unplug")
        await bench.until(lambda: "BOARD LOST" in bench.strip or "looking for the board" in bench.strip, "told")
        await bench.until(lambda: bench.app.board_state == "rest", "the board is back")
        await bench.keys("enter")
        await bench.until(lambda: bench.job.state.newest_scan("as found") is not None, "the scan")


@pytest.fixture
def held(monkeypatch: pytest.MonkeyPatch) -> Iterator[threading.Event]:
    """Every scan waits where its first channels have answered until this is set: what happens meanwhile is mid-scan."""
    go, take = threading.Event(), measure.take_scan

    def waiting(board: Any, maps: Any, *, progress: Callable[[int, int], None], **more: Any) -> Any:
        def step(done: int, total: int) -> None:
            progress(done, total)
            if done:
                go.wait(20)

        return take(board, maps, progress=step, **more)

    monkeypatch.setattr(measure, "take_scan", waiting)
    yield go
    go.set()


def unmarked(bench: Bench) -> bool:
    """True when faces and list say nothing of any cavity."""
    text = bench.app.stage.query_one(FaceView).text() + bench.app.stage.query_one(CavityList).text()
    return not set(text) & set("✓✗●○") and " with " not in text and "joined to" not in text


async def test_a_rework_whose_scan_breaks_off_leaves_no_mark_of_the_verdict_before(
    bench: Bench, held: threading.Event
) -> None:
    async with bench.running(record=bench.prepare("judged")):
        await bench.until(lambda: bench.app.board_state == "rest", "the board")
        assert not unmarked(bench)
        await bench.keys("r", "y")
        await bench.until(lambda: " of 12" in bench.strip and not unmarked(bench), "the middle of the scan")
        assert not unmarked(bench)
        await bench.keys("x")
        held.set()
        await bench.until(lambda: not bench.app.stage.scanning, "the end of the scan")
        assert unmarked(bench), bench.text()
        assert "Not scanned since the last step" in bench.text() and "stored" not in bench.strip


async def test_a_scan_that_loses_the_board_counts_for_nothing_and_is_asked_for_again(
    bench: Bench, held: threading.Event
) -> None:
    async with bench.at("as found"):
        await bench.keys("enter")
        await bench.until(lambda: " of 12" in bench.strip and not unmarked(bench), "the middle of the scan")
        await bench.rehearse("unplug")
        held.set()
        await bench.until(lambda: bench.job.state.aborted, "an end")
        await bench.until(lambda: bench.app.board_state == "rest", "the board is back")
        assert bench.job.state.newest_scan("as found") is None
        await bench.until(lambda: "s to scan again" in bench.strip, "the next step")
        assert unmarked(bench), bench.text()
        await bench.keys("s")
        await bench.until(lambda: bench.job.state.newest_scan("as found") is not None, "the scan")


async def test_a_cancelled_scan_leaves_the_board_at_rest_and_counts_for_nothing(
    bench: Bench, held: threading.Event
) -> None:
    async with bench.at("as found"):
        await bench.keys("enter")
        await bench.until(lambda: " of 12" in bench.strip and not unmarked(bench), "the middle of the scan")
        await bench.keys("x")
        held.set()
        await bench.until(lambda: not bench.app.stage.scanning, "the end of the scan")
        assert bench.job.state.newest_scan("as found") is None
        assert "cancelled" in bench.strip
        assert unmarked(bench), bench.text()
        assert bench.job.state.aborted[-1]["purpose"] == "as found"
        await bench.until(lambda: bench.app.board_state == "rest", "the board at rest")


@pytest.mark.campaign
async def test_another_lead_set_is_told_by_its_identity_jumpers(bench: Bench) -> None:
    other = bench.write("other.toml", Path(bench.leads[0]).read_text().replace("[[20, 21]]", "[[20, 23]]"))
    async with bench.at("leads", wired_by=str(other)):
        await bench.leads_ready()
        await bench.keys("enter")
        await bench.until(lambda: "not lead set small-leads" in bench.strip, "the refusal")
        await bench.keys("d")
        await bench.until_text("Plug in the right one")
        assert not bench.job.state.leads_done and "LEADS" in bench.strip
        bench.app.worker.tell_virtual("leads", str(bench.leads[0]))
        await bench.keys("home")
        while not bench.app.stage.query_one("#picks").key.startswith("identity"):
            await bench.keys("down")
        await bench.keys("enter")
        await bench.until(lambda: not bench.app.stage.proof.another(), "the right set")
        await bench.keys("d")
        await bench.until(lambda: bench.job.state.leads_done, "leads done")


async def test_what_failed_for_another_stage_is_not_told_as_a_failure_of_the_leads(bench: Bench) -> None:
    async with bench.at("leads"):
        aborted = len(bench.job.state.aborted)
        stage = bench.app.stage
        stage.work_failed(WorkFailed(999, "as found", BoardError("no longer answers", code="link"), True))
        assert len(bench.job.state.aborted) == aborted


@pytest.mark.campaign
async def test_exchanged_leads_are_named_while_the_leads_are_proven(bench: Bench) -> None:
    text = "\n".join(line for line in Path(bench.leads[0]).read_text().splitlines() if "B-" not in line)
    bench.leads = [bench.write("half.toml", text)]
    mirrored = text.replace('2 = "A-2"', '2 = "A-#"').replace('3 = "A-3"', '3 = "A-2"').replace("A-#", "A-3")
    bench.harness = bench.write("empty.toml", "format = 1\n")
    async with bench.at("leads", wired_by=str(bench.write("mirrored.toml", mirrored))):
        await bench.leads_ready()
        await bench.keys("end", "enter")
        stage = bench.app.stage
        await bench.until(lambda: stage.proof.running, "the proof")
        asked: set[str] = set()
        while stage.proof.running and stage.proof.next and len(asked) < 12:
            now = stage.proof.next
            asked.add(now)
            seen = len(bench.app.sounds.played)
            await bench.rehearse(f"touch {now}")
            await bench.until(lambda seen=seen: len(bench.app.sounds.played) > seen, f"an answer to {now}")
            await bench.rehearse("release")
            await asyncio.sleep(0.4)
            if stage.proof.next == now and stage.proof.event.kind == "unsure":
                asked.discard(now)
            elif stage.proof.next == now:
                await bench.keys("k")
                await bench.until(lambda now=now: stage.proof.next != now, "the next one")
        await bench.until(lambda: not stage.proof.running, "the end of the proof")
        assert any(re.search(r"A-[23] and A-[23] are exchanged", finding) for finding in stage.proof.findings), (
            stage.proof.findings
        )
        assert bench.job.state.proven == {"A-1", "A-4", "A-5", "A-6"}


async def test_touch_to_find_names_cavity_and_circuit(bench: Bench) -> None:
    async with bench.at("work sheet"):
        await bench.keys("t")
        await bench.until_text("nothing touched")
        await bench.rehearse("touch B-2")
        await bench.until_text("in a circuit with")
        assert "▸2◂" in bench.text() and "found" in bench.app.sounds.played
        await bench.keys("escape")
        await bench.until(lambda: "WORK SHEET" in bench.strip, "back")


async def test_two_rounds_are_led_through(bench: Bench) -> None:
    first = 'format = 1\nid = "round-one"\n[channels]\n' + "".join(f'{n} = "A-{n}"\n' for n in range(1, 7))
    both = first + "".join(f'{n + 6} = "B-{n}"\n' for n in range(1, 4))
    two = first.replace("round-one", "round-two") + "".join(f'{n + 6} = "B-{n}"\n' for n in range(4, 7))
    bench.leads = [bench.write("one.toml", both), bench.write("two.toml", two)]
    async with bench.at("as found"):
        await bench.keys("enter")
        await bench.until(lambda: bench.job.state.newest_scan("as found") is not None, "both rounds")
        assert bench.app.session.as_found().netlist.partners("A-4") == ("B-4",)
        assert bench.app.session.as_found().netlist.partners("A-1") == ("B-1",)
        assert len(bench.job.state.newest_scan("as found").blobs) >= 1


async def test_on_a_real_board_the_person_is_asked_to_move_the_leads_and_no_cancels(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    rewire = Board.rewire
    monkeypatch.setattr(Board, "rewire", lambda board, path: rewire(board, path) and False)
    both = LEADS.replace("small-leads", "round-one").replace('12 = "B-6"\n', "").replace("identity = [[20, 21]]", "")
    bench.leads = [bench.write("one.toml", both), bench.write("two.toml", LEADS.replace("small-leads", "round-two"))]
    async with bench.at("as found"):
        await bench.keys("enter")
        await bench.until_text("Round 2 of 2: move the leads")
        assert "round-two" in bench.text()
        await bench.keys("n")
        await bench.until(lambda: not bench.app.stage.scanning, "cancelled")
        assert "cancelled" in bench.strip and bench.job.state.newest_scan("as found") is None
        await bench.keys("s")
        await bench.until_text("Round 2 of 2: move the leads")
        await bench.keys("y")
        await bench.until(lambda: bench.job.state.newest_scan("as found") is not None, "both rounds")


async def test_a_job_left_at_the_work_sheet_is_taken_up_there_with_its_ticks(bench: Bench) -> None:
    async with bench.at("work sheet"):
        await bench.keys("enter")
        record = bench.job.record
    async with bench.running(plan="", leads=[], record=record):
        await bench.until(lambda: "WORK SHEET" in bench.strip, "the work sheet")
        assert set(bench.job.state.ticks) == {"open-a"}
        assert bench.app.stage.step.id == "w1-a"
        await bench.until(lambda: bench.app.board_state in ("rest", "driving"), "the board without its file of leads")


async def test_the_app_closes_within_a_second_while_the_board_hangs(bench: Bench) -> None:
    async with bench.at("as found"):
        await bench.rehearse("hang")
        await bench.keys("enter")
        began = time.monotonic()
        bench.app.exit(0)
        await bench.until(lambda: not bench.app.is_running, "the end")
    assert time.monotonic() - began < 1.0


async def wiggled_loose(bench: Bench) -> None:
    """The watch begins; then one wire is loose. Were it so before, the watch might begin while it is open."""
    loose = '[[dropout]]\na = "A-5"\nb = "B-5"\nevery_ms = 300\nopen_ms = 8\n'
    await bench.keys("enter")
    await bench.until(lambda: bench.app.board_state == "driving", "the watch")
    await asyncio.sleep(0.3)
    bench.app.worker.tell_virtual("harness", str(bench.write("loose.toml", harness(*BEFORE, more=loose))))


@pytest.mark.campaign
async def test_a_dropout_is_told_with_its_circuit_and_length_while_the_harness_is_wiggled(bench: Bench) -> None:
    bench.plan.write_text(PLAN.replace('"isolation"]', '"isolation", "dropout"]') + "[limits]\nwiggle_s = 2\n")
    async with bench.at("as left"):
        await bench.rehearse(f"harness {bench.write('after.toml', harness(*AFTER))}")
        await bench.keys("enter")
        await bench.until(lambda: bench.job.state.verdict is not None, "a verdict")
        assert bench.job.state.verdict["verdict"] == "NOT TESTED"
        assert "wiggle" in bench.strip
        await bench.keys("enter")
        await bench.until_text("Enter starts the watch")
        await wiggled_loose(bench)
        await bench.until(lambda: bench.job.state.wiggles and not bench.app.stage.number, "the end of the watch")
        assert "dropout" in bench.app.sounds.played
        assert re.search(r"! A-5, B-5 .*\dx, \d", bench.text())
        assert "could have been missed" in bench.text()
        assert bench.job.state.verdict["verdict"] == "FAIL"  # at once, whichever way the person goes on
        bench.app.call_later(bench.app.show_stage, "finish")
        await bench.until_text("FAIL: ")
        bench.app.call_later(bench.app.show_stage, "wiggle")
        await bench.until_text("s goes on")
        await bench.keys("s")
        await bench.until(lambda: "AS LEFT" in bench.strip, "back to as left")
        await bench.until_text("A-5")


async def test_a_watch_that_is_left_after_it_saw_a_dropout_leaves_no_pass_behind(bench: Bench) -> None:
    bench.plan.write_text(PLAN + "[limits]\nwiggle_s = 60\n")
    async with bench.at("as left"):
        await bench.rehearse(f"harness {bench.write('after.toml', harness(*AFTER))}")
        await bench.keys("enter")
        await bench.until(lambda: bench.job.state.verdict is not None, "a verdict")
        assert bench.job.state.verdict["verdict"] == "PASS"
        bench.app.call_later(bench.app.show_stage, "wiggle")
        await bench.until_text("Enter starts the watch")
        await wiggled_loose(bench)
        await bench.until(lambda: bench.app.stage.dropped, "a dropout")
        assert bench.app.stage.number and bench.job.state.verdict["verdict"] == "FAIL"
        bench.app.call_later(bench.app.show_stage, "finish")
        await bench.until_text("FAIL: ")


async def test_a_scan_that_is_not_judged_yet_is_judged_by_enter_and_not_scanned_again(bench: Bench) -> None:
    """As after a kill between scan and verdict, or an answer that came later."""
    async with bench.at("as left"):
        await bench.rehearse(f"harness {bench.write('after.toml', harness(*AFTER))}")
        await bench.keys("enter")
        await bench.until(lambda: bench.job.state.verdict is not None, "a verdict")
        bench.job.answer("occupied A-1", True)
        assert bench.job.state.verdict is None
        bench.app.call_later(bench.app.show_stage, "finish")
        await bench.until_text("Not judged since the last change: NOT TESTED")
        bench.app.call_later(bench.app.show_stage, "as left")
        await bench.until_text("Enter judges it again")
        scans = len(bench.job.state.scans)
        await bench.keys("enter")
        await bench.until(lambda: bench.job.state.verdict is not None, "a verdict again")
        assert len(bench.job.state.scans) == scans


async def test_a_record_is_stepped_through_event_by_event(bench: Bench) -> None:
    async with bench.at("as left"):
        bench.app.call_later(bench.app.show_stage, "comeback")
        await bench.until_text("job opened")
        assert "replayed" in bench.strip
        await bench.keys("end")
        assert "done, by hand" in bench.text()
        await bench.keys("home")
        assert "1 of " in bench.strip


async def test_a_harness_that_came_back_is_scanned_again_and_its_changes_stand_beside_what_the_job_handled(
    bench: Bench,
) -> None:
    async with bench.at("as left"):
        await bench.rehearse(f"harness {bench.write('after.toml', harness(*AFTER))}")
        await bench.keys("enter")
        await bench.until(lambda: bench.job.state.verdict is not None, "a verdict")
        await bench.rehearse(f"harness {bench.write('broken.toml', harness(*AFTER[1:]))}")
        bench.app.call_later(bench.app.show_stage, "comeback")
        await bench.until_text("job opened")
        await bench.keys("s")
        await bench.until(lambda: bench.job.state.newest_scan("comeback") is not None, "the scan")
        await bench.until_text("No longer joined: A-1")
        result = bench.app.stage.query_one("#result", Lines).text()
        rows = [line.split() for line in result.splitlines()]
        assert rows == [["as", "left", "now"], ["A-1", "B-1", "nothing"], ["B-1", "A-1", "nothing"]]
        assert [one.touched for one in bench.app.session.comeback_changes()] == ["connector opened"]


async def test_what_the_intake_misses_is_told_and_the_cursor_goes_to_its_line(bench: Bench) -> None:
    bench.plan = ROOT / "fixtures/plans/side-door.toml"
    async with bench.running():
        await bench.until(lambda: "INTAKE" in bench.strip, "intake")
        await bench.pilot.pause()
        for missing, words in (
            ("in-side", "Which side? Write left or right"),
            ("in-leads", "Which leads?"),
            ("in-plan", "Which plan?"),
        ):
            bench.app.stage.query_one(f"#{missing}").value = ""
            bench.app.stage.query_one("#in-customer").focus()
            await bench.keys("enter")
            await bench.until_text(words)
            assert bench.app.focused is not None and bench.app.focused.id == missing
            assert bench.app.session.job is None


async def test_a_side_the_plan_has_not_is_told_at_its_line_until_it_is_typed(
    bench: Bench,
) -> None:
    bench.plan = ROOT / "fixtures/plans/side-door.toml"
    async with bench.running(side="lefft"):
        await bench.until_text("sides: left, right")
        bench.app.stage.query_one("#in-customer").focus()
        await bench.keys("enter")
        await bench.until_text("Which side? Write left or right")
        assert bench.app.focused is not None and bench.app.focused.id == "in-side"
        await bench.keys("backspace")
        await bench.until(lambda: " ! " not in bench.strip, "the word goes")


async def test_what_is_typed_on_a_line_is_added_to_what_stands_there(bench: Bench) -> None:
    """The path of the lead map was lost by one letter typed after coming to its line by an arrow key."""
    async with bench.running():
        await bench.until(lambda: "INTAKE" in bench.strip, "intake")
        bench.app.stage.query_one("#in-plan").focus()
        await bench.keys("down", "x")
        assert bench.app.stage.query_one("#in-leads").value == f"{bench.leads[0]}x"


async def test_a_comeback_with_nothing_to_compare_says_so_and_goes_on(bench: Bench) -> None:
    async with bench.at("as found"):
        bench.app.call_later(bench.app.show_stage, "comeback")
        await bench.until_text("job opened")
        bench.app.stage.replaying = False
        bench.app.stage.state_changed()
        await bench.until_text("Not scanned since it came back")
        await bench.keys("s")
        await bench.until(lambda: bench.job.state.newest_scan("comeback") is not None, "the scan")
        await bench.until_text("Not compared: ")
        assert "Nothing changed" not in bench.text()


async def test_a_scan_is_not_begun_while_the_board_is_not_here(bench: Bench) -> None:
    async with bench.at("as left"):
        bench.app.board_state = "seeking"
        bench.app.call_later(bench.app.stage.action_scan)
        await bench.until_text("The board is not here yet")
        assert not bench.app.stage.scanning and "live" not in bench.strip
