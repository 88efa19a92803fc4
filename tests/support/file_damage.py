"""Damage to files of every kind that the product reads: seeded, bounded; a reader refuses or reads, never crashes."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from random import Random
from typing import Any

from tester.errors import InputError
from tester.harness.colours import load_house_colours
from tester.harness.leads import load_leads
from tester.plan.advice import advice_text, advise
from tester.plan.diff import diff_plans
from tester.plan.kbl import import_kbl
from tester.plan.load import load_plan
from tester.plan.models import Plan
from tester.plan.page import work_page
from tester.plan.sheet import sheet_text
from tester.plan.sheet_html import sheet_html
from tester.plan.table import export_csv, import_csv
from tester.plan.variants import check_plan
from tester.shipped import shipped
from tests.support.demo import demo_plan

TOKENS = (
    b"D-1", b"H-33", b'"', b"[", b"]", b"[[", b"{", b"}", b"=", b"nan", b"-1", b"1e999", b"\xff", b"\n", b"not", b"all",
    b"true", b"99999999999999999999", b"", b"D-13", b"left", b"W1", b"remove", b"insert", b'"D-0"', b",", b"0", b"\x00",
    b"<", b">", b"&x;", b"/NULL",
)  # fmt: skip
KBL = b"""<k:KBL_container xmlns:k="x">
<Unit id="u"><Si_unit_name>metre</Si_unit_name><Si_prefix>milli</Si_prefix></Unit>
<Connector_housing id="h"><Slots id="s"><Cavities id="c"><Cavity_number>1</Cavity_number></Cavities></Slots>
</Connector_housing><General_wire id="p"><Cross_section_area><Unit_component>u</Unit_component><Value_component>0.5
</Value_component></Cross_section_area></General_wire><Harness><Connector_occurrence><Id>A</Id><Contact_points id="k">
<Contacted_cavity>o</Contacted_cavity></Contact_points><Slots><Part>s</Part><Cavities id="o"><Part>c</Part></Cavities>
</Slots></Connector_occurrence><General_wire_occurrence id="w"><Part>p</Part></General_wire_occurrence><Connection>
<Wire>w</Wire><Extremities><Contact_point>k</Contact_point></Extremities><Extremities><Contact_point>k</Contact_point>
</Extremities></Connection></Harness></k:KBL_container>"""


def damaged(data: bytes, random: Random) -> bytes:
    """The data with one to five pieces lost, doubled, changed or replaced."""
    made = bytearray(data)
    for _ in range(random.choice((1, 1, 2, 5))):
        at = random.randrange(max(1, len(made)))
        to = at + random.choice((1, 3, 10, 40))
        other = random.randrange(max(1, len(made)))
        kind = random.randrange(5)
        if kind == 0:
            made[at:to] = b""
        elif kind == 1:
            made[at:at] = random.choice(TOKENS)
        elif kind == 2:
            made[at:to] = random.choice(TOKENS)
        elif kind == 3:
            made[at:at] = made[other : other + random.choice((5, 50, 200))]
        else:
            made[at : at + 1] = bytes([random.randrange(256)])
    return bytes(made)


def readers() -> dict[str, tuple[bytes, Callable[[bytes, str], Any]]]:
    """Name -> a good file and its reader."""
    plan = shipped("fixtures", "plans", "side-door.toml").read_bytes()
    return {
        "plan": (plan, load_plan),
        "spreadsheet": (export_csv(demo_plan()).encode(), import_csv),
        "lead map": (shipped("fixtures", "leads", "side-door-leads.toml").read_bytes(), load_leads),
        "colour code": (shipped("fixtures", "plans", "colours", "din-47002.toml").read_bytes(), load_house_colours),
        "KBL": (KBL, import_kbl),
    }


def run_damage(seed: int, rounds: int) -> Counter[tuple[str, str]]:
    """Damage each kind of file `rounds` times; a plan that is still read must survive everything done with plans."""
    random, counts = Random(seed), Counter[tuple[str, str]]()
    for _ in range(rounds):
        for name, (good, read) in readers().items():
            try:
                made = read(damaged(good, random), name)
            except InputError as wrong:
                assert 0 < len(str(wrong)) < 2000
                counts[name, "refused"] += 1
                continue
            counts[name, "read"] += 1
            if isinstance(made, Plan):
                use(made)
    return counts


def use(plan: Plan) -> None:
    """Everything that is done with a plan on its own."""
    check_plan(plan, most=32)
    sheet_text(plan)
    sheet_html(work_page(plan))
    advice_text(advise(plan))
    diff_plans(demo_plan(), plan)
    assert import_csv(export_csv(plan), "again") == plan
