"""Lists of names as a person reads them, never cut without saying how many are left."""

from __future__ import annotations

from collections.abc import Iterable

from tester.harness.cavity import in_order


def listed(names: Iterable[str], *, last: str = "and", most: int = 0, ordered: bool = True) -> str:
    """``D-1, D-2 and D-3``; with `most`, what is beyond is counted: ``D-1, D-2 and 7 more``."""
    items = in_order(names) if ordered else list(names)
    if most and len(items) > most:
        return f"{', '.join(items[:most])} {last} {len(items) - most} more"
    if len(items) < 2:
        return "".join(items)
    return f"{', '.join(items[:-1])} {last} {items[-1]}"


def counted(number: int, one: str, many: str = "") -> str:
    """``1 cavity``, ``3 cavities``."""
    return f"{number} {one if number == 1 else many or one + 's'}"


def ohms(value: float) -> str:
    """A resistance with a fitting unit: ``61.9 mohm``, ``120 ohm``, ``22 kohm``, ``1.4 Mohm``."""
    if value == float("inf"):
        return "no conduction"
    size = abs(value)
    if size < 0.9995:
        return f"{value * 1000:.3g} mohm"
    for limit, unit in ((1e3, "ohm"), (1e6, "kohm"), (float("inf"), "Mohm")):
        if size < limit * 0.9995:
            return f"{value / (limit / 1e3 if limit != float('inf') else 1e6):.3g} {unit}"
    raise AssertionError("unreachable")
