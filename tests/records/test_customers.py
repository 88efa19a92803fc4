"""Removing a customer reference: nothing of it stays in the log's files, and the chain stays whole."""

from __future__ import annotations

from pathlib import Path

import pytest

from tester.errors import InputError
from tester.records.customers import commitment, customer, forget_customer, set_customer
from tester.records.search import Query
from tester.records.store import Store

REFERENCE = "Zimmermann-Kowalczyk order 88123"


def bytes_in(folder: Path, *wanted: bytes) -> list[str]:
    return [path.name for path in folder.iterdir() if any(part in path.read_bytes() for part in wanted)]


def test_a_reference_is_found_until_it_is_removed(tmp_path: Path) -> None:
    with Store.open(tmp_path / "r.db") as log:
        job, other = log.new_job(), log.new_job()
        set_customer(log, job, REFERENCE)
        set_customer(log, other, "somebody else")
        assert customer(log, job) == REFERENCE
        assert [found.job for found in log.jobs(Query(customer="zimmermann*"))] == [job]
        assert forget_customer(log, REFERENCE.upper()) == [job]
        assert customer(log, job) == "" and log.jobs(Query(customer="zimmermann*")) == []
        assert customer(log, other) == "somebody else"
        assert [event.kind for event in log.read(job)] == ["job-opened", "customer", "customer-removed"]
        assert log.verify(log.heads()).whole
        assert forget_customer(log, REFERENCE) == []


def test_no_byte_of_it_stays_in_the_logs_files(tmp_path: Path) -> None:
    with Store.open(tmp_path / "r.db") as log:
        job = log.new_job()
        set_customer(log, job, REFERENCE)
        (salt,) = log.engine.rows("SELECT salt FROM customers")[0]
        text, folded = REFERENCE.encode(), REFERENCE.casefold().encode()
        assert bytes_in(tmp_path, text) and bytes_in(tmp_path, salt)  # the search below can find what is there
        forget_customer(log, REFERENCE)
        assert bytes_in(tmp_path, text, folded, salt) == []
    assert bytes_in(tmp_path, text, folded, salt) == []


def test_the_same_reference_leaves_a_different_trace_each_time(tmp_path: Path) -> None:
    with Store.open(tmp_path / "r.db") as log:
        a, b = log.new_job(), log.new_job()
        traces = {str(set_customer(log, job, REFERENCE).data["commitment"]) for job in (a, b, a)}
        assert len(traces) == 3
        assert sorted(forget_customer(log, REFERENCE)) == [a, b]


def test_the_commitment_is_what_the_documents_say() -> None:
    # SHA-256 of the salt followed by the text; value computed with coreutils: printf 'saltText' | sha256sum
    assert commitment(b"salt", "Text") == "ac818f27605dc55988e58b6a409f70dd2c1a29a2cd4baddeec32a0057b4e43da"


def test_an_empty_or_endless_reference_is_refused(tmp_path: Path) -> None:
    with Store.open(tmp_path / "r.db") as log:
        job = log.new_job()
        for text in ("", "  ", "\0\n", "x" * 501):
            with pytest.raises(InputError, match="customer reference"):
                set_customer(log, job, text)
