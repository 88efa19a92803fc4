"""Taking a job up again: what it began with holds, and what was recorded is kept when a scan breaks off."""

import json
from pathlib import Path

import pytest

from tester.cli.main import main
from tester.shipped import shipped


def part(*names: str) -> str:
    return str(shipped("fixtures", *names))


PLAN, LEADS = part("plans", "side-door.toml"), part("leads", "side-door-leads.toml")
FOUND, AFTER = part("scans", "side-door-heater-before.json"), part("harnesses", "side-door-heater-after.toml")


def told(capsys: pytest.CaptureFixture[str], *words: object) -> tuple[int, str, str]:
    capsys.readouterr()
    status = main(list(map(str, words)))
    return status, *capsys.readouterr()


@pytest.fixture
def begun(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> tuple[list[object], str]:
    """A job that ended NOT TESTED, since no step was done: the words to go on with it, and its record."""
    log = tmp_path / "log.db"
    words = ["test", "--board", f"virtual:{AFTER}", "--leads", LEADS, "--log", log, "--json"]
    status, out, _ = told(capsys, *words, "--plan", PLAN, "--as-found", FOUND, "--side", "left")
    assert (status, json.loads(out)["verdict"]) == (2, "NOT TESTED")
    record = json.loads(out)["record"]
    return [*words, "--resume", record], record


@pytest.mark.parametrize(
    "more", [["--plan", PLAN], ["--side", "right"], ["--celsius", "0"], ["--tag", "X"], ["--job", "7"]]
)
def test_what_a_job_began_with_is_not_given_again(
    more: list[str], begun: tuple[list[object], str], capsys: pytest.CaptureFixture[str]
) -> None:
    """Another plan named beside --resume was passed over in silence, and the verdict taken for one by that plan."""
    status, _, err = told(capsys, *begun[0], *more, "--steps-done")
    assert status == 3 and "keeps its own" in err and more[0] in err


def test_another_as_found_scan_is_refused(begun: tuple[list[object], str], capsys: pytest.CaptureFixture[str]) -> None:
    other = part("scans", "side-door-plain-before.json")
    status, _, err = told(capsys, *begun[0], "--as-found", other, "--steps-done")
    assert status == 3 and f"record {begun[1]} holds another as-found scan" in err
    assert told(capsys, *begun[0], "--as-found", FOUND, "--steps-done")[0] == 0


def test_a_job_that_is_taken_up_goes_on(begun: tuple[list[object], str], capsys: pytest.CaptureFixture[str]) -> None:
    status, out, _ = told(capsys, *begun[0], "--steps-done")
    assert (status, json.loads(out)["verdict"], json.loads(out)["record"]) == (0, "PASS", begun[1])


def test_the_recording_is_kept_when_the_board_refuses(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    live = tmp_path / "live.toml"
    live.write_text('format = 1\n[[voltage]]\nat = "D-3"\nvolts = 12.0\nohms = 100\n')
    place = tmp_path / "line.rec"
    status, _, err = told(capsys, "scan", "--board", f"virtual:{live}", "--leads", LEADS, "--recording", place)
    assert status == 4 and "voltage" in err
    assert b"MEAS:VOLT?".hex() in place.read_text()


def test_the_dropout_watch_takes_one_lead_map(capsys: pytest.CaptureFixture[str]) -> None:
    status, _, err = told(capsys, "wiggle", "--board", f"virtual:{AFTER}", "--leads", LEADS, "--leads", LEADS)
    assert status == 3 and "takes one lead map" in err
