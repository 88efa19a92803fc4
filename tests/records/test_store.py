"""The log as its callers see it: append, read, one transaction, numbers, search."""

from __future__ import annotations

import json
import subprocess
import sys
import threading
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest

from tester.errors import InputError, StoreError
from tester.records.events import Draft
from tester.records.search import Query
from tester.records.store import Store

NOON = datetime(2026, 3, 1, 12, 0, tzinfo=UTC)


@pytest.fixture
def log(tmp_path: Path) -> Store:
    return Store.open(tmp_path / "records.db", "BENCH")


def test_an_event_comes_back_as_it_was_given(log: Store) -> None:
    frame = bytes(range(256)) * 40
    job = log.new_job({"harness": "side door"}, terms={"tag": "T-17"}, at=NOON)
    log.append(job, "scan", {"purpose": "as-found", "rounds": 1}, {"walk": frame}, at=NOON)
    opened, scan = log.read(job)
    assert job == "BENCH-0001"
    assert (opened.kind, opened.data, opened.terms) == ("job-opened", {"harness": "side door"}, {"tag": ("T-17",)})
    assert (scan.serial, scan.bench, scan.job, scan.at) == (2, "BENCH", job, NOON)
    assert dict(scan.blobs) == {"walk": frame}
    assert scan.previous == opened.hash


def test_the_returned_event_equals_the_one_read_later(log: Store) -> None:
    job = log.new_job()
    written = log.append(job, "note", {"text": "ü [/b] \ud800", "pair": ("a", 1)}, {"photo": b"x"}, at=NOON)
    (read,) = [event for event in log.read(job) if event.kind == "note"]
    assert (read.data, read.hash, dict(read.blobs)) == (written.data, written.hash, dict(written.blobs))
    assert read.data["pair"] == ["a", 1]


def test_events_survive_closing_and_opening(tmp_path: Path) -> None:
    with Store.open(tmp_path / "r.db") as log:
        job = log.new_job({"n": 1})
        bench = log.bench
    with Store.open(tmp_path / "r.db") as log:
        assert log.bench == bench
        assert [event.data for event in log.read(job)] == [{"n": 1}]
        assert log.new_job() == f"{bench}-0002"


def test_several_events_are_one_transaction(log: Store) -> None:
    job = log.new_job()
    with pytest.raises(ValueError, match="JSON"), log.together():
        log.append(job, "tick", {"step": "s1"}, terms={"cavity": "H-1"})
        log.append(job, "measure", {"ohms": float("nan")})
    assert [event.kind for event in log.read(job)] == ["job-opened"]
    log.append_all([Draft(job, "tick", {"step": "s1"}, terms={"cavity": "H-1"}), Draft(job, "undo", {"step": "s1"})])
    assert [event.kind for event in log.read(job)] == ["job-opened", "tick", "undo"]
    assert [found.job for found in log.jobs(Query(cavity="h-1"))] == [job]
    assert log.verify().whole


def test_a_record_number_is_taken_only_with_its_first_event(log: Store) -> None:
    with pytest.raises(ValueError), log.together():
        log.new_job({"ohms": float("inf")})
    assert log.new_job() == "BENCH-0001"


def test_an_unknown_record_is_named_with_a_likely_one(log: Store) -> None:
    log.new_job()
    with pytest.raises(InputError, match="no record BENCH-0002") as caught:
        log.read("BENCH-0002")
    assert caught.value.hint == "did you mean BENCH-0001?"
    with pytest.raises(InputError, match="no record NOPE-0001"):
        log.append("NOPE-0001", "note")


def test_a_person_may_type_a_record_number_short_or_in_lower_case(log: Store) -> None:
    job = log.new_job()
    assert {log.job(text) for text in ("1", "bench-1", " BENCH-0001 ", "0001")} == {job}


def test_times_are_kept_in_utc_and_need_a_zone(log: Store) -> None:
    job = log.new_job(at=datetime(2026, 3, 1, 14, 0, tzinfo=timezone(timedelta(hours=2))))
    assert log.read(job)[0].at == NOON
    with pytest.raises(ValueError, match="zone"):
        log.append(job, "note", at=datetime(2026, 3, 1))


