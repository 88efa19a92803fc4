"""Every field of 200 events changed, events dropped, exchanged, cut off, chains computed again: found and located."""

from __future__ import annotations

import random
import shutil
import sqlite3
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tester.records.events import GENESIS, Head, event_hash
from tester.records.index import list_again
from tester.records.packing import pack, unpack
from tester.records.store import Store
from tester.records.verify import Problem, verify

pytestmark = pytest.mark.campaign
SEED, EVENTS = 4711, 200


@pytest.fixture(scope="module")
def log(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    """A log of 200 events with its guards taken away; each change is made in a transaction that is rolled back."""
    rng = random.Random(SEED)
    path = tmp_path_factory.mktemp("tamper") / "r.db"
    with Store.open(path, "B") as made:
        job = ""
        while (made.head() or Head("B", 0, "")).serial < EVENTS:
            if not job or rng.random() < 0.2:
                job = made.new_job({"n": rng.random()}, terms={"tag": f"T-{rng.randrange(99)}"})
            else:
                files = {"walk": rng.randbytes(rng.choice((50, 2000)))} if rng.random() < 0.4 else {}
                made.append(
                    job, "scan", {"n": rng.random(), "text": "x" * rng.randrange(400)}, files, terms={"cavity": "H-1"}
                )
    db = sqlite3.connect(path)
    for (name,) in db.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
        db.execute(f"DROP TRIGGER {name}")
    db.commit()
    db.close()
    with Store.open(path, "B") as opened:
        yield opened


def after(
    log: Store, *changes: tuple[str, tuple[Any, ...]], heads: tuple[Head, ...] = (), tidy: bool = False
) -> tuple[Problem, ...]:
    """What verify says after these changes, which are then undone. `tidy` makes the list of records fit again."""
    engine = log.engine
    engine.run("BEGIN")
    try:
        for sql, values in changes:
            engine.run(sql, values)
        if tidy:
            list_again(engine)
        return verify(engine, heads).problems
    finally:
        engine.run("ROLLBACK")


def located(problems: tuple[Problem, ...], serial: int) -> bool:
    return any(problem.serial == serial and problem.bench == "B" for problem in problems)


def changed_text(rng: random.Random, text: str) -> str:
    place = rng.randrange(len(text))
    return text[:place] + chr(ord(text[place]) ^ rng.choice((1, 2, 4))) + text[place + 1 :]


def changed_bytes(rng: random.Random, content: bytes) -> bytes:
    changed = bytearray(content)
    changed[rng.randrange(len(changed))] ^= 1 << rng.randrange(8)
    return bytes(changed)


def test_every_field_of_every_event_changed_is_found_and_located(log: Store) -> None:
    rng = random.Random(SEED)
    rows = log.engine.rows("SELECT serial, kind, at, previous, hash, body, job FROM events ORDER BY serial")
    assert len(rows) == EVENTS and not verify(log.engine, []).problems
    tried, found, same = Counter[str](), Counter[str](), 0
    for serial, kind, at, previous, hash_now, body, job in rows:
        changes: dict[str, Any] = {
            "kind": changed_text(rng, kind), "at": changed_text(rng, at), "previous": changed_bytes(rng, previous),
            "hash": changed_bytes(rng, hash_now), "job": job % 5 + 100_000, "bench": "C",
        }  # fmt: skip
        for region in range(8):  # eight places over the whole body, packed as it lies there
            part = len(body) * region // 8
            changes[f"body {region}"] = body[:part] + changed_bytes(rng, body[part:])
        plain = unpack(body)
        changes["data"] = pack(plain.replace(b'"n":', b'"m":', 1))
        changes["terms"] = pack(plain.replace(b'"terms":{', b'"terms":{"x":["y"],', 1).replace(b"],}", b"]}"))
        for name, value in changes.items():
            column = name.split()[0] if name not in ("data", "terms") else "body"
            label = column if name not in ("data", "terms") else name
            tried[label] += 1
            problems = after(log, (f"UPDATE events SET {column} = ? WHERE serial = ?", (value, serial)))
            if column == "body" and content_is(value, plain):
                same += 1  # a padding bit of the packing: nothing that was recorded has changed
                assert not problems
            else:
                found[label] += located(problems, serial)
    print(f"\nseed {SEED}, {EVENTS} events; field: changed / found at the right event")
    for name, count in tried.items():
        print(f"  {name:<9} {count:>5} / {found[name]}")
    print(f"  {same} changes of the body hit padding bits of its packing and changed nothing")
    tried["body"] -= same
    assert tried == found and same < 30


def content_is(packed: bytes, plain: bytes) -> bool:
    try:
        return unpack(packed) == plain
    except ValueError:
        return False


def test_every_file_changed_or_removed_is_located(log: Store) -> None:
    rng = random.Random(SEED)
    owners: dict[str, int] = {}
    for summary in log.jobs():
        for event in log.read(summary.job):
            for digest in event.blobs.hashes.values():
                owners.setdefault(digest, event.serial)
    assert len(owners) > 40
    for digest, serial in owners.items():
        key = bytes.fromhex(digest)
        packed = log.engine.rows("SELECT packed FROM blobs WHERE hash = ?", (key,))[0][0]
        for region in range(4):
            part = len(packed) * region // 4
            worse = packed[:part] + changed_bytes(rng, packed[part:])
            assert located(after(log, ("UPDATE blobs SET packed = ? WHERE hash = ?", (worse, key))), serial)
        assert located(after(log, ("DELETE FROM blobs WHERE hash = ?", (key,))), serial)
    print(f"\n{len(owners)} files: {5 * len(owners)} changes, all located")


def test_every_event_dropped_and_every_pair_exchanged_is_located(log: Store) -> None:
    rng = random.Random(SEED)
    for serial in range(1, EVENTS + 1):
        assert located(after(log, ("DELETE FROM events WHERE serial = ?", (serial,))), serial), serial
    swaps = [(n, n + 1) for n in range(1, EVENTS)] + [tuple(rng.sample(range(1, EVENTS + 1), 2)) for _ in range(200)]
    for a, b in swaps:
        problems = after(
            log,
            ("UPDATE events SET serial = -1 WHERE serial = ?", (a,)),
            ("UPDATE events SET serial = ? WHERE serial = ?", (a, b)),
            ("UPDATE events SET serial = ? WHERE serial = -1", (b,)),
        )
        assert located(problems, a) and located(problems, b), (a, b)
    print(f"\n{EVENTS} events dropped one by one, {len(swaps)} pairs exchanged: all located")


def hidden(log: Store, keep: int) -> list[tuple[str, tuple[Any, ...]]]:
    """Cut the end off after event `keep`, and everything that would tell."""
    (last,) = log.engine.rows("SELECT hash FROM events WHERE serial = ?", (keep,))[0]
    return [
        ("DELETE FROM terms WHERE event IN (SELECT id FROM events WHERE serial > ?)", (keep,)),
        ("DELETE FROM events WHERE serial > ?", (keep,)),
        ("UPDATE benches SET serial = ?, hash = ?", (keep, last)),
        ("DELETE FROM jobs WHERE id NOT IN (SELECT job FROM events)", ()),
    ]  # fmt: skip


def test_every_cut_end_is_located_against_the_exported_head_only(log: Store) -> None:
    head = log.heads()[0]
    unseen = 0
    for keep in range(1, EVENTS):
        changes = hidden(log, keep)
        unseen += not after(log, *changes, tidy=True)
        for known in (head, Head.parse(head.short())):
            assert located(after(log, *changes, heads=(known,)), keep + 1), keep
    print(f"\n{EVENTS - 1} ends cut off and hidden: {unseen} unseen without a head, all located against it")
    assert unseen == EVENTS - 1  # what an unkeyed chain cannot prove, as the documents say


def rewritten(log: Store, serial: int) -> list[tuple[str, tuple[Any, ...]]]:
    """Change one event and compute the chain again from there on."""
    rows = log.engine.rows(
        "SELECT e.serial, j.job, e.kind, e.at, e.body FROM events e JOIN jobs j ON j.id = e.job ORDER BY e.serial"
    )
    previous, changes = GENESIS, list[tuple[str, tuple[Any, ...]]]()
    for number, job, kind, at, body in rows:
        kind = "answer" if number == serial else kind
        fresh = event_hash("B", number, job, kind, at, previous, unpack(body))
        if number >= serial:
            values = (kind, bytes.fromhex(previous), bytes.fromhex(fresh), number)
            changes.append(("UPDATE events SET kind = ?, previous = ?, hash = ? WHERE serial = ?", values))
        previous = fresh
    return [*changes, ("UPDATE benches SET hash = ?", (bytes.fromhex(previous),))]


def test_every_rewritten_chain_is_found_against_the_exported_head_only(log: Store) -> None:
    head = log.heads()[0]
    unseen = 0
    for serial in range(1, EVENTS + 1):
        changes = rewritten(log, serial)
        unseen += not after(log, *changes)
        assert located(after(log, *changes, heads=(head,)), head.serial), serial
    print(f"\n{EVENTS} chains computed again: {unseen} unseen without a head, all found against it")
    assert unseen == EVENTS


def test_flipped_bytes_of_the_file_itself_change_nothing_or_are_found(log: Store, tmp_path: Path) -> None:
    rng = random.Random(SEED)
    log.engine.run("PRAGMA wal_checkpoint(TRUNCATE)")
    whole = Path(log.name).read_bytes()
    events = [(e.hash, e.data) for job in log.jobs() for e in log.read(job.job)]
    outcome = Counter[str]()
    for number in range(400):
        content = bytearray(whole)
        content[rng.randrange(100, len(content))] ^= 1 << rng.randrange(8)
        path = tmp_path / f"{number}.db"
        path.write_bytes(content)
        outcome[read_back(path, events)] += 1
        for side in tmp_path.glob(f"{number}.db*"):
            side.unlink()
    shutil.rmtree(tmp_path)
    print(f"\n400 single bits of the file flipped, seed {SEED}: {dict(outcome)}")
    assert set(outcome) <= {"found by verify", "refused as damaged", "nothing recorded was touched"}
    assert outcome["found by verify"] > 100


def read_back(path: Path, events: list[tuple[str, Any]]) -> str:
    from tester.errors import LoomwrightError

    try:
        with Store.open(path, "B") as log:
            if not log.verify().whole:
                return "found by verify"
            read = [(e.hash, e.data) for job in log.jobs() for e in log.read(job.job)]
            return "nothing recorded was touched" if read == events else "WRONG"
    except LoomwrightError:
        return "refused as damaged"
