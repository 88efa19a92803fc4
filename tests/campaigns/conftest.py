"""Campaigns run for minutes: they get a time limit of their own where they name none."""

from __future__ import annotations

import pytest

LIMIT_S = 2400


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        if item.get_closest_marker("campaign") and not item.get_closest_marker("timeout"):
            item.add_marker(pytest.mark.timeout(LIMIT_S))
