"""The printed work sheet read back: every cavity of every step, faces the right way round, the code."""

from __future__ import annotations

import re
import subprocess
from datetime import UTC, datetime
from io import BytesIO
from itertools import product
from pathlib import Path
from typing import Any

import html5lib
import pypdf
import pytest
import zxingcpp
from PIL import Image

from tester.errors import InputError
from tester.plan.face_drawing import CELL_H, CELL_W, draw_face, face_svg, steps_text
from tester.plan.models import Connector, Plan
from tester.plan.page import WorkPage, work_page
from tester.plan.resolve import resolve
from tester.plan.sheet_html import sheet_html
from tester.plan.sheet_pdf import draw_sheet
from tester.plan.variants import check_plan, variant_resolved
from tester.reports.sheet import load_sheet
from tests.support.demo import EMPTY, demo_leads, demo_plan, perfect_scan
from tests.support.tools import need_program

VARIANTS = ["heater", "signal", "plain"]
DAY = datetime(2026, 1, 2, tzinfo=UTC)


def page_of(variant: str) -> WorkPage:
    found = resolve(demo_plan(), perfect_scan(f"side-door-{variant}-before"), EMPTY, "left")
    return work_page(demo_plan(), found, [demo_leads()])


def pdf_of(page: WorkPage) -> bytes:
    sheet = load_sheet(page.title, page.foot, DAY)
    draw_sheet(page, sheet)
    return sheet.finished()


def flat(text: str) -> str:
    return " ".join(text.split())


def words_of_html(page: WorkPage) -> str:
    tree = html5lib.parse(sheet_html(page), namespaceHTMLElements=False)
    body = tree.find("body")
    assert body is not None
    return flat(" ".join(body.itertext()))


def words_of_pdf(data: bytes) -> str:
    return flat(" ".join(page.extract_text() for page in pypdf.PdfReader(BytesIO(data)).pages))


@pytest.mark.parametrize(("variant", "form"), product(VARIANTS, ["html", "pdf"]))
def test_every_step_with_its_cavity_is_on_the_sheet_of_each_variant(variant: str, form: str) -> None:
    page = page_of(variant)
    found = resolve(demo_plan(), perfect_scan(f"side-door-{variant}-before"), EMPTY, "left")
    text = words_of_html(page) if form == "html" else words_of_pdf(pdf_of(page))
    for todo in found.todo:
        assert flat(todo.says) in text
        assert all(re.search(rf"{name}\b", todo.says) for name in todo.cavities)
    for skipped in found.skipped:
        assert skipped.why in text
    bare = text.replace(" ", "")
    assert page.code.replace(" ", "") in bare
    for needed in (
        "moulded numbers: 1, 9, 10, 18",
        "revision C",
        "side: left",
        "strip 8 mm",
        "seen from the wire side",
        "the warner lamp lights for three seconds",
        "Finish one wire",
    ):
        assert needed in text, needed


@pytest.mark.parametrize("side", ["wire", "mating"])
def test_faces_have_each_cavity_in_its_place_from_either_side(side: str) -> None:
    for connector in demo_plan().connector:
        svg = face_svg(draw_face(connector, side, {}))
        seen = {
            int(m[1]): (float(m[2]), float(m[3]))
            for m in re.finditer(r'data-cavity="\w-(\d+)" x="([\d.]+)" y="([\d.]+)"', svg)
        }
        width = 9 if connector.id == "D" else 8
        assert sorted(seen) == list(connector.all_numbers)
        for number, (x, y) in seen.items():
            row, column = divmod(number - 1, width)
            column = column if side == connector.drawn else width - 1 - column
            assert (x, y) == (column * CELL_W + CELL_W / 2, row * CELL_H + 15)


@pytest.mark.parametrize("side", ["wire", "mating"])
def test_the_faces_on_paper_are_the_right_way_round(side: str, tmp_path: Path) -> None:
    program = need_program("pdftotext")
    found = resolve(demo_plan(), perfect_scan("side-door-plain-before"), EMPTY, "left")
    (tmp_path / "s.pdf").write_bytes(pdf_of(work_page(demo_plan(), found, side=side)))
    subprocess.run([program, "-bbox", "-l", "1", tmp_path / "s.pdf", tmp_path / "s.html"], check=True, timeout=60)
    text = (tmp_path / "s.html").read_text()
    words = [(float(x), float(y), w) for x, y, w in re.findall(r'xMin="([\d.]+)" yMin="([\d.]+)"[^>]*>([^<]*)<', text)]
    place: dict[int, tuple[float, float]] = {}
    start = next(n for n, word in enumerate(words) if word[2] == "seen")
    wanted = iter([*range(1, 10), *range(10, 19)] if side == "wire" else [*range(9, 0, -1), *range(18, 9, -1)])
    rows = sorted({y for _, y, word in words[start:] if word in ("1", "18")})[:2]
    for row in rows:
        for x, y, word in sorted(w for w in words[start:] if abs(w[1] - row) < 2 and w[2].isdigit()):
            place[int(word)] = (x, y)
            assert int(word) == next(wanted)
    assert len(place) == 18


