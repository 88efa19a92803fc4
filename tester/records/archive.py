"""A log, or part of one, in one file: moving between benches, merging what was recorded offline, keeping a copy.

The file is gzip over lines of JSON. The first line names the format and the chain heads; then each event, after the
blobs that it is the first to need; the last line counts them. There are no file names in it, so none can lead anywhere.
Everything is checked as it is read, inside one transaction: an archive is taken whole or not at all.
"""

from __future__ import annotations

import base64
import gzip
import json
import os
import tempfile
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any
from zlib import error as zlib_error

from tester.errors import InputError, StoreError
from tester.records.engine import Row
from tester.records.events import Head
from tester.records.importing import Import, Taken
from tester.records.packing import BLOB_LIMIT, BODY_LIMIT, unpack
from tester.records.place import sync_folder
from tester.records.reading import blob
from tester.records.store import Store

FORMAT = "loomwright-archive"
VERSION = 1
LINE_LIMIT = 2 * BLOB_LIMIT
TOTAL_LIMIT = 16 * 1024**3
"""Most bytes, unpacked, that are read from one archive."""


@dataclass(frozen=True)
class Written:
    """What an export holds."""

    events: int
    files: int
    heads: tuple[Head, ...]


def export_log(
    log: Store, path: Path, *, benches: Iterable[str] = (), after: Iterable[Head] = (), customers: bool = False
) -> Written:
    """Write an archive, replacing `path` only once it is complete and on disk.

    `benches`: whose chains, all by default. `after`: heads that the receiver has already; only later events are
    written. `customers`: take customer references along; left out by default, since a copy cannot be called back.
    StoreError when the log is damaged: what does not verify is not passed on.
    """
    wanted, known = set(benches), {head.bench: head for head in after}
    try:
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
        try:
            with os.fdopen(handle, "wb") as file:
                with gzip.GzipFile(filename="", mode="wb", fileobj=file, mtime=0) as out:
                    written = _write(log, out, wanted, known, customers)
                file.flush()
                os.fsync(file.fileno())
            Path(name).replace(path)
        except BaseException:
            Path(name).unlink(missing_ok=True)
            raise
        sync_folder(path.absolute().parent)
    except OSError as error:
        raise StoreError(f"cannot write {path}: {error.strerror}", "name a folder that can be written") from None
    return written


def _write(log: Store, out: gzip.GzipFile, wanted: set[str], known: dict[str, Head], customers: bool) -> Written:
    events, sent = 0, set[str]()
    with log.reading() as engine:
        verdict = log.verify(known.values())
        broken = [problem for problem in verdict.problems if not wanted or problem.bench in wanted or not problem.bench]
        broken = [problem for problem in broken if problem.what != "index"]
        if broken:
            raise StoreError(f"nothing was exported: {broken[0].says}", "records verify tells everything that is wrong")
        heads = [head for head in verdict.heads if not wanted or head.bench in wanted]
        _line(out, {"format": FORMAT, "version": VERSION, "heads": [str(head) for head in heads]})
        if customers:
            for row in engine.each("SELECT commitment, salt, reference FROM customers ORDER BY commitment"):
                _line(out, {"customer": [row[0], bytes(row[1]).hex(), row[2]]})
        for head in heads:
            start = known[head.bench].serial if head.bench in known else 0
            for row in engine.each(
                "SELECT e.bench, e.serial, j.job, e.kind, e.at, e.previous, e.hash, e.body FROM events e"
                " JOIN jobs j ON j.id = e.job WHERE e.bench = ? AND e.serial > ? ORDER BY e.serial",
                (head.bench, start),
            ):
                body = unpack(bytes(row[7]), BODY_LIMIT)
                for digest in json.loads(body)["blobs"].values():
                    if digest not in sent:
                        sent.add(digest)
                        content = blob(engine, digest)
                        _line(out, {"blob": digest, "content": base64.b64encode(content).decode("ascii")})
                _line(out, {"event": _event_head(row), "body": body.decode("ascii")})
                events += 1
        _line(out, {"end": events})
    return Written(events, len(sent), tuple(heads))


def _event_head(row: Row) -> list[Any]:
    bench, serial, job, kind, at, previous, hash_now = row[:7]
    return [bench, int(serial), job, kind, at, bytes(previous).hex(), bytes(hash_now).hex()]


def _line(out: gzip.GzipFile, value: dict[str, Any]) -> None:
    out.write(json.dumps(value, separators=(",", ":"), ensure_ascii=True).encode("ascii") + b"\n")


def import_log(log: Store, path: Path, *, total_limit: int = TOTAL_LIMIT) -> Taken:
    """Take an archive into the log. What the log has already is recognised and counted, not taken twice.

    Raises InputError, with nothing taken, for a file that is no archive, is damaged or cut short, holds an event that
    does not verify, or continues a chain otherwise than the log does.
    """
    try:
        with path.open("rb") as file, log.together():
            lines = _lines(file, path, total_limit)
            return _take(log, lines, path)
    except IsADirectoryError:
        raise InputError(f"{path} is a folder, not an archive", "name the file that records export wrote") from None
    except OSError as error:
        raise InputError(f"cannot read {path}: {error.strerror or error}", "name an archive that can be read") from None


def _lines(file: IO[bytes], path: Path, total_limit: int) -> Iterator[tuple[int, dict[str, Any]]]:
    """Parsed lines with their numbers."""
    total = 0
    try:
        with gzip.GzipFile(fileobj=file, mode="rb") as unzipped:
            number = 0
            while raw := unzipped.readline(LINE_LIMIT + 1):
                number += 1
                total += len(raw)
                if len(raw) > LINE_LIMIT or total > total_limit:
                    raise InputError(f"{path}: line {number}: larger than an archive may be", "it was not taken")
                value = json.loads(raw, parse_constant=_no_constant)
                if not isinstance(value, dict) or not raw.endswith(b"\n"):
                    raise ValueError
                yield number, value
    except (EOFError, gzip.BadGzipFile, zlib_error) as error:
        raise InputError(f"{path}: damaged, cut short or no archive: {error}", "export it again") from None
    except (ValueError, RecursionError):
        raise InputError(f"{path}: line {number} is no line of an archive", "export it again") from None


def _no_constant(text: str) -> float:
    raise ValueError(text)


def _take(log: Store, lines: Iterator[tuple[int, dict[str, Any]]], path: Path) -> Taken:
    number, first = next(lines, (0, {}))
    if first.get("format") != FORMAT:
        raise InputError(f"{path} is no archive of a log", "name a file that records export wrote")
    if first.get("version") != VERSION:
        raise InputError(
            f"{path} is an archive of version {str(first.get('version'))[:20]}; this program reads version {VERSION}",
            "update the program",
        )
    work = Import(log)
    try:
        work.begin(first.get("heads"))
        ended = False
        for number, value in lines:  # noqa: B007 - the message below names it
            if ended:
                raise ValueError("something follows the end")
            ended = work.line(value)
        if not ended:
            raise ValueError("the end is missing")
        return work.finish()
    except (ValueError, KeyError, TypeError, RecursionError) as error:
        raise InputError(
            f"{path}: line {number}: {error}; nothing was taken", "export it again where it came from"
        ) from None
