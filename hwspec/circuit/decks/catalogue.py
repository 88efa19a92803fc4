"""All decks, in the order in which they are run."""

from __future__ import annotations

from collections.abc import Callable

from . import leakage, measure, parts, safety, scan
from .deck import Deck

_MAKERS: tuple[Callable[[], Deck], ...] = (
    scan.joined,
    scan.apart,
    scan.net60,
    scan.settle,
    measure.resistance,
    measure.wide_range,
    leakage.splice,
    leakage.isolation,
    leakage.rail_and_isolation,
    safety.current,
    safety.firmware,
    safety.abuse,
    safety.esd,
    safety.voltage,
    safety.dead_man,
    safety.shunt,
    parts.parts,
    parts.coil,
    parts.starter_scan,
    parts.starter_settle,
    parts.starter_abuse,
)


def decks() -> list[Deck]:
    """Every deck, made anew."""
    return [make() for make in _MAKERS]


def names() -> list[str]:
    return [deck.name for deck in decks()]
