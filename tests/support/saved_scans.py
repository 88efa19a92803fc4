"""Saved scans of the side door: made on the virtual board, judged from their frames.

`python -m tests.support.saved_scans` judges them anew and writes the verdicts beside them; do that only when a verdict
is meant to change, and read the difference. With `--scan` it takes the scans anew as well.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

from tester.board.limits import limit
from tester.harness.reading import Measured
from tester.job.measure import decode, isolation_of
from tester.job.scanfile import load_rounds
from tester.job.verdicts import verdict_object
from tester.judge import JudgeFacts, checks_of, judge
from tester.plan.expect import expectation
from tester.shipped import shipped
from tests.support.demo import EMPTY, demo_plan

FIXTURES = Path(__file__).parents[2] / "fixtures"
VERDICTS = "verdicts.json"
# as left -> (plan, as found, side)
CASES = {
    "side-door-plain-after": ("side-door.toml", "side-door-plain-before", "left"),
    "side-door-plain-wrong": ("side-door.toml", "side-door-plain-before", "left"),
    "side-door-plain-right-after": ("side-door.toml", "side-door-plain-before", "right"),
    "side-door-signal-after": ("side-door.toml", "side-door-signal-before", "left"),
    "side-door-heater-after": ("side-door.toml", "side-door-heater-before", "left"),
    "side-door-heater-wrong": ("side-door.toml", "side-door-heater-before", "left"),
    "side-door-heater-thin": ("side-door-full.toml", "side-door-heater-before", "left"),
}
SCANS = sorted(set(CASES) | {found for _, found, _ in CASES.values()})


def stored(name: str) -> dict[str, Any]:
    """The JSON of a saved scan."""
    content: dict[str, Any] = json.loads(shipped("fixtures", "scans", f"{name}.json").read_text("utf-8"))
    return content


def reading(name: str) -> Measured:
    """What the frames of a saved scan say by today's rules."""
    return decode(load_rounds(stored(name)["rounds"], name))


def verdict(name: str) -> dict[str, Any]:
    """The verdict on a saved as-left scan from its frames, as JSON values without sentences, whose words may change."""
    plan, before, side = CASES[name]
    content = stored(name)
    facts = JudgeFacts(
        can=checks_of(content["about"]["board"]["can"]),
        isolation=isolation_of(load_rounds(content["rounds"], name)),
        isolation_seen_to=limit("isolation_seen_to"),
    )
    expected = expectation(demo_plan(plan), reading(before), EMPTY, side)
    found = verdict_object(judge(expected, reading(name), facts))
    found["faults"] = [{key: value for key, value in fault.items() if key != "says"} for fault in found["faults"]]
    del found["says"]
    return json.loads(json.dumps(found))  # type: ignore[no-any-return]


def take() -> None:
    """Scan every harness on the virtual board."""
    from tester.cli.main import main as loomwright

    for name in SCANS:
        board = f"virtual:{FIXTURES / 'harnesses' / f'{name}.toml'}"
        leads = str(FIXTURES / "leads" / "side-door-leads.toml")
        status = loomwright(
            ["scan", "--board", board, "--leads", leads, "--save", str(FIXTURES / "scans" / f"{name}.json")]
        )
        if status:
            sys.exit(status)


def main() -> None:
    """Judge all scans, with `--scan` after taking them anew."""
    if "--scan" in sys.argv:
        take()
    lines = [f" {json.dumps(name)}: {json.dumps(verdict(name), ensure_ascii=False)}" for name in sorted(CASES)]
    (FIXTURES / "scans" / VERDICTS).write_text("{\n" + ",\n".join(lines) + "\n}\n", "utf-8")


if __name__ == "__main__":
    main()
