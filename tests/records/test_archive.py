"""Archives: moved whole, merged, recognised, and refused when anything in them is not as it should be."""

from __future__ import annotations

import base64
import gzip
import json
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from tester.errors import InputError, StoreError
from tester.records.archive import export_log, import_log
from tester.records.customers import customer, forget_customer, set_customer
from tester.records.events import GENESIS, digest, event_hash
from tester.records.packing import BODY_LIMIT
from tester.records.search import Query
from tester.records.store import Store
from tests.support.logs import fill


@pytest.fixture
def source(tmp_path: Path) -> Store:
    log = Store.open(tmp_path / "a.db", "A")
    job = log.new_job({"n": 0}, terms={"tag": "T-1", "cavity": ["D-1", "H-11"]})
    for n in range(1, 6):
        log.append(job, "scan", {"n": n}, {"walk": bytes([n]) * 1000, "same": b"same" * 50})
    log.new_job({"n": 9}, terms={"tag": "T-2"})
    return log


def lines(path: Path) -> list[dict[str, Any]]:
    return [json.loads(line) for line in gzip.decompress(path.read_bytes()).splitlines()]


def write(path: Path, values: list[Any]) -> Path:
    path.write_bytes(gzip.compress(b"".join(json.dumps(v, separators=(",", ":")).encode() + b"\n" for v in values)))
    return path


def test_a_log_comes_back_whole_from_its_archive(source: Store, tmp_path: Path) -> None:
    written = export_log(source, tmp_path / "x.archive")
    assert (written.events, written.files) == (7, 6)
    with Store.open(tmp_path / "b.db", "B") as log:
        taken = import_log(log, tmp_path / "x.archive")
        assert (taken.events, taken.known, taken.files) == (7, 0, 6)
        assert log.verify(source.heads()).whole
        assert [found.job for found in log.jobs(Query(cavity="h-11"))] == ["A-0001"]
        assert [(e.kind, e.data, dict(e.blobs), e.hash) for e in log.read("A-0001")] == [
            (e.kind, e.data, dict(e.blobs), e.hash) for e in source.read("A-0001")
        ]
        assert log.new_job() == "B-0001"


def test_what_is_there_already_is_recognised_and_only_the_rest_is_taken(source: Store, tmp_path: Path) -> None:
    with Store.open(tmp_path / "b.db", "B") as log:
        import_log(log, _exported(source, tmp_path))
        assert import_log(log, tmp_path / "x.archive").known == 7
        source.append("A-0001", "note", {"later": True})
        taken = import_log(log, _exported(source, tmp_path))
        assert (taken.events, taken.known) == (1, 7)
        assert log.verify(source.heads()).whole


def test_only_what_came_after_a_head_can_be_sent(source: Store, tmp_path: Path) -> None:
    with Store.open(tmp_path / "b.db", "B") as log:
        import_log(log, _exported(source, tmp_path))
        heads = log.heads()
        source.append("A-0002", "note", {}, {"f": b"new"})
        assert export_log(source, tmp_path / "y.archive", after=heads).events == 1
        assert import_log(log, tmp_path / "y.archive").events == 1
        assert log.verify(source.heads()).whole


def test_benches_that_worked_offline_merge_in_both_directions(source: Store, tmp_path: Path) -> None:
    with Store.open(tmp_path / "b.db", "B") as other:
        other.new_job({"n": 1}, terms={"tag": "T-9"})
        import_log(other, _exported(source, tmp_path))
        other.append("A-0001", "note", {"text": "at the other bench"})
        export_log(other, tmp_path / "back.archive")
        taken = import_log(source, tmp_path / "back.archive")
        assert (taken.events, taken.known) == (2, 7)
        for log in (source, other):
            assert log.verify([*source.heads(), *other.heads()]).whole
        assert [e.data for e in source.read("A-0001")][-1] == {"text": "at the other bench"}
        assert sorted(f.job for f in source.jobs()) == ["A-0001", "A-0002", "B-0001"]


