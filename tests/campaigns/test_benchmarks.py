"""The benchmark command prints every row. Its figures: `python -m tests.benchmarks`, on a machine with nothing else."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
ROWS = (
    *(f"{name} of {n}: {what}" for n in (64, 256) for name in ("full scan", "quick check") for what in (
        "board time", "rest", "host time", "patterns", "bytes")),
    *(f"pair by pair of {n}: {what}" for n in (64, 256) for what in ("patterns", "bytes")),
    *(f"shortest dropout caught at {n}: us" for n in (64, 128, 256)),
    "start: --help", "start: --version", "start: test to first byte on the port",
    "verdict, 256 cavities, 2 faults", "verdict: growth", "diagnosis, 256 cavities, 2 faults", "diagnosis: growth",
    "replay of a scan of 64 channels", "replay: growth", "search by tag, 500 records", "search by tag: growth",
    "search by cavity, 500 records", "figures, 500 records", "one report page", "50 report pages: each",
)  # fmt: skip


@pytest.mark.campaign
@pytest.mark.timeout(600)
def test_the_benchmark_command_prints_every_row() -> None:
    env = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    command = [sys.executable, "-m", "tests.benchmarks", "--quick"]
    done = subprocess.run(command, cwd=ROOT, env=env, capture_output=True, text=True, timeout=500)
    print("\n" + done.stdout)
    assert done.returncode == 0, done.stderr
    lines = done.stdout.splitlines()[1:]
    assert [row for row in ROWS if not any(line.startswith(row + " ") for line in lines)] == []
    assert not any(" inf " in line or " nan " in line for line in lines)
