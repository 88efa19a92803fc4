"""Seeded whole tests through a faulty pseudo-terminal: `loomwright test` on a good or a miswired harness."""

from __future__ import annotations

import contextlib
import io
import json
import random
import time
from dataclasses import dataclass, field
from pathlib import Path

from tester.board.virtual import VirtualBoard
from tester.cli.main import main
from tests.support.faulty import draw_faults
from tests.support.faulty_port import FaultyPort
from tests.support.link_campaign import archive

LEADS = """format = 1
id = "bench-leads"
[channels]
1 = "D-1"
2 = "D-2"
33 = "H-1"
34 = "H-2"
60 = "H-4"
"""
GOOD = [("D-1", "H-1"), ("D-2", "~g"), ("H-2", "~g")]
SWAPPED = [("D-1", "H-2"), ("D-2", "~g"), ("H-1", "~g")]
OPEN = [("D-2", "~g"), ("H-2", "~g")]
MESSAGES = 24


@dataclass
class PortOutcome:
    """What one seed gave."""

    seed: int
    truth: int
    status: int
    verdict: str
    seconds: float
    struck: set[str]
    after: int | None = None
    driven: list[object] = field(default_factory=list)
    armed: bool = False
    note: str = ""

    @property
    def wrong(self) -> bool:
        """A verdict that is not the harness's, or something other than a verdict or an abort."""
        verdicts = {0: "PASS", 1: "FAIL", 4: "NOT TESTED"}
        if self.after is not None and self.after != self.truth:
            return True
        return self.status not in (self.truth, 4) or self.verdict != verdicts[self.status]


def files(folder: Path) -> Path:
    """Lead map, harnesses and a plan whose hazards are declared, as a real board wants it."""
    (folder / "leads.toml").write_text(LEADS)
    for name, links in (("good", GOOD), ("swapped", SWAPPED), ("open", OPEN)):
        rows = [f'[[link]]\na = "{a}"\nb = "{b}"\n' for a, b in links]
        (folder / f"{name}.toml").write_text("format = 1\n" + "\n".join(rows))
    board, leads = f"virtual:{folder / 'good.toml'}", str(folder / "leads.toml")
    call("scan", "--leads", leads, "--board", board, "--save", str(folder / "good.json"), "--json")
    call("plan", "from-scan", str(folder / "good.json"), "--output", str(folder / "plan.toml"))
    plan = folder / "plan.toml"
    plan.write_text(plan.read_text().replace('"not declared"', '"none"').replace('checked = ""', 'checked = "sheet 1"'))
    return plan


def call(*arguments: str) -> tuple[int, dict[str, object], str]:
    """Exit status, JSON on standard output, talk on standard error."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        status = main(arguments)
    text = out.getvalue().strip()
    return status, json.loads(text) if text.startswith("{") else {}, err.getvalue()


def whole_test(port: str, folder: Path) -> tuple[int, dict[str, object], str]:
    """`loomwright test` on a port."""
    given = [
        "--plan",
        str(folder / "plan.toml"),
        "--leads",
        str(folder / "leads.toml"),
        "--log",
        str(folder / "log.db"),
    ]
    return call("test", *given, "--accept-cautions", "--json", "--board", port)


def run(seed: int, folder: Path) -> PortOutcome:
    """One whole test with faults; after a vanished port a second one under another name."""
    dice = random.Random(f"port {seed}")
    name, truth = dice.choice((("good", 0), ("good", 0), ("swapped", 1), ("open", 1)))
    with VirtualBoard(folder / f"{name}.toml", folder / "leads.toml") as board:
        start = time.monotonic()
        with FaultyPort(board, dice, draw_faults(dice, MESSAGES), archive()) as port:
            status, said, err = whole_test(port.port, folder)
            seconds = time.monotonic() - start
            struck = port.mangler.struck
        verdict = str(said.get("verdict") or ("NOT TESTED" if status == 4 else ""))
        outcome = PortOutcome(seed, truth, status, verdict, seconds, struck, note=err.strip()[:200])
        if "vanish" in struck:
            with FaultyPort(board, dice, [], {}) as again:
                outcome.after = whole_test(again.port, folder)[0]
        time.sleep(0.8)  # lease and pump run out
        state = board.tell("state")
        outcome.driven, outcome.armed = list(state["driven"]), bool(state["armed"])  # type: ignore[call-overload]
    return outcome