def test_a_clock_set_back_keeps_the_order_and_is_noted(log: Store) -> None:
    job = log.new_job(at=NOON)
    log.append(job, "note", {"n": 1}, at=NOON + timedelta(hours=1))
    log.append(job, "note", {"n": 2}, at=NOON)
    assert [event.data.get("n") for event in log.read(job)] == [None, 1, 2]
    found = log.verify()
    assert found.whole
    assert len(found.notes) == 1 and "clock went back before event 3" in found.notes[0]


def test_search_finds_by_each_field(log: Store) -> None:
    first = log.new_job(
        terms={"tag": "T-1", "harness": "Side Door", "plan": "mirror", "cavity": ["D-1", "H-11"]}, at=NOON
    )
    second = log.new_job(terms={"tag": "T-2", "harness": "hatch"}, at=NOON + timedelta(days=1))
    log.append(first, "verdict", terms={"verdict": "FAIL"})
    log.append(first, "verdict", terms={"verdict": "PASS"})

    def found(**fields: object) -> list[str]:
        return [summary.job for summary in log.jobs(Query(**fields))]  # type: ignore[arg-type]

    assert found() == [second, first]
    assert found(tag="t-1") == found(harness="side door") == found(plan="mir*") == found(cavity="H-11") == [first]
    assert found(cavity="H-1") == found(tag="T") == []
    assert found(since=NOON + timedelta(hours=1)) == [second]
    assert found(until=NOON + timedelta(hours=1)) == [first]
    assert found(job="bench-0002") == [second]
    assert found(terms={"verdict": "FAIL"}) == [first]
    assert found(limit=1) == [second] and found(limit=1, skip=1) == [first]
    assert log.jobs(Query(tag="T-1"))[0].term("verdict") == "PASS"


def test_search_text_is_never_sql(log: Store) -> None:
    log.new_job(terms={"tag": "'; DROP TABLE events; --", "%": "_"})
    assert len(log.jobs(Query(tag="'; drop table events; --"))) == 1
    assert log.jobs(Query(tag="%")) == log.jobs(Query(tag="\0")) == []


def test_the_same_file_is_stored_once(log: Store) -> None:
    job = log.new_job()
    for _ in range(3):
        log.append(job, "photo", blobs={"a.jpg": b"same" * 1000})
    assert log.engine.rows("SELECT count(*) FROM blobs") == [(1,)]


def test_bench_names_are_checked(tmp_path: Path) -> None:
    for name in ("", "lower", "A B", "1A", "ABCDEFGHIJKLM", "../X"):
        with pytest.raises(InputError, match="cannot name a bench"):
            Store.open(tmp_path / "r.db", name)


def test_a_log_in_memory_works_and_says_that_it_is_not_durable(tmp_path: Path) -> None:
    with Store.in_memory() as log:
        job = log.new_job()
        assert not log.durable and job == "MEMORY-0001" and log.verify().whole


def test_a_closed_log_says_so(log: Store) -> None:
    log.close()
    log.close()
    with pytest.raises(StoreError, match="closed"):
        log.new_job()


def test_importing_the_store_loads_no_database_layer() -> None:
    code = "import sys, json, tester.records.store; print(json.dumps([m for m in sys.modules if m in " \
        "('sqlite3', 'psycopg', 'sqlalchemy', 'textual', 'serial', 'pydantic')]))"  # fmt: skip
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert json.loads(out.stdout) == []


def test_threads_take_turns_on_one_log(log: Store) -> None:
    job = log.new_job()

    def work() -> None:
        for n in range(25):
            with log.together():
                log.append(job, "tick", {"n": n})
                log.append(job, "undo", {"n": n})

    threads = [threading.Thread(target=work) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    kinds = [event.kind for event in log.read(job)][1:]
    assert kinds == ["tick", "undo"] * 100 and log.verify().whole


def test_so_many_search_terms_that_not_all_are_kept_in_memory_are_all_found(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tester.records.index.MOST_KNOWN", 5)
    with Store.in_memory("A") as log:
        jobs = [log.new_job(terms={"tag": f"T-{n}", "plan": "one"}) for n in range(30)]
        assert len(log._terms) <= 7
        assert [log.jobs(Query(tag=f"T-{n}"))[0].job for n in range(30)] == jobs
        assert len(log.jobs(Query(plan="one"))) == 30 and log.verify().whole
