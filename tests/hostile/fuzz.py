"""Seeded fuzzing of every reader of files. Each reader takes bytes and raises its one documented error, or nothing."""

from __future__ import annotations

import gzip
import random
import time
import tracemalloc
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from hwspec.firmware.errors import ScpiError
from hwspec.firmware.parser import channel_list, integer, split_line, split_unit, text
from hwspec.virtual.files import BadFile
from hwspec.virtual.harness import load_harness
from tester.errors import BoardError, InputError, StoreError
from tester.harness.leads import load_leads
from tester.job.scanfile import load_rounds, load_scan, parse_json
from tester.plan.exchange import import_plan
from tester.plan.load import load_plan
from tester.plan.table import export_csv
from tester.records.archive import export_log, import_log
from tester.records.store import Store
from tests.benchmarks.row import median_s
from tests.outside.test_kbl_import import small
from tests.support.reply_fuzz import mutated
from tests.support.virtual import VirtualBench

ROOT = Path(__file__).resolve().parents[2]
FIXTURES = ROOT / "fixtures"
MOST_S = 10.0
MOST_BYTES = 200_000_000
"""Bounds for one file. The time is generous, since other programs may hold the processor."""

WORDS = (
    b"nan", b"inf", b"-inf", b"1e999", b"-1", b"0", b"99999999999999999999999", b'""', b"[]", b"{}", b"[[[[", b"true",
    b"null", b"\x00", b"\xff\xfe", "\u202e".encode(), b'"D-1"', b"[step]", b"[[step]]", b"\n", b"=", b",", b'"', b"'''",
    b"1979-05-27T07:32:00", b"0x7fffffff", b"D-9999", b"..", b"/etc/passwd", b"<!DOCTYPE a>", b"&a;", b"]]>", b";",
)  # fmt: skip


def changed(dice: random.Random, data: bytes) -> bytes:
    """Bytes flipped, lost, moved; odd words put in; lines doubled, dropped, exchanged; now and then any bytes."""
    if dice.random() < 0.03:
        return dice.randbytes(dice.randrange(300))
    for _ in range(dice.choice((1, 1, 2, 5))):
        kind = dice.randrange(5)
        lines = data.split(b"\n")
        at = dice.randrange(len(lines))
        if kind == 0:
            data = mutated(dice, data)
        elif kind == 1:
            lines[at:at] = [lines[dice.randrange(len(lines))]]
        elif kind == 2:
            del lines[at]
        elif kind == 3:
            other = dice.randrange(len(lines))
            lines[at], lines[other] = lines[other], lines[at]
        else:
            parts = lines[at].split(b" ")
            parts[dice.randrange(len(parts))] = dice.choice(WORDS)
            lines[at] = b" ".join(parts)
        if kind:
            data = b"\n".join(lines)
    return data


@dataclass(frozen=True)
class Reader:
    """A reader: a good file for it, what reads it, and the errors that it may raise."""

    sample: bytes
    read: Callable[[bytes, Path], object]
    errors: tuple[type[BaseException], ...]


def _fixture(*parts: str) -> bytes:
    return FIXTURES.joinpath(*parts).read_bytes()


def _virtual(data: bytes, folder: Path) -> object:
    (folder / "h.toml").write_bytes(data)
    return load_harness(folder / "h.toml")


def _saved(data: bytes, _folder: Path) -> object:
    words = data.decode("utf-8", errors="replace")
    reading = load_scan(words, "s.json")
    rounds = parse_json(words, "s.json").get("rounds")
    return reading, load_rounds(rounds, "s.json") if rounds else ()


def _archive(data: bytes, folder: Path) -> object:
    (folder / "x.archive").write_bytes(gzip.compress(data, 1))
    with Store.in_memory("B") as log:
        return import_log(log, folder / "x.archive", total_limit=10_000_000)


def _zipped(data: bytes, folder: Path) -> object:
    (folder / "x.archive").write_bytes(data)
    with Store.in_memory("B") as log:
        return import_log(log, folder / "x.archive", total_limit=10_000_000)


def _parser(data: bytes, _folder: Path) -> object:
    """Every unit of every line, every parameter by each reader; ScpiError is the parser's way to refuse."""
    found: list[object] = []

    def sure(read: Callable[[], object]) -> object:
        try:
            found.append(read())
        except ScpiError:
            return None
        return found[-1]

    for line in data.split(b"\n"):
        units = sure(lambda line=line: split_line(line, 0x3B))
        for unit in units if isinstance(units, list) else ():
            parts = sure(lambda unit=unit: split_unit(unit))
            for raw in parts[1] if isinstance(parts, tuple) else ():
                for read in (integer, text, channel_list):
                    sure(lambda raw=raw, read=read: read(raw))
    return found


