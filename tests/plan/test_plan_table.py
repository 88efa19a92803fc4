"""Plans as spreadsheets: nothing is lost there and back, and a wrong row is named."""

from __future__ import annotations

import csv
import io
from random import Random
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tester.errors import InputError
from tester.plan.fromscan import plan_from_scan
from tester.plan.models import Plan
from tester.plan.table import export_csv, import_csv
from tests.support.demo import demo_plan, perfect_scan
from tests.support.rough_harness import random_work

NASTY = st.text(st.characters(codec="utf-8", exclude_categories=("Cc", "Cs")), max_size=12)
NAME = NASTY.filter(lambda text: text != "")


@pytest.mark.parametrize("name", ["side-door.toml", "side-door-full.toml"])
def test_the_demo_plans_come_back_equal(name: str) -> None:
    plan = demo_plan(name)
    assert import_csv(export_csv(plan), "plan.csv") == plan


def test_a_reference_plan_comes_back_equal() -> None:
    plan = plan_from_scan(perfect_scan("side-door-plain-after"), "reference")
    assert import_csv(export_csv(plan), "plan.csv") == plan


@settings(max_examples=60, deadline=None)
@given(st.randoms(use_true_random=False))
def test_random_plans_come_back_equal(random: Random) -> None:
    plan = Plan.model_validate(random_work(random).tables)
    assert import_csv(export_csv(plan), "plan.csv") == plan


@settings(max_examples=120, deadline=None)
@given(NAME, NASTY, NASTY, st.lists(NASTY.filter(bool), max_size=2))
def test_any_text_comes_back_as_it_was_and_no_cell_is_a_formula(id: str, note: str, title: str, see: list[str]) -> None:
    steps: list[dict[str, Any]] = [{"do": "look", "see": one, "note": note} for one in see]
    connector = {"id": "D", "cavities": 2, "title": title}
    plan = Plan.model_validate({"format": 1, "id": id, "revision": "=1+1", "connector": [connector], "step": steps})
    text = export_csv(plan)
    assert import_csv(text.encode(), "plan.csv") == plan
    for row in csv.reader(io.StringIO(text, newline="")):
        assert not any(cell[:1] in ("=", "+", "-", "@") for cell in row)


def test_a_row_a_wire_and_a_row_a_step() -> None:
    plan = demo_plan()
    rows = list(csv.DictReader(io.StringIO(export_csv(plan))))
    assert [row["id"] for row in rows if row["row"] == "wire"] == [wire.id for wire in plan.wire]
    assert [row["id"] for row in rows if row["row"] == "step"] == [step.id for step in plan.step]


@pytest.mark.parametrize("mark", [";", "\t"])
def test_other_separators_and_line_ends_of_spreadsheet_programs_are_read(mark: str) -> None:
    out = io.StringIO()
    writer = csv.writer(out, delimiter=mark)
    writer.writerows(csv.reader(io.StringIO(export_csv(demo_plan()))))
    assert import_csv(("\ufeff" + out.getvalue()).encode(), "plan.csv") == demo_plan()


def refusal(text: str | bytes) -> str:
    with pytest.raises(InputError) as caught:
        import_csv(text, "plan.csv")
    return str(caught.value)


HEAD = "row,id,do,cavity,format,revision,cavities\nplan,p,,,1,1,\nconnector,D,,,,,18\n"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (HEAD + "step,out,remove,D-19,,,\n", 'plan.csv, line 4, [[step]] 1 "out": connector D has no cavity 19'),
        (HEAD + "step,out,remve,D-1,,,\n", 'plan.csv, line 4, [[step]] 1 "out": unknown step "remve"'),
        (HEAD + "stap,out,remove,D-1,,,\n", 'line 4: "stap" in column row; one of plan, hazards'),
        (HEAD.replace("cavities", "cavties"), 'unknown key "cavties"; did you mean "cavities"?'),
        (HEAD.replace("18", "many"), "plan.csv, line 3, [[connector]] 1 \"D\", cavities: found 'many'; needs"),
        ("id,do\nx,y\n", 'one of them must be "row"'),
        ("row,id,id\n", 'the column "id" is there twice'),
        ("", 'one of them must be "row"'),
        (HEAD + "plan,q,,,1,2,\n", 'plan.csv, line 4: the row "plan" is in line 2 already; make one row of them'),
        (HEAD + "hazards,,,,,,\n" * 2, 'plan.csv, line 5: the row "hazards" is in line 4 already'),
        (
            HEAD + "side,left,,,,,\nside,right,,,,,\nside,left,,,,,\n",
            'line 6: the row "side left" is in line 4 already',
        ),
        (HEAD + 'step,"open', "plan.csv, line 4: not a spreadsheet row"),
        (b"\xff\xfe", "is not UTF-8"),
        ("row\n" + "step\n" * 20_002, "more than 20000 rows"),
    ],
)
def test_a_wrong_spreadsheet_gets_one_message_with_its_line(text: str | bytes, words: str) -> None:
    assert words in refusal(text)
