"""A leak between circuits, from the virtual harness to the words of the verdict."""

import json
import math
import re
from pathlib import Path
from typing import Any

import pytest

from tester.cli.main import main
from tests.cli.test_chain import GOOD, LEADS, harness_file

DIODE = '[[diode]]\nanode = "D-1"\ncathode = "D-2"\ndrop_v = 0.6\n'
LEAK = '[[leak]]\na = "D-1"\nb = "D-3"\nohms = {ohms}\n'


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Path:
    """A folder with a plan made from a harness that has a diode in it, checked for isolation too."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    (tmp_path / "leads.toml").write_text(LEADS)
    good = harness_file(tmp_path, "good", GOOD)
    good.write_text(good.read_text() + DIODE)
    scan = ["scan", "--leads", str(tmp_path / "leads.toml"), "--board", f"virtual:{good}"]
    assert main([*scan, "--save", str(tmp_path / "good.json")]) == 0
    assert main(["plan", "from-scan", str(tmp_path / "good.json"), "--output", str(tmp_path / "plan.toml")]) == 0
    plan = (tmp_path / "plan.toml").read_text()
    (tmp_path / "plan.toml").write_text(plan.replace('checks = ["continuity"]', 'checks = ["continuity", "isolation"]'))
    (tmp_path / "limit.toml").write_text((tmp_path / "plan.toml").read_text() + "\n[limits]\nisolation_ohms = 1e6\n")
    return tmp_path


def judged(
    bench: Path, plan: str, ohms: float | None, capsys: pytest.CaptureFixture[str]
) -> tuple[int, dict[str, Any]]:
    harness = bench / "now.toml"
    harness.write_text((bench / "good.toml").read_text() + (LEAK.format(ohms=ohms) if ohms else ""))
    capsys.readouterr()
    common = ["test", "--plan", str(bench / plan), "--leads", str(bench / "leads.toml"), "--json"]
    status = main([*common, "--board", f"virtual:{harness}"])
    return status, json.loads(capsys.readouterr().out)


def test_a_good_harness_with_a_diode_passes_an_isolation_limit(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    status, result = judged(bench, "limit.toml", None, capsys)
    assert status == 0, result["says"]


def test_a_leak_below_the_limit_fails_at_its_circuits(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    status, result = judged(bench, "limit.toml", 500_000, capsys)
    assert status == 1 and {fault["kind"] for fault in result["faults"]} == {"leakage"}
    named = {name for fault in result["faults"] for name in fault["cavities"]}
    assert {"D-1", "D-3"} <= named


def test_without_a_limit_a_measured_leak_is_told_and_ends_what_the_verdict_claims(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    status, result = judged(bench, "plan.toml", 500_000, capsys)
    (told,) = [line for line in result["says"] if line.startswith("The strongest leak")]
    assert status == 0 and "kohm" in told
    (claim,) = [line for line in result["says"] if "can have hidden" in line]
    read, claimed = (float(re.findall(r"([\d.]+) kohm", line)[0]) for line in (told, claim))
    assert claimed == pytest.approx(read * (1 - 2 * 0.1 / math.sqrt(3)), rel=0.01)  # U = 2 u of 10 %, rectangular
    assert "leak" not in " ".join(judged(bench, "plan.toml", None, capsys)[1]["says"][:-1])
