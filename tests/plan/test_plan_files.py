"""Plan files: one message for each mistake, with file, line, table and what would be right."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tester.errors import InputError
from tester.harness.netlist import Netlist
from tester.harness.reading import Measured
from tester.plan.fromscan import from_scan
from tester.plan.load import load_plan, plan_schema, write_plan
from tester.plan.models import Plan
from tests.support.rough_harness import random_work

HEAD = 'format = 1\nid = "p"\nrevision = "1"\n'
BODY = """[[connector]]
id = "D"
cavities = 18
[[wire]]
id = "W1"
colour = "RD"
a = { cavity = "D-1" }
b = { cavity = "D-2" }
"""
GOOD = HEAD + BODY
TUG = 'id = "x"\ndo = "tug"\ncavity = "D-1"\n'


def refusal(text: str | bytes) -> str:
    with pytest.raises(InputError) as caught:
        load_plan(text, "plan.toml")
    assert len(str(caught.value)) < 700
    return str(caught.value)


def step(words: str) -> str:
    return GOOD + "[[step]]\n" + words


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (
            step('do = "remove"\ncavty = "D-1"\n'),
            'plan.toml, line 14, [[step]] 1, cavty: unknown key "cavty"; did you mean "cavity"?',
        ),
        (step('do = "remve"\ncavity = "D-1"\n'), 'unknown step "remve"; one of unlock, '),
        (step('do = "remve"\ncavity = "D-1"\n'), 'did you mean "remove"?'),
        (step('cavity = "D-1"\n'), '"do" is missing'),
        (
            step('id = "out"\ndo = "remove"\ncavity = "D-19"\n'),
            '[[step]] 1 "out": connector D has no cavity 19; its cavities are 1 to 18',
        ),
        (step('do = "remove"\ncavity = "E-1"\n'), "there is no connector E; the plan has D"),
        (step('do = "remove"\ncavity = "bolt"\n'), "'bolt' is not a cavity; write connector and number, such as H-11"),
        (step('do = "remove"\ncavity = 7\n'), 'a cavity is text, such as "D-13"'),
        (step('do = "insert"\nwire = "W2"\nend = "a"\n'), 'there is no kit wire "W2"; the plan has W1'),
        (step('do = "insert"\nwire = "W1"\n'), 'which end of wire W1? add end = "a" or end = "b"'),
        (step('do = "insert"\nwire = "W1"\nend = "a"\ncavity = "D-3"\n'), "but the wire says D-1"),
        (step('do = "insert"\nlead = "old"\ncavity = "D-3"\n'), 'no earlier step names a lead "old"'),
        (
            step('do = "tug"\ncavity = "D-1"\nwhen = { occupied = "D-1", lone = "D-2" }\n'),
            "exactly one of occupied, joined",
        ),
        (step('do = "tug"\ncavity = "D-1"\nwhen = { ocupied = "D-1" }\n'), 'did you mean "occupied"?'),
        (step('do = "tug"\ncavity = "D-1"\nwhen = { occupied = "D-77" }\n'), "connector D has no cavity 77"),
        (step('do = "tug"\ncavity = "D-1"\nwhen = { side = "left" }\n'), 'there is no side "left"'),
        (
            step('do = "tug"\ncavity = "D-1"\nwhen = "D-1 occupied"\n'),
            "found 'D-1 occupied'; needs a table, such as when = {",
        ),
        (step('do = "splice"\nsplice = "S"\n'), 'splice "S" joins 0 lead; at least two are needed'),
        (step('do = "unlock"\nconnector = "Q"\n'), 'there is no connector "Q"; the plan has D'),
        (step('do = "move"\nfrom = "D-1"\nto = "D-1"\n'), "from and to are both D-1"),
        (step(TUG + "[[step]]\n" + TUG), 'the id "x" is used twice'),
        (GOOD.replace('"RD"', '"RED-ISH"'), '[[wire]] 1 "W1": "RED-ISH" is not a colour by IEC 60757'),
        (
            GOOD.replace('{ cavity = "D-2" }', '{ cavity = "D-2", ring = "G" }'),
            "an end has exactly one of cavity, splice, ring, lead",
        ),
        (GOOD.replace('{ cavity = "D-2" }', '{ splice = "S" }'), 'no step makes splice "S"'),
        (GOOD.replace("cavities = 18", ""), "give cavities = HOW MANY"),
        (
            GOOD.replace("cavities = 18", 'cavities = 2\nrows = ["1-3"]'),
            "the rows show cavity 3, which this connector does not have",
        ),
        (GOOD.replace("cavities = 18", "cavities = 18\nmoulded = [19]"), "moulded names cavity 19"),
        (
            HEAD + 'checks = ["continuty"]\n' + BODY,
            'one of continuity, isolation, resistance, direction, dropout; did you mean "continuity"?',
        ),
        (HEAD + "[limits]\ncelsius = nan\n" + BODY, "[limits], celsius: found nan; a finite number is needed"),
        (HEAD + "[limits]\ncelsius = inf\n" + BODY, "a finite number is needed"),
        (
            HEAD + '[hazards]\nrestraint = ["D-1"]\n' + BODY + "[[step]]\n" + TUG,
            "D-1 is declared as restraint in [hazards]; no step may touch it",
        ),
        (
            HEAD + '[hazards]\nrestraint = ["D-1"]\n' + BODY + '[[step]]\ndo = "insert"\nwire = "W1"\nend = "a"\n',
            "D-1 is declared as restraint",
        ),
        (HEAD + '[hazards]\nrestraint = "no"\n' + BODY, "[hazards], restraint"),
        (HEAD + '[expected]\ncircuits = [["D-1", "D-2"], ["D-2", "D-3"]]\n' + BODY, "D-2 is in two circuits"),
        (
            HEAD + '[sides.left]\n[sides.right.cavities]\n"D-1" = "D-2"\n' + BODY,
            "two cavities of the plan would both be D-2 on side right",
        ),
        (GOOD.replace('revision = "1"\n', ""), '"revision" is missing'),
        ("", '"format" is missing'),
        ("format = 1\nid = p\n", 'plan.toml, line 2: text goes in double quotes: id = "p"\n    id = p'),
        (GOOD.encode("utf-16"), "is not UTF-8 text"),
        ("# " + "x" * 10_000_000, "10.0 MB is too big"),
        (GOOD + "x = " + "[" * 3000, "plan.toml"),
    ],
)
def test_each_mistake_gets_one_message_that_says_where_and_what_is_right(text: str | bytes, words: str) -> None:
    assert words in refusal(text)


def test_a_condition_nested_without_end_is_refused_not_crashed_on() -> None:
    deep = "{ not = " * 400 + '{ lone = "D-1" }' + " }" * 400
    assert "plan.toml" in refusal(step(f'do = "tug"\ncavity = "D-1"\nwhen = {deep}\n'))


@settings(max_examples=40, deadline=None)
@given(st.randoms(use_true_random=False))
def test_random_plans_round_trip_through_their_file(random) -> None:  # type: ignore[no-untyped-def]
    plan = Plan.model_validate(random_work(random).tables)
    text = write_plan(plan)
    assert load_plan(text, "again") == plan
    assert write_plan(load_plan(text, "again")) == text


@settings(max_examples=150, deadline=None)
@given(st.binary(max_size=200), st.integers(0, 500))
def test_damaged_files_are_read_or_refused_never_crashed_on(junk: bytes, place: int) -> None:
    data = step('do = "tug"\ncavity = "D-1"\nwhen = { all = [ { lone = "D-2" } ] }\n').encode()
    place %= len(data)
    try:
        load_plan(data[:place] + junk + data[place + len(junk) // 2 :], "plan.toml")
    except InputError:
        pass


def test_the_schema_describes_every_field_with_a_unit_where_there_is_one() -> None:
    schema = plan_schema()
    wire = schema["$defs"]["Wire"]["properties"]
    assert "mm2" in wire["size_mm2"]["description"] and "mm" in wire["length_mm"]["description"]
    assert "not" in schema["$defs"]["Condition"]["properties"] and "from" in schema["$defs"]["Move"]["properties"]


@pytest.mark.parametrize("id", ["a\nb", "a\x01b", "", "x" * 81])
def test_a_plan_from_a_scan_refuses_a_name_that_no_plan_has(id: str) -> None:
    with pytest.raises(InputError, match=r"plan from a scan, id: found .*needs"):
        from_scan(Measured(Netlist.of([["D-1", "H-1"]])), id)


def test_a_plan_from_a_scan_declares_its_hazards_outside_of_its_name() -> None:
    text = from_scan(Measured(Netlist.of([["D-1", "H-1"]])), "[[connector]]")
    assert load_plan(text, "x.toml").id == "[[connector]]" and load_plan(text, "x.toml").hazards.undeclared
