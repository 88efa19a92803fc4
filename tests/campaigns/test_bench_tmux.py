"""A whole job in a real terminal multiplexer, by send-keys alone; the text of every screen is printed to be read.

pytest -n 0 -m campaign -s tests/campaigns/test_bench_tmux.py
SCREENS=folder keeps each screen as a text file too
"""

from __future__ import annotations

import os
import re
import shlex
import shutil
import subprocess
import sys
import time
from pathlib import Path

import pytest

pytestmark = [pytest.mark.campaign, pytest.mark.timeout(600)]
ROOT = Path(__file__).resolve().parents[2]
FIXTURES = ROOT / "fixtures"


class Tmux:
    """One window of 80 x 24 with a server of its own."""

    def __init__(self, folder: Path, command: list[str], environment: str = "COLORTERM=truecolor") -> None:
        assert shutil.which("tmux"), "this campaign needs tmux (apt-get install tmux)"
        self.socket = str(folder / f"tmux-{len(list(folder.iterdir()))}")
        self.keep = Path(os.environ["SCREENS"]) if os.environ.get("SCREENS") else None
        self.count = 0
        line = f"cd {shlex.quote(str(ROOT))}; {environment} {shlex.join(command)}; echo EXIT $?; sleep 600"
        self._run("-u", "new-session", "-d", "-s", "bench", "-x", "80", "-y", "24", line)

    def _run(self, *words: str) -> str:
        return subprocess.run(
            ["tmux", "-S", self.socket, *words], check=True, capture_output=True, text=True, timeout=20
        ).stdout

    def keys(self, *keys: str) -> None:
        for key in keys:
            self._run("send-keys", "-t", "bench", key)
            time.sleep(0.25)

    def type(self, text: str) -> None:
        self._run("send-keys", "-t", "bench", "-l", text)
        time.sleep(0.2)

    def text(self) -> str:
        return self._run("capture-pane", "-p", "-t", "bench")

    def until(self, pattern: str, name: str = "", seconds: float = 60.0) -> str:
        """Wait for a pattern on the screen, then keep the screen under this name."""
        end = time.monotonic() + seconds
        while not re.search(pattern, text := self.text()):
            assert time.monotonic() < end, f"{pattern!r} never came:\n{text}"
            time.sleep(0.1)
        if name:
            self.count += 1
            print(f"\n===== {self.count}. {name} =====\n{text.rstrip()}")
            if self.keep is not None:
                self.keep.mkdir(parents=True, exist_ok=True)
                (self.keep / f"{self.count:02}-{name}.txt").write_text(text, encoding="utf-8")
        return text

    def close(self) -> None:
        subprocess.run(["tmux", "-S", self.socket, "kill-server"], capture_output=True, timeout=20, check=False)


def bench(log: Path, *more: str) -> list[str]:
    return [sys.executable, "-m", "tester", "bench", "--log", str(log), *more]


def plug(tmux: Tmux, harness: str) -> None:
    """At the virtual bench another harness lies there now."""
    tmux.type("v")
    tmux.until("Rehearsal")
    tmux.type(f"harness {FIXTURES / 'harnesses' / harness}")
    tmux.keys("Enter")


def demo_options() -> list[str]:
    """Board, leads and plan of the demo job."""
    return [
        "--board", f"virtual:{FIXTURES / 'harnesses' / 'side-door-heater-before.toml'}",
        "--leads", str(FIXTURES / "leads" / "side-door-leads.toml"),
        "--plan", str(FIXTURES / "plans" / "side-door.toml"),
    ]  # fmt: skip


def to_the_work_sheet(tmux: Tmux) -> None:
    """Intake, cautions, check of the board, leads, as found."""
    tmux.until(r"PASS needs", "intake")
    tmux.type("left")
    tmux.keys("Enter")
    for text in ("J 4711", "HT-22", "AB", ""):
        tmux.type(text)
        tmux.keys("Enter")
    tmux.until("6 cautions to go", "leads-cautions")
    tmux.type("?")
    tmux.until("keys of this screen", "help")
    tmux.keys("Escape")
    tmux.keys(*["Enter"] * 6)
    tmux.until("board at rest")
    tmux.until("looks for voltages", "leads-check")
    tmux.keys("Enter")
    tmux.until("voltage, drivers +checked", "leads-checked")
    tmux.keys("Enter")
    tmux.until("by its", "leads-identity")
    tmux.keys("d")
    tmux.until("untouched harness", "as-found-before")
    tmux.keys("Enter")
    tmux.until("Press Enter for the work sheet", "as-found")
    tmux.keys("Enter")
    tmux.until("BOARD DRIVING", "work-sheet")


