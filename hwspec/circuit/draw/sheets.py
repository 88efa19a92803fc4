"""All sheets."""

from __future__ import annotations

from collections.abc import Callable

from . import cards, cells, mains

_MAKERS: dict[str, Callable[[], tuple[str, set[str]]]] = {
    "overview": mains.overview_sheet,
    "cell": cells.cell_sheet,
    "card-expanders": cards.expanders_sheet,
    "card-multiplexers": cards.multiplexers_sheet,
    "card-registers": cards.registers_sheet,
    "card-supply": cards.supply_sheet,
    "card-connectors": cards.connectors_sheet,
    "main-processor": mains.processor_sheet,
    "main-measure": mains.measure_sheet,
    "main-deadman": mains.dead_man_sheet,
    "starter": mains.starter_sheet,
    "starter-cell": cells.starter_cell_sheet,
}


def sheets() -> dict[str, tuple[str, set[str]]]:
    """Name of a sheet -> (SVG, references drawn on it)."""
    return {name: make() for name, make in _MAKERS.items()}
