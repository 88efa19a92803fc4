"""The wheel, installed elsewhere, does the main job: empty folder, non-ASCII home, nothing writable but the log."""

import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

from tests.support.tools import need_own_mounts

ROOT = Path(__file__).resolve().parents[2]

pytestmark = [pytest.mark.campaign, pytest.mark.timeout(900)]


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The `loomwright` command of a virtual environment that holds the built wheel and nothing of the checkout."""
    folder = tmp_path_factory.mktemp("wheel")
    subprocess.run(
        [sys.executable, "-m", "pip", "wheel", "-q", "--no-deps", "-w", folder, ROOT], check=True, timeout=600
    )
    (wheel,) = folder.glob("*.whl")
    with zipfile.ZipFile(wheel) as content:
        tops = {name.split("/")[0] for name in content.namelist()}
        assert {top for top in tops if not top.endswith(".dist-info")} == {"tester"}
        assert "tester/_shipped/hwspec/protocol.md" in content.namelist()
        assert not [name for name in content.namelist() if name.endswith((".pyc", ".mpy"))]
    subprocess.run([sys.executable, "-m", "venv", folder / "env"], check=True, timeout=300)
    subprocess.run([folder / "env/bin/pip", "install", "-q", wheel], check=True, timeout=600)
    return folder / "env/bin/loomwright"


def demo(command: Path, folder: Path, home: Path, before: str = "") -> str:
    """Output of the demo as run in that folder, after the shell commands `before`. Fails unless the status is 0."""
    env = {"PATH": os.environ["PATH"], "HOME": str(home), "PYTHONDONTWRITEBYTECODE": "1", "LANG": "C.UTF-8"}
    shell = ["unshare", "--mount", "sh", "-ec", f'{before}\nexec "$0" demo', command] if before else [command, "demo"]
    done = subprocess.run(shell, cwd=folder, env=env, capture_output=True, text=True, timeout=120)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "FAIL:" in done.stdout and "PASS:" in done.stdout and "Record " in done.stdout
    assert len(done.stdout.splitlines()) < 60
    return done.stdout


def test_the_demo_runs_from_an_empty_folder_and_leaves_it_empty(installed: Path, tmp_path: Path) -> None:
    folder, home = tmp_path / "empty", tmp_path / "home"
    folder.mkdir()
    home.mkdir()
    demo(installed, folder, home)
    assert list(folder.iterdir()) == []
    assert [p.name for p in (home / ".local/share/loomwright").iterdir()]


def test_the_demo_runs_with_a_home_that_is_not_ascii(installed: Path, tmp_path: Path) -> None:
    home = tmp_path / "Döring Ωmega 家"
    home.mkdir()
    demo(installed, home, home)


def test_the_demo_needs_to_write_nothing_but_its_log(installed: Path, tmp_path: Path) -> None:
    need_own_mounts()
    home, log = tmp_path / "home", tmp_path / "home/.local/share/loomwright"
    log.mkdir(parents=True)
    read_only = f"mount --bind '{log}' '{log}'\nmount -o remount,ro,bind /\n! touch '{tmp_path}/x' 2>/dev/null"
    demo(installed, home, home, read_only)
    assert list(log.iterdir())
    assert not (tmp_path / "x").exists()
