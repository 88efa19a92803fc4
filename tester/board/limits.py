"""Numbers that the host shares with the firmware, read once from `hwspec/limits.toml`."""

from __future__ import annotations

import tomllib
from functools import cache

from tester.errors import BoardError
from tester.shipped import shipped


@cache
def limits() -> dict[str, float]:
    """Value of each limit by name; the file gives the unit and the source of each."""
    path = shipped("hwspec", "limits.toml")
    try:
        table = tomllib.loads(path.read_text(encoding="utf-8"))["limits"]
        return {name: float(entry["value"]) for name, entry in table.items()}
    except (OSError, ValueError, KeyError) as error:
        raise BoardError(
            f"{path}: the limits of the board cannot be read: {error}", "Install the package again.", code="install"
        ) from error


def limit(name: str) -> float:
    """One limit by name. Raises KeyError for a name that the file lacks: that is a mistake in this program."""
    return limits()[name]
