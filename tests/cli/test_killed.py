"""The program dies in mid-run: nothing acknowledged is lost, the board lets go, the job is taken up again."""

import json
import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tester.board.virtual import VirtualBoard
from tester.cli.main import main
from tester.records.store import Store
from tester.shipped import shipped
from tests.support.run_kills import Runs

HARNESS = shipped("fixtures", "harnesses", "side-door-heater-after.toml")
LEADS = shipped("fixtures", "leads", "side-door-leads.toml")
PLAN = shipped("fixtures", "plans", "side-door.toml")
LEASE_MS, RESET_MS = 500, 156  # hwspec/protocol.md, lease; hwspec/limits.toml, dead-man


@pytest.mark.campaign
def test_a_job_killed_at_any_moment_is_taken_up_again_and_passes(tmp_path: Path, capsys: object) -> None:
    log, scan = tmp_path / "log.db", tmp_path / "found.json"
    before = shipped("fixtures", "harnesses", "side-door-heater-before.toml")
    assert main(["scan", "--leads", str(LEADS), "--board", f"virtual:{before}", "--save", str(scan)]) == 0
    trace = tmp_path / "trace.jsonl"
    with VirtualBoard(HARNESS, LEADS, ("--trace", str(trace))) as board:
        command = [
            sys.executable, "-m", "tester", "test", "--plan", str(PLAN), "--leads", str(LEADS), "--as-found", str(scan),
            "--side", "left", "--steps-done", "--accept-cautions", "--log", str(log), "--board", board.port,
        ]  # fmt: skip
        for later in (0.0, 0.05, 0.15, 0.3, 0.6):
            size = trace.stat().st_size
            process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, env=os.environ)
            until = time.monotonic() + 30
            while '"pin"' not in trace.read_text()[size:] and process.poll() is None and time.monotonic() < until:
                time.sleep(0.01)
            time.sleep(later)
            process.kill()
            process.wait()
            time.sleep((LEASE_MS + RESET_MS) / 1000)
        with Store.open(log) as opened:
            assert opened.verify().whole
            left = [one for one in opened.jobs() if not one.term("verdict")]
        record = left[0].job  # one at least was killed while its channels were driven
        common = ["test", "--resume", record, "--steps-done", "--accept-cautions", "--log", str(log)]
        assert main([*common, "--board", board.port]) == 0
    with Store.open(log) as opened:
        assert opened.verify().whole
        assert {one.job: one.term("verdict") for one in opened.jobs()}[record] == "PASS"
    assert_all_released(trace)


@pytest.mark.campaign
def test_a_run_killed_at_random_moments_loses_nothing_acknowledged_and_is_taken_up_to_pass(tmp_path: Path) -> None:
    tally = Runs(tmp_path, seed=7).series(3)
    assert tally.kills == 3 and tally.lost == tally.half == 0
    assert tally.passed == tally.records > 1 and tally.acknowledged > 15


def assert_all_released(trace: Path) -> None:
    """Every channel that the chips drove was released again, none later than lease and reset allow."""
    driven: dict[str, float] = {}
    longest, seen = 0.0, 0
    for line in trace.read_text().splitlines():
        event = json.loads(line)
        if event["kind"] != "pin":
            continue
        ms, pin = event["ns"] / 1e6, str(event["what"])
        if event["state"] in ("low", "high"):
            driven.setdefault(pin, ms)
            seen += 1
        elif pin in driven:
            longest = max(longest, ms - driven.pop(pin))
    assert seen > 0 and not driven
    assert longest <= LEASE_MS + RESET_MS
