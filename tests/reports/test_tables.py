"""CSV, JSON and JUnit, read back by readers that are not ours."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace

import pytest
from defusedxml import ElementTree
from junitparser import Failure, JUnitXml, Skipped

from tester.reports.escape import cell
from tester.reports.junit import junit_xml
from tester.reports.tables import COLUMNS, cavities_csv, csv_text, record_json
from tests.support.jobs import ATTACKS, bad_job, good_job, hostile_job


def read(text: str) -> list[list[str]]:
    assert text.startswith("\ufeff")
    return list(csv.reader(io.StringIO(text[1:], newline=""), strict=True))


def test_one_row_for_each_cavity() -> None:
    rows = read(cavities_csv([good_job(), bad_job()]))
    assert tuple(rows[0]) == COLUMNS and len(rows) == 101
    failed = next(row for row in rows if row[0] == "BENCH-0013" and row[7] == "H-11")
    assert failed[7:] == ["H-11", "FAIL", "D-8", "", "true", "proven", ""]


def test_no_cell_can_be_run_as_a_formula() -> None:
    rows = read(csv_text(("=A1", "b"), [(attack, 1.5) for attack in ATTACKS]))
    for row in [*rows, *read(cavities_csv([hostile_job()]))]:
        for value in row:
            assert not value.lstrip(" \u00a0").startswith(("=", "+", "-", "@", "\uff1d", "|", "%")), value
            assert not any(ord(c) < 32 for c in value)
    assert [row[1] for row in rows[1:]] == ["1.5"] * len(ATTACKS)


def test_numbers_stay_numbers_and_nothing_stays_empty() -> None:
    assert [cell(value) for value in (-1.5, 3, None, "", True, "-1.5")] == ["-1.5", "3", "", "", "true", "'-1.5"]


def test_json_holds_the_whole_record_without_pictures() -> None:
    kept = json.loads(record_json(hostile_job()))
    assert kept["record"] == "BENCH-0014" and len(kept["verdict"]["cavities"]) == 50
    assert "content" not in kept["photos"][0]


def test_junit_is_read_by_junitparser() -> None:
    xml = JUnitXml.fromstring(junit_xml([good_job(), bad_job(), replace(good_job(), verdict=None)]).encode())
    good, bad, none = list(xml)
    assert (good.name, good.tests, good.failures, good.skipped) == ("BENCH-0012", 50, 0, 0)
    assert (bad.tests, bad.failures, bad.skipped) == (50, 2, 1)
    assert (none.tests, none.errors) == (1, 1)
    cases = {case.name: case for case in bad}
    (failure,) = cases["H-11"].result
    assert isinstance(failure, Failure) and failure.type == "miswire"
    assert failure.message == "expected with D-8, measured with nothing"
    assert isinstance(cases["H-32"].result[0], Skipped)
    assert {p.name: p.value for p in bad.properties()}["scope"].startswith("continuity and isolation")


def test_junit_of_hostile_names_is_well_formed() -> None:
    ElementTree.fromstring(junit_xml([hostile_job()]).encode("utf-8"))


@pytest.mark.parametrize("attack", ATTACKS)
def test_each_attack_alone_is_well_formed(attack: str) -> None:
    job = replace(good_job(), record=attack, harness=attack)
    root = ElementTree.fromstring(junit_xml([job]).encode("utf-8"))
    assert len(root) == 1
