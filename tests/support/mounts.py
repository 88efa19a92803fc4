"""Running a script on a small disk of its own: a tmpfs in a mount namespace that ends with the script."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]


def _unshare() -> list[str]:
    return ["unshare", "-m"] if os.geteuid() == 0 else ["unshare", "-rm"]


def can_mount(folder: Path) -> bool:
    """True when this user may mount a tmpfs in a namespace of its own."""
    command = [*_unshare(), "sh", "-c", f"mount -t tmpfs -o size=64k tmpfs '{folder}'"]
    try:
        return subprocess.run(command, capture_output=True, timeout=20, check=False).returncode == 0
    except OSError:
        return False


def run_on_small_disk(folder: Path, size: str, code: str) -> str:
    """Mount a tmpfs of `size` on `folder`, run Python code there (`disk` is its path), return what it printed."""
    script = f"disk = {str(folder)!r}\n{code}"
    command = [
        *_unshare(), "sh", "-c",
        'mount -t tmpfs -o "size=$1" tmpfs "$2" && exec "$3" -c "$4"', "sh", size, str(folder), sys.executable, script,
    ]  # fmt: skip
    done = subprocess.run(command, capture_output=True, text=True, cwd=ROOT, timeout=120, check=False)
    assert done.returncode == 0, done.stderr[-3000:]
    return done.stdout
