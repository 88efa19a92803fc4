"""Figures as text, CSV and picture."""

from __future__ import annotations

import csv
import io
import xml.etree.ElementTree as ET

import pytest

from tester.records.figures import Figures, figures
from tester.records.store import Store
from tester.reports.figures import figures_csv, figures_svg, figures_text
from tests.support.jobs import ATTACKS
from tests.support.logs import fill


@pytest.fixture(scope="module")
def many() -> Figures:
    with Store.in_memory() as log:
        fill(log, 150, 11)
        return figures(log)


def test_text_says_yield_with_interval_counts_and_shares(many: Figures) -> None:
    text = figures_text(many)
    assert "First-pass yield: 117 of 150 passed at the first test, 78 % (95 % interval 71 % to 84 %)" in text
    first = many.by_cavity[0]
    assert f"  {first.name}" in text and f"{first.running:.1f} %" in text
    rest = many.by_cavity[12:]
    assert f"  and {len(rest)} more, {sum(bar.count for bar in rest)} together" in text
    assert max(map(len, text.splitlines())) < 130


def test_csv_holds_every_bar(many: Figures) -> None:
    rows = list(csv.reader(io.StringIO(figures_csv(many)[1:], newline="")))
    kept = {row[1]: int(row[2]) for row in rows if row[0] == "records with a fault, by cavity"}
    assert kept == {bar.name: bar.count for bar in many.by_cavity}


def test_the_picture_draws_a_bar_as_long_as_its_count(many: Figures) -> None:
    root = ET.fromstring(figures_svg(many))
    bars = [el for el in root.iter("{http://www.w3.org/2000/svg}rect") if el.get("stroke") == "#555"]
    shown = many.by_cavity[:12]
    assert len(bars) == len(shown)
    widths = [float(el.get("width", "0")) / 360 * shown[0].count for el in bars]
    assert widths == pytest.approx([bar.count for bar in shown], abs=0.01)
    colours = {el.get(key) for el in root.iter() for key in ("fill", "stroke") if el.get(key)}
    assert colours <= {"#000", "#fff", "#555", "#bbb", "none"}


def test_an_empty_log_still_gives_text_and_a_picture() -> None:
    with Store.in_memory() as log:
        empty = figures(log)
    assert "none has a verdict" in figures_text(empty) and "no faults" in figures_svg(empty)


def test_hostile_names_stay_text() -> None:
    with Store.in_memory() as log:
        for attack in ATTACKS:
            job = log.new_job(terms={"plan": attack, "revision": attack})
            terms = {"verdict": "FAIL", "fault": attack, "fault-cavity": attack, "fault-step": attack, "board": attack}
            log.append(job, "verdict", terms={**terms, "reference-ohms": "10"})
        found = figures(log)
    root = ET.fromstring(figures_svg(found, 100))
    assert not [el for el in root.iter() if el.tag.endswith(("script", "image", "foreignObject", "a"))]
    assert all(not any(ord(c) < 32 for c in line) for line in figures_text(found, 100).splitlines())
    for row in csv.reader(io.StringIO(figures_csv(found)[1:], newline="")):
        assert not row[1].lstrip().startswith(("=", "+", "-", "@"))
