"""Events that fit their chain but are not as this program writes them: refused by name, not a crash."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from tester.cli.main import main
from tester.errors import StoreError
from tester.job.job import Job
from tester.job.shapes import SHAPES, misfit
from tester.job.state import _CHANGES
from tester.records.store import Store
from tester.shipped import shipped
from tests.support.demo import demo_plan

PLAN = shipped("fixtures", "plans", "side-door.toml").read_text("utf-8")
VERDICT: dict[str, Any] = {
    "verdict": "PASS", "scope": ["continuity"], "not_in_scope": [], "cavities": [], "faults": [], "explanations": 0,
    "exact": True, "outcome": "", "unproven": [], "untested": [], "grade": "wire", "from-the-future": {},
}  # fmt: skip


@pytest.mark.parametrize(
    ("kind", "data", "wrong"),
    [
        ("plan", {"name": "p.toml"}, "text is missing"),
        ("plan", [], "itself"),
        ("leads", {"maps": [{"name": "l", "text": "x"}, {"name": "l", "text": 7}]}, "maps 2, text"),
        ("tick", {"step": []}, "step"),
        ("verdict", VERDICT | {"verdict": "pass"}, "verdict"),
        ("verdict", VERDICT | {"exact": 1}, "exact"),
        ("verdict", VERDICT | {"reach": {"joined_ohms": None}}, "reach"),
        ("job-opened", {"celsius": float("inf")}, "celsius"),
        ("wiggle", {"dropouts": {}}, "dropouts"),
        ("verdict", VERDICT, ""),
        ("tick", {"step": "1", "by": None, "later": [1]}, ""),
        ("from-the-future", {"step": []}, ""),
    ],
)
def test_what_is_not_as_it_must_be_is_named(kind: str, data: object, wrong: str) -> None:
    assert misfit(kind, data) == wrong


def test_every_kind_that_the_fold_reads_data_of_has_a_shape() -> None:
    assert set(_CHANGES) - set(SHAPES) == {"leads-done", "finished"}


@pytest.mark.parametrize(
    ("kind", "data"), [("tick", {}), ("plan", {"name": 1, "text": 2}), ("verdict", {"verdict": "PASS"})]
)
def test_a_record_with_such_an_event_is_refused_by_each_command(
    kind: str, data: dict[str, Any], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    place = tmp_path / "log.db"
    with Store.open(place, "B") as log:
        record = log.new_job({"tag": "T"}, terms={"plan": demo_plan().id})
        log.append(record, kind, data)
        with pytest.raises(StoreError, match=f"event 2 of bench B, {kind}: "):
            Job.take_up(log, record)
    for words in (["show", record], ["replay", record], ["report", record, "--output", str(tmp_path / "r.html")]):
        assert main(["records", *words, "--log", str(place)]) == 5
        told = capsys.readouterr().err
        assert "not as this program writes it" in told and "internal error" not in told
    assert main(["records", "list", "--log", str(place)]) == 0
    assert main(["records", "verify", "--log", str(place)]) == 0


@pytest.mark.parametrize("name", ["\ud800", "a\udcffb", "\u202eabc", "{}%s", "'; DROP TABLE jobs;--", "=cmd|x", "a\0b"])
def test_any_name_is_listed_and_shown_as_words_and_as_json(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    place = tmp_path / "log.db"
    with Store.open(place, "B") as log:
        record = log.new_job({"tag": name, "by": name}, terms={"tag": name})
        log.append(record, "plan", {"name": name, "text": PLAN})
        log.append(record, "note", {"text": name})
        log.append(record, "board", {"model": name, "serial": name})
    for words in (["list"], ["list", "--json"], ["list", name], ["show", record], ["show", record, "--json"]):
        assert main(["records", *words, "--log", str(place)]) == 0, capsys.readouterr().err
        told = capsys.readouterr().out
        told.encode("utf-8")
        assert record in told