def work_with_a_mistake(tmux: Tmux) -> None:
    """Every step, one wire in the wrong cavity, to FAIL as left."""
    tmux.keys(*["Enter"] * 5)
    tmux.until("Step 6 of 20", "work-sheet-insert")
    tmux.keys("f")
    tmux.until("mating side", "work-sheet-flipped")
    plug(tmux, "side-door-heater-wrong.toml")
    tmux.until("Wrong:", "work-sheet-wrong")
    for _ in range(40):
        if "All steps are ticked" in tmux.text():
            break
        tmux.keys("Enter")
    tmux.until("All steps are ticked", "work-sheet-done")
    tmux.keys("s")
    tmux.until("Enter scans the finished", "as-left-before")
    tmux.keys("Enter")
    tmux.until("FAIL:", "as-left-fail", 120)


def rework_to_pass(tmux: Tmux) -> None:
    """Back to the step, the mistake mended, scanned again."""
    tmux.keys("w")
    tmux.until("WORK SHEET", "back-at-the-step")
    tmux.keys("s")
    plug(tmux, "side-door-heater-after.toml")
    tmux.until("virtual bench")
    tmux.keys("r")
    tmux.until("Reworked", "reworked")
    tmux.keys("y")
    tmux.until("PASS, within the scope", "as-left-pass", 120)
    tmux.keys("Enter")


def close_and_leave(tmux: Tmux) -> None:
    """Initials, closing, after installing, the comeback's replay."""
    tmux.until("Read what was not tested", "finish")
    tmux.keys("Enter", "Enter", "Enter")
    tmux.type("CD")
    tmux.keys("Enter")
    tmux.until("close the job", "finish-signed")
    tmux.keys("Enter")
    tmux.until("The job is closed", "finish-closed")
    tmux.keys("Enter")
    tmux.until("AFTER INSTALLING", "after-installing")
    tmux.keys("Enter", "Enter", "Enter", "Enter")
    tmux.keys("g")
    tmux.until("comeback", "go-to")
    tmux.keys("End", "Enter")
    tmux.until("replayed", "comeback-replay")
    tmux.keys("q")
    tmux.until("EXIT 0", "left")


def test_a_whole_job_by_send_keys_from_start_to_a_closed_record(tmp_path: Path) -> None:
    tmux = Tmux(tmp_path, bench(tmp_path / "log.db", *demo_options()))
    try:
        to_the_work_sheet(tmux)
        work_with_a_mistake(tmux)
        rework_to_pass(tmux)
        close_and_leave(tmux)
    finally:
        tmux.close()


def test_a_job_killed_without_warning_is_taken_up_at_the_same_step(tmp_path: Path) -> None:
    """kill -9 of the app while the board drives; the next start with the record stands at the same step."""
    log = tmp_path / "log.db"
    options = [*demo_options(), "--side", "left"]
    tmux = Tmux(tmp_path, bench(log, *options))
    try:
        tmux.until("PASS needs")
        for text in ("J 1", "HT-1", "AB", ""):
            tmux.type(text)
            tmux.keys("Enter")
        tmux.until("cautions to go")
        tmux.keys(*["Enter"] * 6)
        tmux.until("board at rest")
        tmux.keys("Enter")
        tmux.until("voltage, drivers +checked")
        tmux.keys("d", "Enter")
        tmux.until("Press Enter for the work sheet")
        tmux.keys("Enter")
        tmux.until("BOARD DRIVING")
        tmux.keys("Enter", "Enter", "Enter")
        text = tmux.until("Step 4 of 20")
        record = re.search(r"B\w+-\d{4}", text)
        assert record is not None
        pid = tmux._run("list-panes", "-t", "bench", "-F", "#{pane_pid}").strip()
        children = subprocess.run(
            ["pgrep", "-P", pid, "-f", "tester bench"], capture_output=True, text=True, check=True
        )
        os.kill(int(children.stdout.split()[0]), 9)
        tmux.until("EXIT 137")
    finally:
        tmux.close()
    again = Tmux(tmp_path, bench(log, *options[:2], record[0]))
    try:
        again.until("Step 4 of 20", "taken-up-after-kill")
        again.until("BOARD DRIVING")
        again.keys("q")
        again.until("EXIT 0")
    finally:
        again.close()
