"""Screens without a board: the log, the form and its refusals, windows, notes, ticks and their undoing."""

from __future__ import annotations

import tempfile
import time
from pathlib import Path
from typing import Any

import pytest

from tester.bench.app import BenchApp
from tester.bench.session import Options
from tester.bench.worker import BoardWorker, Talk
from tester.errors import BoardError
from tests.bench.bench_support import Bench, left_half


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Bench:
    monkeypatch.setattr(BenchApp, "connect", lambda app: None)
    return Bench(tmp_path)


async def test_an_empty_log_says_how_to_begin_and_n_opens_the_form(bench: Bench) -> None:
    async with bench.running(plan="", leads=[], board=""):
        await bench.until_text("no job yet: press n to begin one")
        await bench.keys("n")
        await bench.until(lambda: "INTAKE" in bench.strip, "the form")


async def test_a_job_is_found_by_its_tag_and_taken_up_where_it_was_left(bench: Bench) -> None:
    record = bench.prepare("work sheet")
    async with bench.running(plan="", leads=[], board=""):
        await bench.until_text(record)
        await bench.keys("slash")
        await bench.type("xyz")
        await bench.until_text("nothing fits")
        await bench.keys("backspace", "backspace", "backspace")
        await bench.type("T1")
        await bench.keys("enter")
        await bench.until_text(record)
        await bench.keys("enter")
        await bench.until(lambda: "WORK SHEET" in bench.strip, "the work sheet")


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("format = 1\nid = [", "plan.toml"),
        ("format = nan\n", "plan.toml"),
        ("format = 1\nidd = 'x'\n", "idd"),
        (None, "folder"),
    ],
    ids=["no TOML", "NaN", "unknown key", "a folder"],
)
async def test_a_bad_plan_is_told_in_the_form_and_nothing_ends(bench: Bench, content: str | None, said: str) -> None:
    if content is None:
        bench.plan.unlink()
        bench.plan.mkdir()
    else:
        bench.plan.write_text(content)
    async with bench.running(board=""):
        await bench.until(lambda: said in "".join(bench.text().split()), said)
        bench.app.stage.query_one("#in-customer").focus()
        await bench.keys("enter")
        assert "INTAKE" in bench.strip and bench.job is None and "!" in bench.strip


async def test_a_record_that_is_not_there_leads_to_the_list_with_a_word_why(bench: Bench) -> None:
    async with bench.running(plan="", leads=[], board="", record="BENCH-9999"):
        await bench.until(lambda: " ! " in bench.strip, "the refusal")
        assert "9999" in bench.strip


async def test_a_log_that_cannot_be_opened_is_told_and_the_status_says_not_stored(bench: Bench) -> None:
    bench.log.mkdir()
    async with bench.running(plan="", leads=[], board=""):
        await bench.until(lambda: " ! " in bench.strip, "the trouble")
        await bench.keys("q")
    assert bench.app.return_value == 5


async def test_help_lists_the_keys_of_this_screen_and_the_signs(bench: Bench) -> None:
    async with bench.running(
        plan="",
        leads=[],
        board="",
        record=bench.prepare("work sheet"),
    ):
        await bench.until(lambda: "WORK SHEET" in bench.strip, "the work sheet")
        await bench.keys("question_mark")
        await bench.until_text("keys of this screen")
        assert "this step is done" in bench.text() and "Focus" not in bench.text()
        await bench.keys("escape")
        await bench.until(lambda: "keys of this screen" not in bench.text(), "help closed")


async def test_every_command_can_be_found_by_name(bench: Bench) -> None:
    async with bench.running(plan="", leads=[], board="", record=bench.prepare("work sheet")):
        await bench.until(lambda: "WORK SHEET" in bench.strip, "the work sheet")
        names = {command.title for command in bench.app.get_system_commands(bench.app.screen)}
        assert {"done", "flip", "note", "photo", "sound on/off", "leave", "touch"} <= names
        assert "undo" not in names, "nothing is ticked yet"
        await bench.keys("colon")
        await bench.until(lambda: type(bench.app.screen).__name__ == "CommandPalette", "the command list")


async def test_ticks_are_undone_and_steps_that_must_wait_say_for_what(bench: Bench) -> None:
    async with bench.running(plan="", leads=[], board="", record=bench.prepare("work sheet")):
        await bench.until(lambda: "WORK SHEET" in bench.strip, "the work sheet")
        await bench.keys("down", "enter")
        assert "must wait: first step 1" in bench.strip
        await bench.keys("home", "enter")
        assert set(bench.job.state.ticks) == {"open-a"} and bench.job.state.ticks["open-a"].how == "hand"
        await bench.keys("u")
        assert not bench.job.state.ticks and bench.app.stage.step.id == "open-a"


