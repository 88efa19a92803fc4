"""Cavity names: `H-11` is cavity 11 of connector H. People may type `H11`, `h 11`, `H-11`."""

from __future__ import annotations

import re
from functools import lru_cache

_CONNECTOR = re.compile(r"[^\W\d_][\w.]*")
_PARTED = re.compile(r"\s*(\S+?)[\s-]+(\d{1,4})\s*")
_CLOSED = re.compile(r"\s*([\w.]*[^\W\d])(\d{1,4})\s*")


def is_connector_id(text: str) -> bool:
    """True for a connector identity: a letter, then letters, digits, `_` or `.`; any script."""
    return _CONNECTOR.fullmatch(text) is not None


def cavity(connector: str, number: int) -> str:
    """Name of one cavity, such as ``cavity("H", 11) == "H-11"``."""
    return f"{connector}-{number}"


def parse_cavity(text: str) -> str:
    """Canonical name of a cavity as a person typed it: upper case, one hyphen, no leading zeros.

    Raises ValueError when the text is not a connector followed by a number.
    """
    found = _PARTED.fullmatch(text) or _CLOSED.fullmatch(text)
    if found is None or not is_connector_id(found[1]):
        raise ValueError(f"{text!r} is not a cavity; write connector and number, such as H-11")
    return cavity(found[1].upper(), int(found[2]))


def split_cavity(name: str) -> tuple[str, int]:
    """Connector and number of a canonical name."""
    connector, _, number = name.rpartition("-")
    return connector, int(number)


@lru_cache(maxsize=1 << 15)
def cavity_key(name: str) -> tuple[str, int, str]:
    """Sort key: by connector, then by number. Names that are no cavities (junctions, lead ends) sort by text."""
    connector, _, number = name.rpartition("-")
    return (connector, int(number), "") if connector and number.isdecimal() else (name, -1, name)


def in_order(names: object) -> list[str]:
    """Names sorted as a person expects: D-2 before D-10."""
    return sorted(names, key=cavity_key)  # type: ignore[call-overload, no-any-return]
