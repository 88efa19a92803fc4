"""A whole job with 20 channels in rounds against 64 channels at once, through firmware and virtual board.

Nobody ticks the steps here, so a good harness is NOT TESTED for that one reason, with either board.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from tester.harness.leads import write_leads
from tester.plan.leadsheet import leads_for_plan
from tester.shipped import shipped
from tests.support.demo import demo_plan

PLAN = str(shipped("fixtures", "plans", "side-door.toml"))
WIDE = [str(shipped("fixtures", "leads", "side-door-leads.toml"))]


def run(folder: Path, *words: str) -> Any:
    done = subprocess.run(
        [sys.executable, "-m", "tester", *words, "--json"],
        capture_output=True, text=True, timeout=120, check=False,
        env={**os.environ, "XDG_DATA_HOME": str(folder)},
    )  # fmt: skip
    assert done.returncode in (0, 1, 2), done.stderr
    return json.loads(done.stdout)


def verdict(folder: Path, leads: list[str], variant: str, harness: str) -> dict[str, Any]:
    maps = [word for one in leads for word in ("--leads", one)]
    before, after = (str(shipped("fixtures", "harnesses", f"{name}.toml")) for name in (f"{variant}-before", harness))
    saved = str(folder / f"{variant}-{len(leads)}.json")
    if not Path(saved).exists():
        run(folder, "scan", *maps, "--board", f"virtual:{before}", "--save", saved)
    words = ["--as-found", saved, "--side", "left", "--answer", "occupied D-13=no", "--board", f"virtual:{after}"]
    made: dict[str, Any] = run(folder, "test", "--plan", PLAN, *maps, *words)
    return made


@pytest.mark.campaign
@pytest.mark.timeout(600)
def test_twenty_channels_give_verdict_faults_and_cavities_of_sixty_four(tmp_path: Path) -> None:
    made = leads_for_plan(demo_plan(), 20)
    narrow = []
    for one in made.rounds:
        narrow.append(str(tmp_path / f"{one.id}.toml"))
        Path(narrow[-1]).write_text(write_leads(one))
    print(f"\n50 cavities: 20 channels in {len(narrow)} rounds against 64 channels in one")
    for variant in ("side-door-heater", "side-door-plain"):
        for harness in (f"{variant}-wrong", f"{variant}-after"):
            few, many = (verdict(tmp_path, leads, variant, harness) for leads in (narrow, WIDE))
            print(f"  {harness:<24}{few['verdict']:<12}{many['verdict']:<12}{len(few['faults'])} faults")
            assert few["verdict"] == many["verdict"] == ("FAIL" if "wrong" in harness else "NOT TESTED")
            assert few["faults"] == many["faults"] and few["cavities"] == many["cavities"]
            assert [one["why"] for one in few["untested"]] == [one["why"] for one in many["untested"]]
            assert bool(few["faults"]) == ("wrong" in harness)
