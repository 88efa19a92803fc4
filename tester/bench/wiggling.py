"""The dropout watch as a piece of work for the worker."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from tester.bench.worker import Work
from tester.errors import InputError


def wiggle_work(job: Any, circuits: Sequence[tuple[str, ...]], seconds: float) -> Work:
    """Work that ends with a WatchResult and tells each dropout. Raises InputError when there is nothing to watch."""
    if not circuits:
        raise InputError("There is no circuit to watch yet: scan first.")
    raise InputError("This version cannot watch for dropouts yet.")
