"""Events as values, and the hash that chains them. Pure.

An event's body is canonical JSON (sorted keys, ASCII, no blanks) of its data, its search terms, the SHA-256 of each
blob, and what happened to the computer's clocks since the event before, if anything did. The hash covers a format
tag, bench, serial, record, kind, time, the hash of the event before, and the body, so nothing of an event can change
without changing its hash and every hash after it on the same bench.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any

FORMAT = "loomwright-event-1"
GENESIS = "0" * 64
"""What the first event of a bench holds as `previous`."""

_BENCH = re.compile(r"[A-Z][A-Z0-9]{0,11}")
_KIND = re.compile(r"[a-z][a-z0-9-]{0,39}")

Terms = Mapping[str, str | Sequence[str]]


def is_bench_id(text: str) -> bool:
    """True for a bench identity: a capital letter, then up to eleven capitals or digits."""
    return _BENCH.fullmatch(text) is not None


def job_number(bench: str, number: int) -> str:
    """Record number as people read it: ``job_number("BENCH", 1) == "BENCH-0001"``."""
    return f"{bench}-{number:04d}"


def stamp(at: datetime) -> str:
    """Time as stored: UTC with microseconds, ``2026-03-01T10:15:30.000000Z``. ValueError when `at` has no zone."""
    if at.tzinfo is None:
        raise ValueError("a time without a zone cannot be recorded")
    return at.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ").rjust(27, "0")


def from_stamp(text: str) -> datetime:
    """The time that `stamp` wrote."""
    if len(text) != 27 or text[-1] != "Z" or text[10] != "T":
        raise ValueError(f"{text[:40]!r} is not a time as this program writes it")
    return datetime.fromisoformat(text[:-1]).replace(tzinfo=UTC)


def digest(content: bytes) -> str:
    """SHA-256 in hexadecimal: the name of a blob."""
    return hashlib.sha256(content).hexdigest()


def canonical(value: object) -> bytes:
    """Canonical JSON of a value. ValueError or TypeError for what JSON cannot hold (NaN, bytes, sets)."""
    text = json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=True, allow_nan=False)
    return text.encode("ascii")


def body_of(
    data: Mapping[str, Any],
    terms: Mapping[str, Sequence[str]],
    blobs: Mapping[str, str],
    clock: Mapping[str, float] | None = None,
) -> bytes:
    """The body that is hashed and stored; `blobs` maps names to hashes, `clock` is what `clocks.change` found."""
    body = {"blobs": dict(blobs), "data": dict(data), "terms": {k: list(v) for k, v in terms.items()}}
    return canonical({**body, "clock": dict(clock)} if clock else body)


def event_hash(bench: str, serial: int, job: str, kind: str, at: str, previous: str, body: bytes) -> str:
    """Hash of one event, hexadecimal; `previous` is the hash before it on this bench."""
    head = canonical([FORMAT, bench, serial, job, kind, at, previous])
    return digest(head + b"\n" + body)


def storable(text: str) -> str:
    """The text as a log can keep and find it: without NUL and without halves of surrogate pairs."""
    return text.replace("\0", "\ufffd").encode("utf-8", "replace").decode()


def tidy_terms(terms: Terms) -> dict[str, tuple[str, ...]]:
    """Terms with each value list sorted and free of repeats; a single text becomes a list of one."""
    tidy: dict[str, tuple[str, ...]] = {}
    for name, values in terms.items():
        listed = [values] if isinstance(values, str) else list(values)
        kept = sorted({storable(value) for value in listed if value})
        if kept:
            tidy[name] = tuple(kept)
    return tidy


def check_kind(kind: str) -> None:
    """ValueError unless `kind` is lower-case words joined by hyphens."""
    if _KIND.fullmatch(kind) is None:
        raise ValueError(f"{kind!r} is not an event kind")


class Blobs(Mapping[str, bytes]):
    """Named blobs of one event, fetched (and checked against their hash) only when asked for."""

    def __init__(self, hashes: Mapping[str, str], fetch: Callable[[str], bytes]) -> None:
        self.hashes = dict(hashes)
        self._fetch = fetch

    def __getitem__(self, name: str) -> bytes:
        return self._fetch(self.hashes[name])

    def __iter__(self) -> Iterator[str]:
        return iter(self.hashes)

    def __len__(self) -> int:
        return len(self.hashes)

    def __repr__(self) -> str:
        return f"Blobs({self.hashes!r})"


@dataclass(frozen=True)
class Draft:
    """An event that is about to be appended. `at` None means now; `terms` is what search finds the record by."""

    job: str
    kind: str
    data: Mapping[str, Any] = field(default_factory=dict)
    blobs: Mapping[str, bytes] = field(default_factory=dict)
    terms: Terms = field(default_factory=dict)
    at: datetime | None = None


@dataclass(frozen=True)
class Event:
    """One event as stored. `serial` counts from 1 on each bench; `hash` and `previous` are hexadecimal.

    `clock`: what happened to the computer's clocks since this program's event before, see `clocks.change`.
    """

    serial: int
    bench: str
    job: str
    kind: str
    at: datetime
    data: Mapping[str, Any]
    blobs: Blobs
    terms: Mapping[str, tuple[str, ...]]
    hash: str
    previous: str
    clock: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class Head:
    """The end of a bench's chain: how many events, and the hash of the last."""

    bench: str
    serial: int
    hash: str

    def short(self) -> str:
        """As it fits a label: bench, serial and the first 16 digits, ``BENCH:12:0123456789abcdef``."""
        return f"{self.bench}:{self.serial}:{self.hash[:16]}"

    def __str__(self) -> str:
        return f"{self.bench}:{self.serial}:{self.hash}"

    @classmethod
    def parse(cls, text: str) -> Head:
        """From either form. ValueError says what a head looks like."""
        parts = text.strip().split(":")
        if (
            len(parts) != 3
            or not is_bench_id(parts[0].upper())
            or not (parts[1].isascii() and parts[1].isdecimal() and len(parts[1]) <= 15)
            or re.fullmatch(r"[0-9a-f]{16,64}", parts[2].lower()) is None
        ):
            raise ValueError(f"{text[:100]!r} is not a chain head; it looks like BENCH:12:0123456789abcdef")
        return cls(parts[0].upper(), int(parts[1]), parts[2].lower())
