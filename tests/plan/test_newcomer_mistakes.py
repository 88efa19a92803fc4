"""Mistakes that a newcomer makes in a plan: each gives one message, and that message alone is enough to mend it.

Each case is mended with words that stand in the message itself; the mended plan is read, or checked, without fault.
"""

from __future__ import annotations

import pytest

from tester.errors import InputError
from tester.plan.expect import expectation
from tester.plan.hazards import check_hazards
from tester.plan.load import load_plan
from tester.plan.variants import check_plan
from tests.support.demo import EMPTY, demo_leads, demo_plan, perfect_scan

GOOD = """format = 1
id = "lamp"
revision = "1"
prove_leads = false

[hazards]
restraint = "none"
high_voltage = "none"
checked = "wiring book, sheet 3"

[[connector]]
id = "D"
cavities = 18
sealed = true
lock = "slide"

[[connector]]
id = "H"
cavities = 32

[[wire]]
id = "W1"
colour = "BU/RD"
size_mm2 = 0.5
length_mm = 800
a = { cavity = "D-13" }
b = { cavity = "H-21" }

[[step]]
id = "open"
do = "unlock"
connector = "D"

[[step]]
id = "out"
do = "remove"
cavity = "D-13"
lead = "old"
when = { occupied = "D-13" }

[[step]]
id = "cap"
do = "seal-off"
lead = "old"
when = { occupied = "D-13" }

[[step]]
id = "in-a"
do = "insert"
wire = "W1"
end = "a"

[[step]]
id = "in-b"
do = "insert"
wire = "W1"
end = "b"

[[step]]
id = "close"
do = "lock"
connector = "D"
"""


def message(text: str) -> str:
    """What the person reads: of the file, else of the first contradiction that `plan check` finds."""
    try:
        report = check_plan(load_plan(text, "lamp.toml"))
    except InputError as wrong:
        return str(wrong)
    found = [finding for variant in report.variants for finding in variant.findings]
    return "\n".join(f"step {one.step}: {one.says}" for one in found)


# name: (what stands in the file, what the newcomer wrote, words of the message that say what to write instead)
WHEN = 'when = { occupied = "D-13" }\n\n[[step]]\nid = "cap"'
TYPING = {
    "a key with a typing mistake": ('cavity = "D-13"\nlead', 'cavty = "D-13"\nlead', 'did you mean "cavity"?'),
    "text without quotes": ('id = "lamp"', "id = lamp", 'id = "lamp"'),
    "a decimal comma": ("size_mm2 = 0.5", "size_mm2 = 0,5", "size_mm2 = 0.5"),
    "quotes from a word processor": ('"D-13" }\nb', "\u201cD-13\u201d }\nb", 'straight double quotes: "..."'),
    "one bracket for a step": ('[[step]]\nid = "open"', '[step]\nid = "open"', "write [[step]] with two brackets"),
    "a condition in plain words": (WHEN, WHEN.replace(WHEN[7:28], '"D-13 occupied"'), 'when = { occupied = "D-13" }'),
    "a cavity that is not there": ('{ cavity = "H-21" }', '{ cavity = "H-33" }', "its cavities are 1 to 32"),
    "a colour in a house code": ('"BU/RD"', '"bl/rt"', "or base/stripe such as BU/RD"),
    "which end is not said": ('wire = "W1"\nend = "a"', 'wire = "W1" ', 'add end = "a" or end = "b"'),
    "an end that is only a cavity": ('a = { cavity = "D-13" }', 'a = "D-13"', "needs a table, such as a = { cavity = "),
    "a wire that is not in the kit": ('wire = "W1"\nend = "b"', 'wire = "W2"\nend = "b"', "the plan has W1"),
    "a step called otherwise": ('do = "remove"', 'do = "pull"', "one of unlock, remove, move, insert"),
}

# name: (what stands in the file, what the newcomer left out or wrote, words of the message)
CHECKED = {
    "the old terminal is not taken out first": (
        GOOD[GOOD.index('[[step]]\nid = "out"'):GOOD.index('[[step]]\nid = "in-a"')],
        '[[step]]\nid = "see"\ndo = "look"\nsee = "it"\nwhen = { occupied = "D-13" }\n\n',
        "D-13 is occupied: another wire is there; no step before this one empties it",
    ),
    "the pulled terminal is not sealed off": (
        GOOD[GOOD.index('[[step]]\nid = "cap"'):GOOD.index('[[step]]\nid = "in-a"')], "",
        'lead old is left bare: add a step with do = "seal-off" and lead = "old"',
    ),
    "the lock stays open": (
        GOOD[GOOD.index('[[step]]\nid = "close"'):], "",
        'connector D is left open; add a step with do = "lock" and connector = "D" at the end',
    ),
    "only one end is pushed in": (
        GOOD[GOOD.index('[[step]]\nid = "in-b"'):GOOD.index('[[step]]\nid = "close"')], "",
        "end b of wire W1 (cavity H-21) is put nowhere; insert, splice or seal it off",
    ),
}  # fmt: skip


def test_the_plan_without_mistakes_is_fine() -> None:
    assert message(GOOD) == ""


@pytest.mark.parametrize("name", TYPING)
def test_a_mistake_of_writing_is_mended_from_its_message(name: str) -> None:
    right, wrong, words = TYPING[name]
    assert GOOD.count(right) == 1
    broken = GOOD.replace(right, wrong)
    said = message(broken)
    assert words in said, said
    assert "lamp.toml, line " in said and len(said.splitlines()) <= 2
    assert broken.count(wrong) == 1 and message(broken.replace(wrong, right)) == ""


@pytest.mark.parametrize("name", CHECKED)
def test_a_mistake_of_thinking_is_mended_from_its_message(name: str) -> None:
    right, wrong, words = CHECKED[name]
    assert GOOD.count(right) == 1
    broken = GOOD.replace(right, wrong)
    assert words in message(broken), message(broken)
    assert message(broken.replace(wrong, right) if wrong else GOOD) == ""


def test_hazards_left_out_are_mended_from_the_message() -> None:
    plan = load_plan(GOOD.replace('"none"', '"not declared"'), "lamp.toml")
    with pytest.raises(InputError) as caught:
        check_hazards(plan, [demo_leads()], real_board=True)
    for words in ("[hazards]", "restraint and high_voltage", '"none"', "checked = where you looked"):
        assert words in str(caught.value)
    assert check_hazards(load_plan(GOOD, "lamp.toml"), [demo_leads()], real_board=True) == []


def test_a_side_left_out_is_mended_from_the_message() -> None:
    with pytest.raises(InputError, match="plan side-door has sides; say which: left, right"):
        expectation(demo_plan(), perfect_scan("side-door-plain-before"), EMPTY)
    assert expectation(demo_plan(), perfect_scan("side-door-plain-before"), EMPTY, "left").outcomes
