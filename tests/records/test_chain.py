"""What verify finds."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest

from tester.records.events import GENESIS, Head, event_hash
from tester.records.packing import pack, unpack
from tester.records.store import Store


@pytest.fixture
def path(tmp_path: Path) -> Path:
    with Store.open(tmp_path / "r.db", "B") as log:
        job = log.new_job({"n": 0}, terms={"tag": "T"})
        for n in range(1, 9):
            log.append(job, "note", {"n": n}, {"f": bytes([n]) * 300})
    return tmp_path / "r.db"


def tamper(path: Path, *statements: str) -> None:
    db = sqlite3.connect(path)
    for (name,) in db.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
        db.execute(f"DROP TRIGGER {name}")
    for statement in statements:
        db.execute(statement)
    db.commit()
    db.close()


def found(path: Path, heads: list[Head] | None = None) -> list[tuple[str, int]]:
    with Store.open(path) as log:
        return [(problem.what, problem.serial) for problem in log.verify(heads or []).problems]


def head(path: Path) -> Head:
    with Store.open(path) as log:
        (only,) = log.heads()
        return only


def test_an_untouched_log_is_whole(path: Path) -> None:
    with Store.open(path) as log:
        result = log.verify(log.heads())
    assert result.whole and result.events == 9 and result.blobs == 8 and result.notes == ()


def test_the_log_itself_refuses_to_change_or_drop_an_event(path: Path) -> None:
    db = sqlite3.connect(path)
    for statement in ("UPDATE events SET kind = 'x'", "DELETE FROM events", "DELETE FROM blobs"):
        with pytest.raises(sqlite3.IntegrityError, match="only ever added"):
            db.execute(statement)
    db.close()


def test_a_changed_event_is_named(path: Path) -> None:
    tamper(path, "UPDATE events SET kind = 'tick' WHERE serial = 4")
    assert found(path) == [("changed", 4)]


def test_a_removed_event_is_named(path: Path) -> None:
    tamper(path, "DELETE FROM events WHERE serial = 4")
    assert ("missing", 4) in found(path)


def test_two_exchanged_events_are_named(path: Path) -> None:
    tamper(
        path,
        "UPDATE events SET serial = 99 WHERE serial = 4",
        "UPDATE events SET serial = 4 WHERE serial = 6",
        "UPDATE events SET serial = 6 WHERE serial = 99",
    )
    assert {("changed", 4), ("changed", 6)} <= set(found(path))


def test_an_event_whose_hash_was_computed_again_is_named_by_the_link_after_it(path: Path) -> None:
    body = pack(b'{"blobs":{},"data":{"n":44},"terms":{}}')
    db = sqlite3.connect(path)
    at, previous = db.execute("SELECT at, previous FROM events WHERE serial = 4").fetchone()
    db.close()
    fresh = event_hash("B", 4, "B-0001", "note", at, previous.hex(), unpack(body))
    tamper(path, f"UPDATE events SET body = x'{body.hex()}', hash = x'{fresh}' WHERE serial = 4")
    assert found(path) == [("link", 4)]


def test_a_cut_off_end_is_found_against_the_head_even_if_the_log_hides_it(path: Path) -> None:
    known = head(path)
    db = sqlite3.connect(path)
    (last,) = db.execute("SELECT hash FROM events WHERE serial = 7").fetchone()
    db.close()
    tamper(path, "DELETE FROM events WHERE serial > 7", f"UPDATE benches SET serial = 7, hash = x'{last.hex()}'")
    with Store.open(path) as log:
        log.rebuild_index()
    assert found(path) == []
    assert found(path, [known]) == [("missing", 8)]
    assert found(path, [Head.parse(known.short())]) == [("missing", 8)]


def test_a_chain_that_was_computed_again_is_found_against_the_head(path: Path) -> None:
    known = head(path)
    db = sqlite3.connect(path)
    rows = db.execute("SELECT serial, kind, at, body FROM events ORDER BY serial").fetchall()
    db.close()
    previous, statements = GENESIS, []
    for serial, kind, at, body in rows:
        kind = "answer" if serial == 3 else kind
        fresh = event_hash("B", serial, "B-0001", kind, at, previous, unpack(body))
        statements.append(
            f"UPDATE events SET kind = '{kind}', previous = x'{previous}', hash = x'{fresh}' WHERE serial = {serial}"
        )
        previous = fresh
    tamper(path, *statements, f"UPDATE benches SET hash = x'{previous}'")
    assert found(path) == []
    assert found(path, [known]) == [("head", 9)]


def test_a_changed_or_removed_file_is_named_by_its_event(path: Path) -> None:
    changed, removed = pack(b"other").hex(), "(SELECT hash FROM blobs WHERE rowid = 6)"
    tamper(path, f"UPDATE blobs SET packed = x'{changed}' WHERE rowid = 2", f"DELETE FROM blobs WHERE hash = {removed}")
    assert found(path) == [("blob", 3), ("blob", 7)]


def test_a_search_entry_that_was_removed_is_found(path: Path) -> None:
    tamper(path, "DELETE FROM terms")
    assert found(path) == [("index", 0)]


def test_a_head_reads_back_from_both_its_forms(path: Path) -> None:
    known = head(path)
    assert Head.parse(str(known)) == known
    assert Head.parse(known.short().lower()).serial == known.serial
    for text in ("", "B:1", "B:x:" + "0" * 16, "B:1:zz", "1:1:" + "0" * 16, "B:\u0661:" + "0" * 16):
        with pytest.raises(ValueError, match="not a chain head"):
            Head.parse(text)
