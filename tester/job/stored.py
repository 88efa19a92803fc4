"""Stored facts back as the values that judge takes."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import asdict
from typing import Any

from tester.errors import InputError
from tester.harness.leads import LeadMap
from tester.harness.reading import Measured
from tester.job.measure import RoundFrames, decode
from tester.job.scanfile import load_rounds, load_scan, parse_json
from tester.job.state import ScanEntry
from tester.judge import Dropout, WatchResult
from tester.words import watch_line


def reading_of(entry: ScanEntry, name: str, touched: Iterable[str] = ()) -> Measured:
    """The reading of a stored scan, from its frames (or as it was saved, where it came without frames)."""
    if "rounds" in entry.blobs:
        return decode(rounds_of(entry, name), touched)
    return load_scan(_text(entry, "reading", name), name)


def rounds_of(entry: ScanEntry, name: str) -> tuple[RoundFrames, ...]:
    """The frames of a stored scan; none where it came without. Raises InputError naming a damaged one."""
    if "rounds" not in entry.blobs:
        return ()
    place = f"{name}, scan {entry.serial}"
    return load_rounds(parse_json(_text(entry, "rounds", name), place), place)


def leads_of(entry: ScanEntry | None, name: str) -> tuple[LeadMap, ...]:
    """The lead maps that a scan was made with; none where it came without frames, or where there is no scan."""
    return () if entry is None else tuple(one.leads for one in rounds_of(entry, name))


def _text(entry: ScanEntry, blob: str, name: str) -> str:
    try:
        return entry.blobs[blob].decode()
    except (KeyError, UnicodeDecodeError):
        raise InputError(f"{name}, scan {entry.serial}: damaged: its {blob} cannot be read") from None


def recording_of(entry: ScanEntry, name: str) -> str:
    """The recording of the line that a scan holds; "" where it has none. Raises InputError when it is damaged."""
    return _text(entry, "recording", name) if "recording" in entry.blobs else ""


def watch_object(result: WatchResult) -> dict[str, Any]:
    """What a dropout watch saw as JSON values, as the record keeps it."""
    return asdict(result) | {"dropouts": [asdict(one) for one in result.dropouts]}


def watch_words(result: WatchResult) -> str:
    """The sentence on what a watch did and what it could have missed."""
    return watch_line(result.seconds, result.cadence_us, result.missed_ms, result.shorts_missed_ms, result.touch_blind)


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
        tuple(map(tuple, stored.get("touch_blind", ()))),
    )