def test_what_another_bench_adds_comes_last_though_its_clock_is_an_hour_behind(tmp_path: Path) -> None:
    ahead = datetime.now(UTC) + timedelta(hours=1)
    with Store.open(tmp_path / "z.db", "Z") as here, Store.open(tmp_path / "a.db", "A") as there:
        job = here.new_job({}, at=ahead)
        here.append(job, "verdict", {"verdict": "PASS"}, at=ahead)
        import_log(there, _exported(here, tmp_path))
        touched = there.append(job, "touched", {})
        assert there.append(job, "note", {}).at >= touched.at > ahead
        export_log(there, tmp_path / "back.archive")
        import_log(here, tmp_path / "back.archive")
        for log in (here, there):
            assert [event.kind for event in log.read(job)] == ["job-opened", "verdict", "touched", "note"]
            assert log.verify().whole


def test_a_lost_log_is_brought_back_and_goes_on_counting(source: Store, tmp_path: Path) -> None:
    _exported(source, tmp_path)
    with Store.open(tmp_path / "new.db", "A") as log:
        import_log(log, tmp_path / "x.archive")
        assert log.new_job() == "A-0003" and log.verify().whole


def test_a_chain_continued_in_two_places_is_refused(source: Store, tmp_path: Path) -> None:
    _exported(source, tmp_path)
    with Store.open(tmp_path / "copy.db", "A") as copy:
        import_log(copy, tmp_path / "x.archive")
        copy.new_job({"here": 1})
        source.new_job({"there": 1})
        before = copy.heads()
        with pytest.raises(InputError, match="event 8 of bench A is another one here"):
            import_log(copy, _exported(source, tmp_path))
        assert copy.heads() == before and copy.verify().whole


def test_customer_references_stay_at_home_unless_asked_for(source: Store, tmp_path: Path) -> None:
    set_customer(source, "A-0001", "order 4711")
    with Store.open(tmp_path / "b.db", "B") as log:
        import_log(log, _exported(source, tmp_path))
        assert customer(log, "A-0001") == ""
        assert b"4711" not in gzip.decompress((tmp_path / "x.archive").read_bytes())
        export_log(source, tmp_path / "with.archive", customers=True)
        assert import_log(log, tmp_path / "with.archive").customers == 1
        assert customer(log, "A-0001") == "order 4711"


def test_a_removed_customer_reference_does_not_come_back_with_an_old_archive(source: Store, tmp_path: Path) -> None:
    set_customer(source, "A-0001", "order 4711")
    export_log(source, tmp_path / "with.archive", customers=True)
    forget_customer(source, "order 4711")
    assert import_log(source, tmp_path / "with.archive").customers == 0
    assert customer(source, "A-0001") == ""


def test_a_damaged_log_is_not_passed_on_and_the_old_archive_stays(source: Store, tmp_path: Path) -> None:
    path = _exported(source, tmp_path)
    before = path.read_bytes()
    source.engine.run("DROP TRIGGER events_no_UPDATE")
    source.engine.run("UPDATE events SET kind = 'x' WHERE serial = 3")
    with pytest.raises(StoreError, match="event 3 of bench A"):
        export_log(source, path)
    assert path.read_bytes() == before
    assert sorted(p.name for p in tmp_path.iterdir() if "archive" in p.name) == ["x.archive"]


def test_an_archive_says_the_same_bytes_for_the_same_log(source: Store, tmp_path: Path) -> None:
    export_log(source, tmp_path / "1.archive")
    export_log(source, tmp_path / "2.archive")
    assert (tmp_path / "1.archive").read_bytes() == (tmp_path / "2.archive").read_bytes()


def _exported(log: Store, folder: Path) -> Path:
    export_log(log, folder / "x.archive")
    return folder / "x.archive"


def _resealed(line: dict[str, Any], **change: Any) -> dict[str, Any]:
    """An event line with changed fields and a hash that fits them."""
    names = ("bench", "serial", "job", "kind", "at", "previous", "hash")
    head = dict(zip(names, line["event"], strict=True)) | {k: v for k, v in change.items() if k != "body"}
    body = change.get("body", line["body"])
    if "hash" not in change:
        head["hash"] = event_hash(*(head[n] for n in names[:6]), body.encode())
    return {"event": [head[n] for n in names], "body": body}


