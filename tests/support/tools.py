"""Programs that some tests need. Where one is missing the test says so; in full checks it must be there."""

from __future__ import annotations

import os
import shutil
import subprocess

import pytest


def need(what: str, present: object) -> None:
    """Skip the test with the reason, or fail it when LOOMWRIGHT_ALL_TESTS is set, unless `present` is true."""
    if present:
        return
    message = f"{what} is not installed here"
    if os.environ.get("LOOMWRIGHT_ALL_TESTS"):
        pytest.fail(message)
    pytest.skip(message)


def need_program(name: str) -> str:
    """Path of a program, or the test is skipped or failed by `need`."""
    path = shutil.which(name)
    need(name, path)
    return path or ""


def need_own_mounts() -> None:
    """The right to mount in a name space of one's own, or the test is skipped or failed by `need`."""
    unshare = shutil.which("unshare")
    may = unshare and subprocess.run([unshare, "--mount", "true"], capture_output=True).returncode == 0
    need("the right to mount a small disk", may)
