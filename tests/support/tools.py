"""Programs that some tests need. Where one is missing the test says so; in full checks it must be there."""

from __future__ import annotations

import os
import shutil

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
