"""Reading small TOML files that people write: one clear message for everything that can be wrong with them."""

from __future__ import annotations

import difflib
import math
import re
import tomllib
from collections.abc import Collection, Mapping
from pathlib import Path
from typing import Any

LARGEST = 1_000_000
_PARTED = re.compile(r"\s*(\S+?)[\s-]+(\d{1,4})\s*")
_CLOSED = re.compile(r"\s*([\w.]*[^\W\d])(\d{1,4})\s*")
_CONNECTOR = re.compile(r"[^\W\d_][\w.]*")
_JUNCTION = re.compile(r"~[\w.-]{1,60}")


class BadFile(Exception):
    """A file that a person wrote is wrong. The text names file, place, what was found and what would be right."""


def read_toml(path: Path) -> dict[str, Any]:
    """The tables of a TOML file. Raises BadFile."""
    try:
        with path.open("rb") as file:
            data = file.read(LARGEST + 1)
    except IsADirectoryError:
        raise BadFile(f"{path}: is a folder; a file is wanted") from None
    except OSError as wrong:
        raise BadFile(f"{path}: cannot be read: {(wrong.strerror or str(wrong)).lower()}") from None
    if len(data) > LARGEST:
        raise BadFile(f"{path}: larger than {LARGEST // 1_000_000} MB, too large for a file of this kind")
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError as wrong:
        line = data.count(b"\n", 0, wrong.start) + 1
        raise BadFile(f"{path}, line {line}: not UTF-8 text; save the file as UTF-8") from None
    try:
        return tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError, ValueError) as wrong:
        raise BadFile(f"{path}: not TOML: {wrong or 'nested too deeply'}") from None


class Table:
    """One table of a file, read key by key; `close` refuses keys that nobody asked for."""

    def __init__(self, file: str, where: str, data: object) -> None:
        self.place = f"{file}, {where}" if where else file
        if not isinstance(data, Mapping):
            raise BadFile(f"{self.place}: found {show(data)}; a table is wanted")
        self._data: Mapping[str, Any] = data

    def wrong(self, key: str, words: str) -> BadFile:
        """The error for one key."""
        return BadFile(f"{self.place}: {key} {words}")

    def has(self, key: str) -> bool:
        """True when the key is written."""
        return key in self._data

    def get(self, key: str) -> Any:
        """The raw value, None when missing."""
        return self._data.get(key)

    def number(self, key: str, low: float, high: float, default: float | None = None) -> float:
        """A finite number within `low`..`high`."""
        if key not in self._data:
            if default is None:
                raise BadFile(f"{self.place}: {key} is missing; write a number from {low:g} to {high:g}")
            return default
        value = self._data[key]
        if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
            raise self.wrong(key, f"is {show(value)}; write a number from {low:g} to {high:g}")
        if not low <= value <= high:
            raise self.wrong(key, f"is {show(value)}; it must be from {low:g} to {high:g}")
        return float(value)

    def text(self, key: str, default: str | None = None) -> str:
        """A short text."""
        if key not in self._data and default is not None:
            return default
        value = self._data.get(key)
        if not isinstance(value, str):
            raise self.wrong(
                key, f"is {show(value)}; write a text" if key in self._data else "is missing; write a text"
            )
        return value

    def node(self, key: str) -> str:
        """A cavity such as `H-11` or a buried junction such as `~gnd`."""
        value = self._data.get(key)
        if value is None:
            raise BadFile(f'{self.place}: {key} is missing; write a cavity such as "H-11" or a junction such as "~gnd"')
        name = node_name(value)
        if name is None:
            raise self.wrong(key, f'is {show(value)}; write a cavity such as "H-11" or a junction such as "~gnd"')
        return name

    def close(self, known: Collection[str]) -> None:
        """Refuse unknown keys."""
        for key in self._data:
            if key not in known:
                near = difflib.get_close_matches(str(key), known, 1)
                hint = f'did you mean "{near[0]}"?' if near else f"known are: {', '.join(sorted(known))}"
                raise BadFile(f'{self.place}: unknown key "{key}"; {hint}')


def node_name(value: object) -> str | None:
    """Canonical name of a cavity (`h 11` is H-11) or junction, None when it is neither."""
    if not isinstance(value, str):
        return None
    if _JUNCTION.fullmatch(value):
        return value
    found = _PARTED.fullmatch(value) or _CLOSED.fullmatch(value)
    if found is None or _CONNECTOR.fullmatch(found[1]) is None:
        return None
    return f"{found[1].upper()}-{int(found[2])}"


def show(value: object) -> str:
    """A value as it may stand in a message: short, quoted when it is text."""
    text = f'"{value}"' if isinstance(value, str) else f"{value!r}"
    return text if len(text) <= 60 else text[:57] + "..."
