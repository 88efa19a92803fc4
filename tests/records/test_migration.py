"""Logs of older versions open, keep every event and chain, and are found as before."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest

from tester.errors import StoreError
from tester.records import schema
from tester.records.search import Query
from tester.records.store import Store

OLD = sorted((Path(__file__).parent / "old").glob("schema-*.sql"))
HEAD = "BAEE52BAE1D570FC0D0E29FE064F2AE715E5F6D5CD48727724FA6452C9A65649".lower()


def laid(script: Path, path: Path) -> Path:
    db = sqlite3.connect(path)
    db.executescript(script.read_text(encoding="utf-8"))
    db.close()
    return path


def test_each_older_version_is_kept_as_a_file() -> None:
    assert [path.stem for path in OLD] == [f"schema-{version}" for version in range(1, schema.VERSION)]
    assert sorted(schema.MIGRATIONS) == list(range(1, schema.VERSION))


@pytest.mark.parametrize("script", OLD, ids=lambda path: path.stem)
def test_an_older_log_is_brought_up_to_date_and_whole(script: Path, tmp_path: Path) -> None:
    with Store.open(laid(script, tmp_path / "r.db")) as log:
        assert log.bench == "OLD"
        assert log.engine.rows("SELECT value FROM meta WHERE name = 'schema'") == [(str(schema.VERSION),)]
        result = log.verify(log.heads())
        assert result.whole and result.events == 6
        assert result.heads[0].hash == HEAD
        first = log.jobs(Query(cavity="H-11"))[0]
        # 5 and 20 minutes at the bench; the night before the last event is a break
        assert (first.job, first.events, first.active_s) == ("OLD-0001", 4, 25 * 60)
        assert log.read("OLD-0001")[1].blobs["walk"] == bytes(range(256)) * 3
        log.append("OLD-0001", "note", {"text": "goes on"})
        assert log.verify().whole


@pytest.mark.parametrize("script", OLD, ids=lambda path: path.stem)
def test_an_older_log_that_cannot_be_written_says_so_and_stays(script: Path, tmp_path: Path) -> None:
    path = laid(script, tmp_path / "r.db")
    before = path.read_bytes()
    with pytest.raises(StoreError, match="older version"):
        Store.open(path, read_only=True)
    assert path.read_bytes() == before


@pytest.mark.parametrize("script", OLD, ids=lambda path: path.stem)
def test_a_migration_that_fails_leaves_the_old_log(
    script: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = laid(script, tmp_path / "r.db")
    last = schema.VERSION - 1
    monkeypatch.setitem(schema.MIGRATIONS, last, (*schema.MIGRATIONS[last], "INSERT INTO nowhere VALUES (1)"))
    with pytest.raises(StoreError, match="no such table"):
        Store.open(path)
    monkeypatch.undo()
    with Store.open(path) as log:
        assert log.verify().whole


def test_a_lost_index_is_made_again(tmp_path: Path) -> None:
    with Store.open(laid(OLD[0], tmp_path / "r.db")) as log:
        before = log.jobs()
        log.engine.run("DELETE FROM terms")
        log.engine.run("UPDATE jobs SET opened = '2020-01-01T00:00:00.000000Z', events = 1")
        assert [problem.what for problem in log.verify().problems] == ["index", "index"]
        log.rebuild_index()
        assert log.verify().whole and log.jobs() == before