async def test_notes_and_photos_go_into_the_record_and_a_wrong_file_name_is_told(bench: Bench) -> None:
    picture = bench.folder / "harness.jpg"
    picture.write_bytes(b"\xff\xd8 not really")
    async with bench.running(plan="", leads=[], board="", record=bench.prepare("work sheet")):
        await bench.until(lambda: "WORK SHEET" in bench.strip, "the work sheet")
        await bench.keys("b")
        await bench.type("seal torn at D")
        await bench.keys("enter")
        assert bench.job.state.notes == ("seal torn at D",)
        await bench.keys("p")
        bench.app.screen.query_one("#answer").value = str(bench.folder / "other.jpg")
        await bench.keys("enter")
        assert "no such photo" in " ".join(bench.strip.split()) and " ! " in bench.strip
        await bench.until_text("check the name")
        await bench.keys("p")
        bench.app.screen.query_one("#answer").value = str(picture)
        await bench.keys("enter")
        assert bench.job.state.photos[0]["name"] == "harness.jpg"


async def test_sounds_go_off_and_colours_change_by_a_key(bench: Bench) -> None:
    async with bench.running(plan="", leads=[], board=""):
        await bench.until_text("no job yet")
        await bench.keys("m", "l")
        assert not bench.app.sounds.on and bench.app.theme == "bench-light"
        await bench.keys("l")
        assert bench.app.theme == "bench-dark"


async def test_what_was_not_tested_stands_before_the_initials(bench: Bench) -> None:
    async with bench.running(plan="", leads=[], board="", record=bench.prepare("as left")):
        await bench.until(lambda: bench.app.stage.STAGE == "work sheet", "the job")
        bench.app.call_later(bench.app.show_stage, "finish")
        await bench.until_text("Not scanned as left: NOT TESTED")
        await bench.keys("enter")
        await bench.until_text("Initials of the builder")
        assert "NOT TESTED" in bench.text()


class Silent:
    """A board that hangs in whatever it is asked."""

    info: Any = "silent board"

    def state(self) -> None:
        time.sleep(60)

    def off(self) -> None:
        """Nothing."""

    def close(self) -> None:
        """Nothing."""


def test_the_worker_lets_the_app_go_while_a_board_hangs_and_keeps_no_process_alive() -> None:
    heard: list[Any] = []
    worker = BoardWorker(Silent, heard.append)
    worker.start()
    worker.do("hang", lambda talk: time.sleep(60))
    time.sleep(0.2)
    began = time.monotonic()
    assert worker.close() is False
    assert time.monotonic() - began < 1.0
    assert worker._thread.daemon


def test_work_is_stopped_replaced_and_told_with_its_own_number() -> None:
    heard: list[Any] = []
    worker = BoardWorker(Silent, heard.append)

    def turning(talk: Talk) -> None:
        while True:
            talk.check()
            talk.pause(0.01)

    worker.start()
    first = worker.do("first", turning)
    time.sleep(0.1)
    second = worker.do("second", lambda talk: "well")
    time.sleep(0.3)
    worker.close()
    ended = {one.number: one for one in heard if type(one).__name__ == "WorkDone"}
    assert ended[first].stopped and ended[second].result == "well"


def test_an_error_of_ours_in_the_worker_reaches_the_screen_and_a_lost_board_is_looked_for_again() -> None:
    heard: list[Any] = []
    opened: list[int] = []

    def opening() -> Silent:
        opened.append(1)
        return Silent()

    def lost(talk: Talk) -> None:
        raise BoardError("the port failed", code="port")

    worker = BoardWorker(opening, heard.append)
    worker.start()
    worker.do("bug", lambda talk: 1 / 0)
    time.sleep(0.2)
    worker.do("lost", lost)
    time.sleep(0.4)
    worker.close()
    failed = [one for one in heard if type(one).__name__ == "WorkFailed"]
    assert "internal error: ZeroDivisionError" in failed[0].error.message and not failed[0].lost
    assert failed[1].lost and len(opened) == 2


def test_options_left_out_have_values() -> None:
    options = Options(None, board="virtual:x")
    assert options.virtual and options.sound and options.leads == []


async def test_function_checks_are_not_flipped_by_a_slip_and_can_be_taken_back(bench: Bench) -> None:
    async with bench.running(plan="", leads=[], board="", record=bench.prepare("judged")):
        await bench.until(lambda: bench.job is not None, "the job")
        bench.app.call_later(bench.app.show_stage, "after installing")
        await bench.until_text("the lamp is lit")
        assert "Hands out of the way of windows" in " ".join(bench.text().split())
        await bench.keys("n")
        assert bench.job.state.function_checks == {"lamp": "not ok"}
        await bench.keys("enter", "enter")
        assert bench.job.state.function_checks == {"lamp": "not ok"}, "Enter on an answered one changes nothing"
        await bench.keys("y")
        await bench.until_text("It was answered: not ok")
        await bench.keys("n")
        assert bench.job.state.function_checks == {"lamp": "not ok"}
        await bench.keys("y", "y")
        await bench.until(lambda: bench.job.state.function_checks == {"lamp": "ok"}, "changed after the question")
        await bench.keys("u")
        assert bench.job.state.function_checks == {} and "taken back" in bench.strip
        await bench.keys("enter")
        assert bench.job.state.function_checks == {"lamp": "ok"}


