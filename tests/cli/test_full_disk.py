"""A full disk under the log: the verdict is still reached and printed, and the status says that it is not stored."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

from tester.cli.main import main
from tester.shipped import shipped
from tests.support.tools import need_own_mounts

ROOT = Path(__file__).resolve().parents[2]


@pytest.mark.campaign
@pytest.mark.parametrize("kilobytes", [60, 130, 160])
def test_the_verdict_is_printed_when_the_disk_of_the_log_is_full(kilobytes: int, tmp_path: Path) -> None:
    need_own_mounts()
    harness = shipped("fixtures", "harnesses", "side-door-heater-before.toml")
    leads = shipped("fixtures", "leads", "side-door-leads.toml")
    scan, plan, disk = tmp_path / "scan.json", tmp_path / "plan.toml", tmp_path / "disk"
    disk.mkdir()
    assert main(["scan", "--leads", str(leads), "--board", f"virtual:{harness}", "--save", str(scan)]) == 0
    assert main(["plan", "from-scan", str(scan), "--output", str(plan)]) == 0
    shell = (
        f"mount -t tmpfs -o size=200k tmpfs {disk} && head -c {kilobytes * 1024} /dev/zero > {disk}/other && "
        f"exec {sys.executable} -m tester test --plan {plan} --leads {leads} --board virtual:{harness} --json "
        f"--log {disk}/log.db"
    )
    done = subprocess.run(
        ["unshare", "--mount", "sh", "-c", shell], cwd=ROOT, capture_output=True, text=True, timeout=100
    )
    result = json.loads(done.stdout)
    assert (done.returncode, result["verdict"], result["record"]) == (5, "PASS", None), done.stderr
    assert "no space" in done.stderr and result["error"]["kind"] == "store"
