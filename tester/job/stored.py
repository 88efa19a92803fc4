"""Stored facts back as the values that judge takes."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from tester.harness.reading import Measured
from tester.job.measure import RoundFrames, decode
from tester.job.scanfile import load_rounds, load_scan, parse_json
from tester.job.state import ScanEntry
from tester.judge import Dropout, WatchResult


def reading_of(entry: ScanEntry, name: str, touched: Iterable[str] = ()) -> Measured:
    """The reading of a stored scan, from its frames (or as it was saved, where it came without frames)."""
    if "rounds" in entry.blobs:
        return decode(rounds_of(entry, name), touched)
    return load_scan(entry.blobs["reading"].decode(), name)


def rounds_of(entry: ScanEntry, name: str) -> tuple[RoundFrames, ...]:
    """The frames of a stored scan; none where it came without. Raises InputError naming a damaged one."""
    if "rounds" not in entry.blobs:
        return ()
    place = f"{name}, scan {entry.serial}"
    return load_rounds(parse_json(entry.blobs["rounds"].decode(), place), place)


def watch_of(stored: Mapping[str, Any]) -> WatchResult:
    """A stored dropout watch as judge takes it."""
    dropouts = tuple(Dropout(d["kind"], tuple(d["cavities"]), d["at_ms"], d["lasted_ms"]) for d in stored["dropouts"])
    return WatchResult(
        dropouts,
        stored["seconds"],
        stored["cadence_us"],
        stored["missed_ms"],
        stored["complete"],
        stored.get("shorts_missed_ms"),
    )
