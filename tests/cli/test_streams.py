"""Standard output that is full, closed or not ours: a clear word and status 5, never a traceback, never a FAIL."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tester.shipped import shipped

ROOT = Path(__file__).resolve().parents[2]
PLAN = str(shipped("fixtures", "plans", "side-door.toml"))
LEADS = str(shipped("fixtures", "leads", "side-door-leads.toml"))
FOUND = str(shipped("fixtures", "scans", "side-door-plain-before.json"))
AFTER = str(shipped("fixtures", "harnesses", "side-door-plain-after.toml"))
TEST = (
    f"test --plan {PLAN} --leads {LEADS} --side left --as-found {FOUND} --answer 'occupied D-13=no' --steps-done "
    f"--board virtual:{AFTER} --log log.db"
)


def ran(words: str, redirect: str, folder: Path, **env: str) -> subprocess.CompletedProcess[str]:
    shell = f"exec {sys.executable} -m tester {words} {redirect}"
    return subprocess.run(
        ["sh", "-c", shell], cwd=folder, env={**os.environ, "PYTHONPATH": str(ROOT), **env}, capture_output=True,
        text=True, timeout=60,
    )  # fmt: skip


needs_full = pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full on this platform")


@needs_full
@pytest.mark.parametrize(
    ("words", "unbuffered"),
    [(TEST, ""), (f"{TEST} --json", "1"), (f"plan check {PLAN}", ""), ("--version", "1"), ("board list --json", "")],
)
def test_a_full_disk_behind_standard_output_is_said(words: str, unbuffered: str, tmp_path: Path) -> None:
    done = ran(words, ">/dev/full", tmp_path, PYTHONUNBUFFERED=unbuffered)
    assert done.returncode == 5, done.stderr
    assert "cannot be written to standard output: No space left" in done.stderr
    assert "Traceback" not in done.stderr and "internal error" not in done.stderr


@pytest.mark.parametrize(
    ("redirect", "status"),
    [
        pytest.param("2>/dev/full", 3, marks=needs_full),
        ("2>&-", 3),
        ("<&- >&- 2>&-", 3),
        pytest.param(">/dev/full 2>/dev/full", 3, marks=needs_full),
    ],
)
def test_talk_that_nobody_hears_changes_no_status(redirect: str, status: int, tmp_path: Path) -> None:
    assert ran("plan check no-such-plan.toml", redirect, tmp_path).returncode == status


def test_without_standard_streams_a_test_runs_and_its_log_is_whole(tmp_path: Path) -> None:
    """The first files that are opened would get the numbers of the streams."""
    assert ran(TEST, "<&- >&- 2>&-", tmp_path).returncode == 0
    done = ran("records verify --log log.db", "", tmp_path)
    assert (done.returncode, "all whole" in done.stdout) == (0, True)


def test_letters_that_the_output_does_not_have_are_spelt_out(tmp_path: Path) -> None:
    done = ran(f"plan sheet {PLAN} --side left", "", tmp_path, PYTHONIOENCODING="ascii")
    assert done.returncode == 0, done.stderr
    done = ran("plan check 'na\u00efve.toml'", "", tmp_path, PYTHONIOENCODING="ascii")
    assert (done.returncode, "no such plan file" in done.stderr) == (3, True)