async def test_the_flip_key_says_so_where_no_face_stands_and_takes_no_room_there(bench: Bench) -> None:
    async with bench.running((120, 40), plan="", leads=[], board="", record=bench.prepare("judged")):
        await bench.until(lambda: bench.job is not None, "the job")
        await bench.until_text("f flip")
        for stage in ("finish", "after installing", "jobs", "leads"):
            bench.app.call_later(bench.app.show_stage, stage)
            await bench.until(lambda stage=stage: stage.replace("jobs", "") == bench.app.stage.STAGE, stage)
            await bench.pilot.pause()
            if stage == "leads":
                bench.app.stage.query_one("#faces").display = False
                bench.app.stage.refresh_bindings()
                await bench.pilot.pause()
            assert "f flip" not in bench.text()
            bench.app.clear_notifications()
            await bench.keys("f")
            await bench.until(lambda: any("nothing to flip" in one.message for one in bench.app._notifications), "told")


async def test_the_strip_marks_the_comeback_and_touch_to_find(bench: Bench) -> None:
    async with bench.running(plan="", leads=[], board="", record=bench.prepare("judged")):
        await bench.until(lambda: bench.job is not None, "the job")
        for stage in ("comeback", "find"):
            bench.app.call_later(bench.app.show_stage, stage)
            await bench.until(lambda stage=stage: f"▐{stage.upper()}▌" in bench.strip, stage)
            assert "the job stands at stage 5 of 8: as left" in bench.strip


async def test_the_finish_stage_names_steps_by_their_numbers_on_the_sheet(bench: Bench) -> None:
    async with bench.running((120, 40), plan="", leads=[], board="", record=bench.prepare("judged")):
        await bench.until(lambda: bench.job is not None, "the job")
        for stage in ("as left", "finish"):
            bench.app.call_later(bench.app.show_stage, stage)
            await bench.until(lambda stage=stage: stage == bench.app.stage.STAGE, stage)
            await bench.until(lambda: "(step 3)" in " ".join(left_half(bench).split()), "the number")
            assert "w1-b" not in bench.text()


async def test_lead_maps_of_a_record_are_written_out_once_and_taken_away_at_the_end(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    spare = bench.folder / "spare"
    spare.mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(spare))
    async with bench.running(plan="", leads=[], board="", record=bench.prepare("judged")):
        await bench.until(lambda: bench.job is not None, "the job")
        paths = bench.app.session.leads_paths()
        assert [path.read_text() for path in paths] == [path.read_text() for path in bench.leads]
        assert bench.app.session.leads_paths() == paths and len(list(spare.rglob("*.toml"))) == 1
    assert not list(spare.iterdir())


HOSTILE_TITLE = "Lamp [bold]x[/] [red"


@pytest.mark.parametrize(
    "stage", ["intake", "leads", "as found", "work sheet", "as left", "wiggle", "finish", "comeback", "find", "jobs"]
)
async def test_brackets_in_names_are_shown_as_they_are_on_every_screen(bench: Bench, stage: str) -> None:
    """A name that is read as markup vanishes silently, or ends the app."""
    text = bench.plan.read_text().replace("Courtesy lamp, small door", HOSTILE_TITLE)
    bench.plan.write_text(text.replace('"door side"', '"door [/] [b"').replace('"the lamp is lit"', '"[red]lit[/]"'))
    record = bench.prepare("judged", tag="T[bold]1[/]", customer="[/x] [red")
    async with bench.running((160, 40), plan="", leads=[], board="", record=record):
        await bench.until(lambda: bench.job is not None, "the job")
        bench.job.note("[/] [red]note")
        bench.app.call_later(bench.app.show_stage, stage)
        await bench.until(lambda: stage.replace("jobs", "") == bench.app.stage.STAGE and bench.app.stage.built, stage)
        await bench.until(lambda: HOSTILE_TITLE in bench.strip and "T[bold]1[/]" in bench.strip, "the strip")
        if stage in ("as found", "as left", "wiggle", "comeback", "find"):
            await bench.until_text("door [/] [b")
        if stage == "intake":
            await bench.until_text("[/x] [red")
        if stage == "jobs":
            await bench.until(lambda: "T[bold]1[/]" in bench.text().split("search", 1)[1], "in the list")
        bench.app.stage.say(HOSTILE_TITLE * 8)
        await bench.keys("question_mark")
        await bench.until_text("keys of this screen")
        assert HOSTILE_TITLE in bench.text()