def _last_event(values: list[Any], **change: Any) -> list[Any]:
    """The archive with its last event changed, its hash and the promised head computed again."""
    place = max(i for i, v in enumerate(values) if "event" in v)
    values[place] = _resealed(values[place], **change)
    bench, serial, *_, hash_now = values[place]["event"]
    values[0]["heads"] = [f"{bench}:{serial}:{hash_now}"]
    return values


HOSTILE: dict[str, Callable[[list[Any]], list[Any]]] = {
    "a changed body": lambda v: [x if "event" not in x else {**x, "body": x["body"].replace("9", "8")} for x in v],
    "a changed file": lambda v: [
        x if "blob" not in x else {**x, "content": base64.b64encode(b"x").decode()} for x in v
    ],
    "a file that is left out": lambda v: [x for x in v if "blob" not in x],
    "an event that is left out": lambda v: v[:2] + v[5:],
    "the end cut off": lambda v: v[:-1],
    "the last events cut off": lambda v: [*v[:-2], {"end": 6}],
    "two events exchanged": lambda v: [*v[:-3], v[-2], v[-3], v[-1]],
    "an event twice": lambda v: [*v[:-1], v[-2], {"end": 8}],
    "a wrong count": lambda v: [*v[:-1], {"end": 3}],
    "something after the end": lambda v: [*v, v[1]],
    "an unknown kind of line": lambda v: [v[0], {"run": "rm -rf /"}, *v[1:]],
    "a file without event": lambda v: [*v[:-1], {"blob": digest(b"x"), "content": "eA=="}, v[-1]],
    "no head": lambda v: [{**v[0], "heads": []}, *v[1:]],
    "another head": lambda v: [{**v[0], "heads": ["A:7:" + "0" * 64]}, *v[1:]],
    "a newer version": lambda v: [{**v[0], "version": 2}, *v[1:]],
    "another format": lambda v: [{**v[0], "format": "tar"}, *v[1:]],
    "heads that are no list": lambda v: [{**v[0], "heads": "A"}, *v[1:]],
    "a line that is a list": lambda v: [v[0], [1, 2], *v[1:]],
    "a record named like a path": lambda v: _last_event(v, job="../../etc/passwd"),
    "a record number padded": lambda v: _last_event(v, job="A-00002"),
    "a bench named like a path": lambda v: _last_event(v, bench="../A"),
    "a kind with a blank": lambda v: _last_event(v, kind="a b"),
    "a time that is none": lambda v: _last_event(v, at="yesterday"),
    "a time in another writing": lambda v: _last_event(v, at="2026-03-01T12:00:00Z"),
    "a serial that is text": lambda v: _last_event(v, serial="7"),
    "a serial beyond all": lambda v: _last_event(v, serial=10**30),
    "a body that is no object": lambda v: _last_event(v, body="[]"),
    "a body with more in it": lambda v: _last_event(v, body='{"blobs":{},"data":{},"more":1,"terms":{}}'),
    "a body written otherwise": lambda v: _last_event(v, body='{"blobs":{}, "data":{}, "terms":{}}'),
    "terms that are numbers": lambda v: _last_event(v, body='{"blobs":{},"data":{},"terms":{"tag":[1]}}'),
    "a file hash that is a path": lambda v: _last_event(v, body='{"blobs":{"a":"../../x"},"data":{},"terms":{}}'),
    "a file that nobody has": lambda v: _last_event(v, body='{"blobs":{"a":"' + "0" * 64 + '"},"data":{},"terms":{}}'),
    "deep nesting": lambda v: _last_event(
        v, body='{"blobs":{},"data":' + '{"a":' * 100000 + "1" + "}" * 100000 + ',"terms":{}}'
    ),
    "a body larger than a record may hold": lambda v: _last_event(
        v, body='{"blobs":{},"data":{"a":"' + "x" * BODY_LIMIT + '"},"terms":{}}'
    ),
    "a number beyond all": lambda v: _last_event(v, body='{"blobs":{},"data":{"a":1e999},"terms":{}}'),
    "a wrong first link": lambda v: [v[0], _resealed(v[1], previous="1" * 64), *v[2:]],
    "an event short of fields": lambda v: [v[0], {"event": [1], "body": "{}"}, *v[1:]],
    "a wrong customer": lambda v: [v[0], {"customer": ["0" * 64, "00" * 32, "x"]}, *v[1:]],
}


