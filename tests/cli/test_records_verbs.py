"""The log a year later: found, shown, compared, reported, moved, verified."""

import csv
import json
import shlex
import shutil
import time
from datetime import UTC, datetime
from pathlib import Path
from xml.etree import ElementTree

import pypdf
import pytest

from tester.cli.main import main
from tester.cli.records import Local
from tester.job.job import Job
from tester.records.search import Query
from tester.records.store import Store
from tester.reports.pages import moment
from tester.shipped import shipped


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A log with the demo's record in it."""
    log = tmp_path_factory.mktemp("log") / "log.db"
    assert main(["demo", "--json", "--log", str(log)]) == 0
    return log


@pytest.fixture
def log(told: Path, tmp_path: Path) -> Path:
    """A copy of that log for one test."""
    return Path(shutil.copy(told, tmp_path / "log.db"))


def call(capsys: pytest.CaptureFixture[str], *arguments: object) -> tuple[int, str, str]:
    capsys.readouterr()
    status = main(["records", *map(str, arguments)])
    out, err = capsys.readouterr()
    return status, out, err


@pytest.mark.parametrize("text", ["", "FEN-0412", "side-door", "d-13", "1"])
def test_a_record_is_found_by_tag_plan_cavity_and_number(
    text: str, log: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    status, out, _ = call(capsys, "list", *([text] if text else []), "--log", log, "--json")
    assert status == 0 and [one["verdict"] for one in json.loads(out)["records"]] == ["PASS"]


def test_what_is_not_there_is_not_found(log: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert call(capsys, "list", "no-such-tag", "--log", log)[1] == "no record found\n"
    status, _, err = call(capsys, "show", "99", "--log", log)
    assert status == 3 and "99" in err


def test_a_record_tells_its_story_in_order(log: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = call(capsys, "show", "1", "--log", log)[1]
    story = [out.index(words) for words in ("as found", "ticked", "verdict FAIL", "handled again", "verdict PASS")]
    assert story == sorted(story)


def test_replay_with_a_corrected_plan_leaves_the_stored_verdict_as_it_is(
    log: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    plan = shipped("fixtures", "plans", "side-door.toml").read_text()
    other = tmp_path / "corrected.toml"
    other.write_text(plan.replace('b = { cavity = "H-25", terminal', 'b = { cavity = "H-26", terminal'))
    status, out, _ = call(capsys, "replay", "1", "--with-plan", other, "--log", log, "--json")
    result = json.loads(out)
    assert status == 0
    assert (result["verdict"], result["stored_verdict"]["verdict"]) == ("FAIL", "PASS")
    assert {"H-25", "H-26"} <= {name for fault in result["faults"] for name in fault["cavities"]}


@pytest.mark.parametrize(("form", "begins"), [
    ("html", b"<!doctype html>"), ("pdf", b"%PDF"), ("csv", b"record"), ("json", b"{"), ("junit", b"<?xml"),
])  # fmt: skip
def test_reports_are_files_of_their_kind(
    form: str, begins: bytes, log: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    place = tmp_path / "report"
    assert call(capsys, "report", "1", "--format", form, "--output", place, "--log", log)[0] == 0
    assert place.read_bytes().lower().lstrip(b"\xef\xbb\xbf").startswith(begins.lower())


@pytest.mark.parametrize(
    ("verb", "ending", "begins"),
    [("report", "PDF", b"%pdf"), ("report", "csv", b"record"), ("report", "json", b"{"), ("report", "xml", b"<?xml"),
     ("report", "page", b"<!doctype html>"), ("label", "pdf", b"%pdf"), ("label", "svg", b"<svg")],
)  # fmt: skip
def test_without_a_format_the_ending_of_the_file_tells_it(
    verb: str, ending: str, begins: bytes, log: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    place = tmp_path / f"made.{ending}"
    assert call(capsys, verb, "1", "--output", place, "--log", log)[0] == 0
    assert begins in place.read_bytes()[:200].lower()


def test_the_customer_page_names_the_work_and_the_label_the_end_of_the_chain(
    log: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    page, label = tmp_path / "customer.html", tmp_path / "label.svg"
    assert call(capsys, "report", "1", "--customer", "--output", page, "--log", log)[0] == 0
    assert "D-13" in page.read_text()
    bench = tmp_path / "bench.html"
    assert call(capsys, "report", "1", "--output", bench, "--log", log)[0] == 0
    assert "none stored on the board" in bench.read_text()
    assert call(capsys, "label", "1", "--output", label, "--log", log)[0] == 0
    assert "<svg" in label.read_text()


def test_label_and_report_name_the_head_of_the_record_wherever_it_is_read(
    log: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A year later, at another bench with jobs of its own: what is printed again is what the customer has in hand."""
    label, archive, other = tmp_path / "label.svg", tmp_path / "move.lw", tmp_path / "other.db"
    assert call(capsys, "label", "1", "--output", label, "--log", log)[0] == 0
    at_home = label.read_bytes()
    with Store.open(log) as store:
        last = store.read(store.jobs(Query())[0].job)[-1]
        assert f">{last.bench}:{last.serial}<".encode() in at_home and last.hash[:16].encode() in at_home
        store.new_job({"later": 1})
    assert call(capsys, "label", "1", "--output", label, "--log", log)[0] == 0 and label.read_bytes() == at_home
    assert call(capsys, "export", archive, "--log", log)[0] == 0
    with Store.open(other, "OTHER") as store:
        store.new_job({"own": 1})
    assert call(capsys, "import", archive, "--log", other)[0] == 0
    assert call(capsys, "label", last.job, "--output", label, "--log", other)[0] == 0 and label.read_bytes() == at_home
    page = tmp_path / "page.json"
    assert call(capsys, "report", last.job, "--format", "json", "--output", page, "--log", other)[0] == 0
    head = json.loads(page.read_bytes())["head"]
    assert head == f"{last.bench}:{last.serial}:{last.hash}"
    assert call(capsys, "verify", "--log", other, "--head", head)[0] == 0


def test_a_pass_that_work_has_outdated_stands_nowhere(
    log: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with Store.open(log) as store:
        Job.take_up(store, "1").touched(why="a terminal was pushed back")
    (row,) = json.loads(call(capsys, "list", "--log", log, "--json")[1])["records"]
    assert row["verdict"] == "NOT TESTED" and "PASS" not in call(capsys, "list", "--log", log)[1]
    shown = json.loads(call(capsys, "show", "1", "--log", log, "--json")[1])
    assert (shown["verdict"], shown["stale"]) == ("NOT TESTED", True)
    assert "Test again" in call(capsys, "show", "1", "--log", log)[1]
    made = {}
    for form in ("html", "pdf", "csv", "json", "junit"):
        assert call(capsys, "report", "1", "--format", form, "--output", tmp_path / form, "--log", log)[0] == 0
        made[form] = (tmp_path / form).read_bytes()
    pdf = " ".join(page.extract_text() for page in pypdf.PdfReader(tmp_path / "pdf").pages)
    for page in (made["html"].decode(), pdf):
        before, _, earlier = page.replace("ok: PASS.", "").partition("Earlier results of this job")  # legend of faces
        assert "NOT TESTED" in before and "PASS" not in before and "PASS" in earlier
    rows = list(csv.DictReader(made["csv"].decode("utf-8-sig").splitlines()))
    assert [(row["cavity"], row["verdict"]) for row in rows] == [("", "NOT TESTED")]
    assert json.loads(made["json"])["verdict"] is None
    suite = ElementTree.fromstring(made["junit"])[0]
    assert suite.get("errors") == "1" and b"PASS" not in made["junit"]
    for words in (["report", "1", "--customer"], ["label", "1"]):
        assert call(capsys, *words, "--output", tmp_path / "out", "--log", log)[0] == 0
        text = (tmp_path / "out").read_text()
        assert "NOT TESTED" in text and "PASS" not in text


def test_each_limit_says_what_its_reading_gave(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    thin = [str(shipped("fixtures", *parts)) for parts in (
        ("plans", "side-door-full.toml"), ("harnesses", "side-door-heater-thin.toml"),
        ("leads", "side-door-leads.toml"), ("scans", "side-door-heater-before.json"),
    )]  # fmt: skip
    log, page = tmp_path / "log.db", tmp_path / "page.json"
    words = ["test", "--plan", thin[0], "--board", f"virtual:{thin[1]}", "--leads", thin[2], "--as-found", thin[3]]
    assert main([*words, "--side", "left", "--steps-done", "--log", str(log)]) == 1
    assert call(capsys, "report", "1", "--format", "json", "--output", page, "--log", log)[0] == 0
    lines = json.loads(page.read_bytes())["limits"]
    assert {line["what"]: line["result"] for line in lines if line["result"] != "within"} == {"D-14 to H-22": "FAIL"}
    assert len(lines) > 15


def test_a_record_against_itself_shows_no_change(log: Path, capsys: pytest.CaptureFixture[str]) -> None:
    status, out, _ = call(capsys, "compare", "1", "1", "--log", log)
    assert status == 0 and out.startswith("No change")


def test_a_log_moves_to_another_bench_and_verifies_there(
    log: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    archive, other = tmp_path / "move.lw", tmp_path / "other.db"
    status, out, _ = call(capsys, "export", archive, "--log", log, "--json")
    (head,) = json.loads(out)["heads"]
    assert status == 0
    assert call(capsys, "import", archive, "--log", other)[0] == 0
    assert json.loads(call(capsys, "import", archive, "--log", other, "--json")[1])["events"] == 0
    assert call(capsys, "verify", "--log", other, "--head", head)[0] == 0
    assert call(capsys, "verify", "--log", log, "--head", head.replace(":", ":9", 1))[0] == 1


def test_a_customer_reference_is_found_then_gone_and_the_chain_still_whole(
    log: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert call(capsys, "customer", "1", "order 4711", "--log", log)[0] == 0
    assert json.loads(call(capsys, "list", "order 4711", "--log", log, "--json")[1])["records"]
    assert call(capsys, "forget", "order 4711", "--log", log)[0] == 0
    assert call(capsys, "forget", "order 4711", "--log", log)[0] == 3
    assert b"order 4711" not in log.read_bytes()
    assert call(capsys, "verify", "--log", log)[0] == 0


def test_figures_say_that_one_record_is_little(log: Path, capsys: pytest.CaptureFixture[str]) -> None:
    status, out, _ = call(capsys, "figures", "--log", log)
    assert status == 0 and "First-pass yield: 0 of 1" in out and "Note:" in out


def test_a_photo_is_kept_and_something_else_is_refused(
    log: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    photo, text = tmp_path / "d13.jpg", tmp_path / "d13.txt"
    photo.write_bytes(b"\xff\xd8\xff\xe0" + bytes(200))
    text.write_text("no photo")
    assert call(capsys, "photo", "1", photo, "--about", "the old terminal", "--log", log)[0] == 0
    status, _, err = call(capsys, "photo", "1", text, "--log", log)
    assert status == 3 and "d13.txt" in err
    assert "photo d13.jpg" in call(capsys, "show", "1", "--log", log)[1]


@pytest.mark.parametrize("wrong", ["0", "-1", "x", "1.5", "9" * 20])
def test_how_many_at_most_is_a_whole_number_above_zero(
    wrong: str, log: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    status, _, err = call(capsys, "list", "--limit", wrong, "--log", log)
    assert status == 3 and "--limit" in err


def test_json_goes_into_the_file_that_was_named(log: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    place = tmp_path / "figures.json"
    status, out, _ = call(capsys, "figures", "--json", "--output", place, "--log", log)
    assert (status, json.loads(out)) == (0, {"written": str(place)})
    assert "First-pass yield" in json.loads(place.read_text())["figures"]


def test_the_demo_says_where_its_record_is(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    place = tmp_path / "my log.db"
    assert main(["demo", "--log", str(place)]) == 0
    line = next(line for line in capsys.readouterr().out.splitlines() if line.startswith("Next: loomwright "))
    assert main(shlex.split(line.removeprefix("Next: loomwright "))) == 0


def test_a_page_shows_each_moment_in_the_time_that_held_then(monkeypatch: pytest.MonkeyPatch) -> None:
    """The rule of the European Union, written as POSIX has it (from memory): last Sundays of March and October."""
    monkeypatch.setenv("TZ", "CET-1CEST,M3.5.0,M10.5.0/3")
    time.tzset()
    try:
        shown = [moment(datetime(2026, month, 1, 12, tzinfo=UTC), Local()) for month in (1, 7)]
    finally:
        monkeypatch.undo()
        time.tzset()
    assert shown == ["2026-01-01 13:00 CET", "2026-07-01 14:00 CEST"]