def test_black_and_white_is_enough_and_the_code_names_plan_revision_and_hash(tmp_path: Path) -> None:
    program = need_program("pdftoppm")
    page = page_of("heater")
    (tmp_path / "s.pdf").write_bytes(pdf_of(page))
    subprocess.run([program, "-r", "110", "-png", tmp_path / "s.pdf", tmp_path / "s"], check=True, timeout=60)
    for picture in sorted(tmp_path.glob("*.png")):
        image = Image.open(picture).convert("RGB")
        red, green, blue = image.split()
        assert red.tobytes() == green.tobytes() == blue.tobytes()
    hard = Image.open(sorted(tmp_path.glob("*.png"))[0]).convert("L").point(lambda v: 255 * (v > 127))
    assert [code.text for code in zxingcpp.read_barcodes(hard)] == [page.code]
    assert page.code == f"LOOMWRIGHT PLAN side-door REV C SHA256 {page.sha256}"


def test_the_hash_is_that_of_the_plan_file_when_given() -> None:
    one, two = (work_page(demo_plan(), plan_text=text) for text in (b"a", b"b"))
    assert one.sha256 != two.sha256 and one.sha256.startswith("ca978112")  # SHA-256 of "a"


def test_the_sheet_needs_no_network_and_runs_no_script() -> None:
    text = sheet_html(page_of("heater"))
    assert "<script" not in text and "<link" not in text
    assert set(re.findall(r'(?:src|href|xmlns)="([^"]+)"', text)) <= {"http://www.w3.org/2000/svg"}
    assert "url(" not in text and "@import" not in text


NASTY = ["[A-1] J2 [/J2]", '<script>alert("x")</script>', "' onload='x", "\u202eleft", "дверь 左", "&amp;", "x" * 300]


@pytest.mark.parametrize("name", NASTY, ids=lambda name: ascii(name[:9]))
def test_names_are_plain_text_whatever_they_hold(name: str) -> None:
    steps: list[dict[str, Any]] = [{"do": "look", "see": name, "note": name, "caution": name, "id": name[:70]}]
    tables = {"format": 1, "id": name[:60], "revision": name[:60], "title": name, "vehicle": name, "step": steps}
    connector = {"id": "D", "cavities": 3, "title": name, "lock": name}
    wire = {"id": name[:40], "a": {"cavity": "D-1"}, "b": {"lead": name[:60]}, "note": name}
    plan = Plan.model_validate(tables | {"connector": [connector], "wire": [wire]})
    page = work_page(plan)
    shown = name.replace("\u202e", "\ufffd")
    tree = html5lib.parse(sheet_html(page), namespaceHTMLElements=False)
    assert flat("".join(tree.find(".//h1").itertext())) == shown
    assert tree.find(".//script") is None and not any("onload" in element.attrib for element in tree.iter())
    assert pdf_of(page).startswith(b"%PDF")


def test_a_variant_gets_its_own_sheet() -> None:
    plan = demo_plan()
    report = check_plan(plan)
    for number in (1, len(report.variants)):
        found = variant_resolved(plan, number)
        assert tuple(one.id for one in found.todo) == report.variants[number - 1].steps
        assert found.side == report.variants[number - 1].side
    with pytest.raises(InputError, match="has variants 1 to 8, not 9"):
        variant_resolved(plan, 9)


def test_without_a_harness_the_sheet_shows_all_steps_with_their_conditions() -> None:
    text = words_of_html(work_page(demo_plan()))
    assert "If D-13 is occupied: Pull the terminal out of D-13" in text
    assert "If D-14 and H-22 are not joined: Push end a of wire W2" in text


def test_open_questions_and_steps_that_do_not_fit_stand_on_the_sheet() -> None:
    found = resolve(demo_plan(), perfect_scan("side-door-plain-after"), {}, "left")
    assert "does not fit this harness" in words_of_html(work_page(demo_plan(), found))
    asked = resolve(demo_plan(), perfect_scan("side-door-plain-before"), {}, "left")
    assert "Is there a terminal in D-13? (occupied D-13)" in words_of_html(work_page(demo_plan(), asked))


def test_large_faces_and_many_steps_on_one_cavity_still_fit() -> None:
    big = Connector(id="K", cavities=60, rows=("1-30", "31-60"))
    many = tuple(map(str, range(1, 40)))
    drawn = draw_face(big, "wire", {"K-5": many})
    assert steps_text(many) == "1..39" and "step 1, 2" in face_svg(drawn)
    plan = Plan(format=1, id="p", revision="1", connector=(big,))
    assert len(pypdf.PdfReader(BytesIO(pdf_of(work_page(plan)))).pages) == 1