def _board(data: bytes, _folder: Path) -> object:
    """Lines to a whole board: it must still answer after them."""
    bench = _bench()
    bench.write(data.replace(b"UPD", b"XXX") + b"\n")
    bench.run(0.02)
    bench.restart()
    bench.line.to_board.clear()
    bench.line.to_host.clear()
    assert bench.ask("*IDN?").startswith(b"Loomwright,")
    return None


@cache
def _bench() -> VirtualBench:
    return VirtualBench({"link": [{"a": "D-1", "b": "H-1"}]}, {1: "D-1", 33: "H-1"})


LINES = (
    b'*IDN?;SYST:SYNC? 1,#HDEADBEEF\nSYST:LEAS? 2,3735928559,500;:SCAN:WALK? 3,(@1:3,7),(@1:64)\nSYST:ERR?;VERS?\n'
    b'SCAN:PATT? 4,(@1:64),(@1),(@2,3)\nCAL:SAVE? 5,"2026-03-01"\nMEAS:RES? 6,1,33,0,2\nDIAG:DRIV? 7,(@5:1)\n*ESE 32'
)  # fmt: skip


def readers(folder: Path) -> Mapping[str, Reader]:
    """All readers of files, by name. `folder`: where samples are made."""
    plan = _fixture("plans", "side-door-full.toml")
    with Store.open(folder / "a.db", "A") as log:
        job = log.new_job({"n": 0}, terms={"tag": "T-1"})
        for n in range(3):
            log.append(job, "scan", {"n": n}, {"walk": bytes([n]) * 50})
        export_log(log, folder / "a.archive")
    packed = (folder / "a.archive").read_bytes()
    scan = _fixture("scans", "side-door-plain-before.json")
    own = (InputError,)
    return {
        "plan": Reader(plan, lambda data, _: load_plan(data, "p.toml"), own),
        "lead map": Reader(_fixture("leads", "side-door-leads.toml"), lambda data, _: load_leads(data, "l.toml"), own),
        "virtual harness": Reader(_fixture("harnesses", "side-door-heater-thin.toml"), _virtual, (BadFile,)),
        "CSV plan": Reader(export_csv(load_plan(plan, "p")).encode(), lambda data, _: import_plan(data, "p.csv"), own),
        "KBL plan": Reader(small(), lambda data, _: import_plan(data, "p.kbl"), own),
        "saved scan": Reader(scan, _saved, (InputError, BoardError)),
        "archive, lines": Reader(gzip.decompress(packed), _archive, (InputError, StoreError)),
        "archive, packed": Reader(packed, _zipped, (InputError, StoreError)),
        "firmware's parser": Reader(LINES, _parser, (ScpiError,)),
        "board": Reader(LINES, _board, ()),
    }


def attack(name: str, reader: Reader, seed: int, folder: Path, counts: Counter[str]) -> None:
    """One changed file. Raises whatever the reader should not raise; the seed stands in the message."""
    data = changed(random.Random(f"{name} {seed}"), reader.sample)
    start = time.monotonic()
    try:
        reader.read(data, folder)
        counts["read"] += 1
    except reader.errors as error:
        counts[type(error).__name__] += 1
        assert str(error) or not isinstance(error, InputError)
    except Exception as error:
        raise AssertionError(f"{name}, seed {seed}: {type(error).__name__}: {error}") from error
    took = time.monotonic() - start
    assert took < MOST_S, f"{name}, seed {seed}: {took:.1f} s"


def heaviest(name: str, reader: Reader, seeds: range, folder: Path) -> int:
    """Largest memory that reading one of these files took, bytes."""
    most = 0
    tracemalloc.start()
    try:
        for seed in seeds:
            tracemalloc.reset_peak()
            attack(name, reader, seed, folder, Counter())
            most = max(most, tracemalloc.get_traced_memory()[1])
    finally:
        tracemalloc.stop()
    return most


def cost(name: str, reader: Reader, folder: Path) -> float:
    """Seconds of reading the good file."""
    return median_s(lambda: reader.read(reader.sample, folder), 3)
