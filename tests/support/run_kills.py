"""Killing `loomwright test` in the middle of its run, and looking at what the log holds afterwards."""

from __future__ import annotations

import os
import random
import subprocess
import sys
import time
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

from tester.board.virtual import VirtualBoard
from tester.cli.main import main
from tester.job.job import Job
from tester.job.stored import reading_of
from tester.records.store import Store
from tester.shipped import shipped

ROOT = Path(__file__).parents[2]
BEFORE = shipped("fixtures", "harnesses", "side-door-heater-before.toml")
HARNESS = shipped("fixtures", "harnesses", "side-door-heater-after.toml")
LEADS = shipped("fixtures", "leads", "side-door-leads.toml")
CAVITIES = 50
PLAN = shipped("fixtures", "plans", "side-door.toml")


@dataclass
class RunTally:
    """What a series of kills did.

    lost, half    acknowledged events that are missing or other ones; records, scans or chains that are not whole
    killed_after  newest event of the killed job, and how often it was that one
    """

    seed: int
    kills: int = 0
    too_late: int = 0
    before_any: int = 0
    acknowledged: int = 0
    stored: int = 0
    lost: int = 0
    half: int = 0
    taken_up: int = 0
    records: int = 0
    passed: int = 0
    run_s: float = 0.0
    killed_after: Counter[str] = field(default_factory=Counter)

    def lines(self) -> list[str]:
        """The figures, a line each."""
        rows = [
            f"{self.kills} kills of loomwright test, seed {self.seed}; a run takes {self.run_s:.2f} s undisturbed",
            f"  {self.acknowledged} events acknowledged, {self.stored} stored: {self.lost} lost, {self.half} not whole",
            f"  {self.before_any} killed before the first event, {self.too_late} ended before their kill",
            f"  {self.taken_up} runs took up a killed job; {self.passed} of {self.records} records at PASS in the end",
            "  newest event of the job when it was killed:",
        ]
        return [*rows, *(f"    {kind:<12} {count:4}" for kind, count in self.killed_after.most_common())]


class Runs:
    """Runs of `loomwright test` on one virtual board and one log."""

    def __init__(self, folder: Path, seed: int) -> None:
        self.log, self.found = folder / "log.db", folder / "found.json"
        self.rng = random.Random(seed)
        self.tally = RunTally(seed)
        self.known: dict[int, str] = {}
        assert main(["scan", "--leads", str(LEADS), "--board", f"virtual:{BEFORE}", "--save", str(self.found)]) == 0

    def command(self, port: str, record: str = "") -> list[str]:
        """Arguments of a run: a new job, or this one taken up."""
        which = ["--resume", record] if record else ["--plan", str(PLAN), "--leads", str(LEADS), "--side", "left"]
        rest = ["--as-found", str(self.found), "--steps-done", "--accept-cautions", "--by", "AB"]
        which += [*rest, "--log", str(self.log), "--board", port]
        return ["test", *which]

    def series(self, kills: int) -> RunTally:
        """Kill so often, each time going on with the job that was killed; in the end all are taken up to PASS."""
        with VirtualBoard(HARNESS, LEADS, ()) as board:
            began = time.perf_counter()
            code, acks = self._run(board.port, "", None, 0)
            assert code == 0
            self.tally.run_s = run_s = time.perf_counter() - began
            self._check()
            record = ""
            while self.tally.kills < kills:
                self.tally.taken_up += bool(record)
                if self.rng.random() < 0.25:
                    code = self._run(board.port, record, self.rng.uniform(0, run_s), 0)[0]
                else:
                    pause = self.rng.choice((0.0, self.rng.uniform(0, 0.05), self.rng.uniform(0, run_s / 2)))
                    code = self._run(board.port, record, pause, self.rng.randint(1, acks))[0]
                self.tally.kills += code == -9
                self.tally.too_late += code != -9
                assert code in (0, -9), f"a run taken up after a kill ended with status {code}"
                record = self._check(killed=code == -9)
            for left in self._unfinished():
                assert main(self.command(board.port, left)) == 0
        self._check()
        with Store.open(self.log) as log:
            ends = [one.term("verdict") for one in log.jobs()]
            self.tally.records, self.tally.passed = len(ends), ends.count("PASS")
        return self.tally

    def _run(self, port: str, record: str, pause: float | None, after: int) -> tuple[int, int]:
        """Run; kill `pause` seconds after the start or, with `after`, after that acknowledgement. Status and acks."""
        reader, writer = os.pipe()
        process = subprocess.Popen(
            [sys.executable, "-m", "tests.support.acknowledged", *self.command(port, record)],
            cwd=ROOT, pass_fds=[writer], env={**os.environ, "ACKS": str(writer)},
            stdout=subprocess.DEVNULL, stderr=subprocess.PIPE,
        )  # fmt: skip
        os.close(writer)
        with os.fdopen(reader, "rb") as pipe:
            lines = [line for _ in range(after) if (line := pipe.readline())]
            if pause is not None:
                try:
                    process.wait(pause)
                except subprocess.TimeoutExpired:
                    process.kill()
            lines += pipe.readlines()
        _, errors = process.communicate(timeout=60)
        assert b"Traceback" not in errors, errors.decode()
        acks = [line.split() for line in lines if line.endswith(b"\n")]
        self.known |= {int(serial): digest.decode() for _, serial, digest in acks}
        self.tally.before_any += not acks and process.returncode == -9
        return process.returncode, len(acks)

    def _check(self, killed: bool = False) -> str:
        """The log after a run: whole, nothing acknowledged missing, no event half there. The job to take up, if any."""
        if not self.log.exists():
            assert not self.known
            return ""
        with Store.open(self.log) as log:
            result = log.verify()
            self.tally.half += not result.whole
            stored = dict(log.engine.rows("SELECT serial, hash FROM events"))
            found = {serial: bytes(digest).hex() for serial, digest in stored.items()}
            self.tally.lost += sum(found.get(serial) != wanted for serial, wanted in self.known.items())
            self.tally.acknowledged, self.tally.stored = len(self.known), len(stored)
            for summary in log.jobs():
                events = log.read(summary.job)
                kinds = [event.kind for event in events]
                self.tally.half += len(events) != summary.events or kinds[:3] != ["job-opened", "plan", "leads"]
                for scan in Job.take_up(log, summary.job).state.scans:
                    self.tally.half += len(reading_of(scan, summary.job).netlist.cavities) != CAVITIES
        left = self._unfinished()
        if killed and left:
            with Store.open(self.log, read_only=True) as log:
                self.tally.killed_after[log.read(left[0])[-1].kind] += 1
        return left[0] if left else ""

    def _unfinished(self) -> list[str]:
        """Records without a verdict on their newest scan."""
        with Store.open(self.log, read_only=True) as log:
            return [one.job for one in log.jobs() if Job.take_up(log, one.job).state.verdict is None]