@pytest.mark.parametrize("attack", HOSTILE.values(), ids=HOSTILE)
def test_a_hostile_archive_is_refused_and_nothing_of_it_is_taken(
    attack: Callable[[list[Any]], list[Any]], source: Store, tmp_path: Path
) -> None:
    path = write(tmp_path / "bad.archive", attack(lines(_exported(source, tmp_path))))
    with Store.open(tmp_path / "b.db", "B") as log:
        job = log.new_job({"mine": 1})
        before = (log.heads(), log.engine.rows("SELECT COUNT(*) FROM blobs"), log.engine.rows("SELECT * FROM benches"))
        with pytest.raises(InputError) as caught:
            import_log(log, path)
        assert len(str(caught.value)) < 600
        assert before == (
            log.heads(),
            log.engine.rows("SELECT COUNT(*) FROM blobs"),
            log.engine.rows("SELECT * FROM benches"),
        )
        log.append(job, "note")
        assert log.verify().whole


def test_the_unchanged_archive_passes_the_same_way(source: Store, tmp_path: Path) -> None:
    path = write(tmp_path / "same.archive", _last_event(lines(_exported(source, tmp_path))))
    with Store.open(tmp_path / "b.db", "B") as log:
        assert import_log(log, path).events == 7


NO_ARCHIVES = {
    "nothing": b"",
    "not gzip": b"not gzip",
    "gzip of nothing": gzip.compress(b"", mtime=0),
    "gzip of no text": gzip.compress(b"\xff\xfe\n", mtime=0),
    "gzip of an empty object": gzip.compress(b"{}\n", mtime=0),
    "gzip of brackets": gzip.compress(b"[" * 99999, mtime=0),
}


@pytest.mark.parametrize("content", NO_ARCHIVES.values(), ids=NO_ARCHIVES)
def test_a_file_that_is_no_archive_is_refused(content: bytes, tmp_path: Path) -> None:
    (tmp_path / "x").write_bytes(content)
    with Store.open(tmp_path / "b.db") as log:
        with pytest.raises(InputError):
            import_log(log, tmp_path / "x")
        with pytest.raises(InputError, match="folder"):
            import_log(log, tmp_path)
        with pytest.raises(InputError, match="cannot read"):
            import_log(log, tmp_path / "nowhere")


def test_each_cut_and_each_flipped_byte_of_an_archive_is_found(source: Store, tmp_path: Path) -> None:
    whole = _exported(source, tmp_path).read_bytes()
    with Store.open(tmp_path / "b.db", "B") as log:
        for place in range(0, len(whole), max(1, len(whole) // 60)):
            flipped = bytearray(whole)
            flipped[place] ^= 0x10
            for content in (whole[:place], bytes(flipped)):
                if content[10:] == whole[10:]:
                    continue  # time, level and system in gzip's own header mean nothing
                (tmp_path / "bad").write_bytes(content)
                with pytest.raises(InputError):
                    import_log(log, tmp_path / "bad")
        assert log.heads() == []


def test_an_archive_that_unpacks_without_end_is_given_up(tmp_path: Path) -> None:
    (tmp_path / "bomb").write_bytes(gzip.compress(b"0" * 100_000_000))
    assert (tmp_path / "bomb").stat().st_size < 400_000
    with Store.open(tmp_path / "b.db") as log, pytest.raises(InputError, match="larger than an archive may be"):
        import_log(log, tmp_path / "bomb")


def test_the_total_is_limited_too(source: Store, tmp_path: Path) -> None:
    with Store.open(tmp_path / "b.db") as log, pytest.raises(InputError, match="larger than an archive may be"):
        import_log(log, _exported(source, tmp_path), total_limit=3000)


def test_the_first_event_has_no_event_before_it(source: Store, tmp_path: Path) -> None:
    assert lines(_exported(source, tmp_path))[1]["event"][5] == GENESIS


def test_figures_and_search_see_imported_records(tmp_path: Path) -> None:
    with Store.open(tmp_path / "a.db", "A") as a, Store.open(tmp_path / "b.db", "B") as b:
        fill(a, 30, 1)
        import_log(b, _exported(a, tmp_path))
        assert a.jobs() == b.jobs()
