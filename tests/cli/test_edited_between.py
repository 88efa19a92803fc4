"""Files edited between the as-found and the as-left scan: never a PASS that rests on the edit."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from tester.cli.main import main
from tester.shipped import shipped

PLAN = shipped("fixtures", "plans", "side-door.toml")
LEADS = shipped("fixtures", "leads", "side-door-leads.toml")
FOUND = shipped("fixtures", "scans", "side-door-plain-before.json")
AFTER = shipped("fixtures", "harnesses", "side-door-plain-after.toml")


def exchanged(text: str) -> str:
    return text.replace('"D-1"', "@").replace('"D-2"', '"D-1"').replace("@", '"D-2"')


def judged(leads: Path, harness: Path, folder: Path, capsys: pytest.CaptureFixture[str]) -> tuple[int, dict[str, Any]]:
    words = ["test", "--plan", str(PLAN), "--side", "left", "--answer", "occupied D-13=no", "--steps-done", "--json"]
    words += ["--leads", str(leads), "--wired-by", str(LEADS), "--board", f"virtual:{harness}"]
    status = main([*words, "--as-found", str(FOUND), "--log", str(folder / "log.db")])
    return status, json.loads(capsys.readouterr().out)


def test_a_lead_map_edited_after_the_as_found_scan_does_not_make_a_wrong_harness_right(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Two wires sit exchanged in the harness, and the lead map was made to agree: it passed."""
    wrong, edited = tmp_path / "wrong.toml", tmp_path / "leads.toml"
    wrong.write_text(exchanged(AFTER.read_text("utf-8")))
    edited.write_text(exchanged(LEADS.read_text("utf-8")))
    status, told = judged(edited, wrong, tmp_path, capsys)
    assert (status, told["verdict"]) == (2, "NOT TESTED")
    reasons = [one for one in told["untested"] if "mapped otherwise" in one["why"]]
    assert [one["names"] for one in reasons] == [["D-1", "D-2"]]
    assert main(["records", "replay", told["record"], "--log", str(tmp_path / "log.db")]) == 0
    assert "The stored verdict is the same." in capsys.readouterr().out
    status, told = judged(LEADS, wrong, tmp_path, capsys)
    assert (status, told["verdict"]) == (1, "FAIL")


def test_a_lead_map_with_a_comment_more_still_passes(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    same = tmp_path / "leads.toml"
    same.write_text(LEADS.read_text("utf-8") + "# read again\n")
    status, told = judged(same, AFTER, tmp_path, capsys)
    assert (status, told["verdict"]) == (0, "PASS")
