"""Bench page and customer page: what stands on them, as HTML that a strict parser takes and as PDF."""

from __future__ import annotations

import html
import io
import re
from dataclasses import replace
from datetime import timedelta, timezone
from itertools import pairwise

import html5lib
import pypdf
import pytest

from tester.reports.blocks import Page
from tester.reports.content import NO_CLAIM, JobRecord, PhotoLine, StepLine
from tester.reports.escape import visible
from tester.reports.html import page_html
from tester.reports.pages import bench_page, customer_page
from tester.reports.pdf import page_pdf
from tests.support.jobs import ATTACKS, HEAD, bad_job, good_job, hostile_job

PAGES = [bench_page, customer_page]
JOBS = [good_job, bad_job, hostile_job]
PNG = bytes.fromhex(
    "89504e470d0a1a0a0000000d49484452000000010000000108000000003a7e9b55"
    "0000000a49444154789c6360000000020001e221bc330000000049454e44ae426082"
)


def parsed(text: str) -> html5lib.treebuilders.etree.Element:
    return html5lib.HTMLParser(strict=True, namespaceHTMLElements=False).parse(text)


def words(page: Page) -> str:
    """What a reader sees of the page, in one line."""
    tree = parsed(page_html(page))
    body = tree.find("body")
    return " ".join("".join(body.itertext()).split())


def pdf_words(page: Page) -> str:
    import io

    reader = pypdf.PdfReader(io.BytesIO(page_pdf(page)))
    return " ".join(" ".join(sheet.extract_text() for sheet in reader.pages).split())


@pytest.mark.parametrize("make", PAGES)
@pytest.mark.parametrize("job", JOBS)
def test_a_page_is_strict_html_that_fetches_and_runs_nothing(make: object, job: object) -> None:
    text = page_html(make(job()))  # type: ignore[operator]
    tree = parsed(text)
    for element in tree.iter():
        name = str(element.tag)
        assert name not in ("script", "iframe", "object", "embed", "link", "a", "form", "base"), name
        for key, value in element.attrib.items():
            assert not key.lower().startswith("on"), (name, key)
            assert key not in ("src", "href", "xlink:href") or value.startswith("data:image/"), (name, key, value)
    assert "url(" not in text and "@import" not in text
    policy = next(m for m in tree.iter("meta") if m.get("http-equiv") == "Content-Security-Policy")
    assert policy.get("content", "").startswith("default-src 'none'")


@pytest.mark.parametrize("make", PAGES)
def test_headings_go_down_one_level_at_a_time_and_tables_have_headers(make: object) -> None:
    tree = parsed(page_html(make(good_job())))  # type: ignore[operator]
    levels = [int(element.tag[1]) for element in tree.iter() if re.fullmatch("h[1-6]", str(element.tag))]
    assert levels[0] == 1 and levels.count(1) == 1
    assert all(after - before <= 1 for before, after in pairwise(levels))
    assert tree.get("lang") == "en"
    for table in tree.iter("table"):
        assert table.find("caption") is not None
        assert all(cell.get("scope") == "col" for cell in table.find("thead").iter("th"))
        assert all(row.find("th").get("scope") == "row" for row in table.find("tbody").iter("tr"))


def test_every_colour_pair_of_text_has_high_contrast() -> None:
    text = page_html(bench_page(bad_job()))

    def light(colour: str) -> float:
        colour = "".join(c * 2 for c in colour) if len(colour) == 3 else colour
        parts = [int(colour[i : i + 2], 16) / 255 for i in (0, 2, 4)]
        linear = [p / 12.92 if p <= 0.03928 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    colours = set(re.findall(r"#([0-9a-f]{3,6})\b", text))
    assert colours == {"000", "fff", "e6e6e6", "555"}
    # WCAG 2.1, 1.4.6: 7:1; the grey of headings carries black text, #555 only lines
    for ink, paper in (("000", "fff"), ("fff", "000"), ("000", "e6e6e6")):
        bright, dark = max(light(ink), light(paper)), min(light(ink), light(paper))
        assert (bright + 0.05) / (dark + 0.05) >= 7


def test_the_bench_page_holds_everything_of_the_job() -> None:
    said = words(bench_page(good_job()))
    for part in (
        "BENCH-0012",
        "Heated mirror kit",
        "T-17",
        "PASS",
        "continuity and isolation; resistance not tested",
        "the link broke (checksum)",
        "H-11",
        "Earlier results",
        "The terminal in H-9 belongs in H-11",
        "Seal off lead w6",
        "not needed",
        "seen by the board",
        "61.9 mohm",
        "0.5 mm2, 1.5 m at 35 C",
        "plug D before work",
        "ab" * 32,
        "Brown stain in cavity 4.",
        "Window lifter",
        "The battery is disconnected.",
        "not acknowledged",
        'id = "side-door"',
        "Scanboard Full, serial 0042",
        HEAD,
        "no, by eye, photo 1",
        "23 of 23",
        *NO_CLAIM,
    ):
        assert part in said, part


def test_the_customer_page_says_what_was_done_and_not_tested_and_guesses_no_cause() -> None:
    page = customer_page(bad_job())
    said = words(page)
    for part in (
        "FAIL",
        "Wire w1 was put between D-1 and H-4.",
        "Not as they should be: D-8 and H-11",
        "What was not tested",
        "no lead: H-32",
        "14 lone cavities",
        HEAD,
        *NO_CLAIM,
    ):
        assert part in said, part
    assert "belongs in" not in said and "61.9" not in said and "side-door.toml" not in said


def test_the_functions_to_check_come_with_their_caution() -> None:
    for make in PAGES:
        assert "Hands out of the way of windows" in words(make(good_job()))
        assert "Hands out of the way" not in words(make(replace(good_job(), checklist=())))


def test_a_job_without_a_result_says_so_on_both_pages() -> None:
    job = replace(good_job(), verdict=None, verdict_at=None)
    assert "NOT TESTED" in words(bench_page(job)) and "no test has been finished" in words(customer_page(job))


def test_a_result_that_work_made_stale_says_so() -> None:
    job = replace(good_job(), verdict=None, stale=True)
    for make in PAGES:
        said = words(make(job))
        assert "work was done after the last result: test again" in said.lower() and "NOT TESTED" in said
    with pytest.raises(ValueError, match="no verdict of the record"):
        replace(good_job(), stale=True)


def test_everything_that_was_typed_is_shown_as_text() -> None:
    said = words(bench_page(hostile_job()))
    for attack in ATTACKS:
        assert " ".join(visible(attack).split()) in said, attack


def test_faces_tell_verdicts_apart_without_colour() -> None:
    text = page_html(bench_page(bad_job()))
    assert text.count(">X</text>") == 2 and text.count("stroke-dasharray") == 1
    assert "D-8 FAIL" in text and "H-32 NOT TESTED" in text


@pytest.mark.parametrize("make", PAGES)
@pytest.mark.parametrize("job", JOBS)
def test_the_pdf_says_what_the_page_says(make: object, job: object) -> None:
    record: JobRecord = job()  # type: ignore[operator]
    said = pdf_words(make(record)).replace(" ", "")  # type: ignore[operator]
    assert record.record in said
    for name in [one.cavity for one in record.verdict.cavities] if make is bench_page and record.verdict else []:
        assert name in said
    assert ("standas\u25a1" in said) == (job is hostile_job)


def test_the_same_job_gives_the_same_pdf() -> None:
    assert page_pdf(bench_page(good_job())) == page_pdf(bench_page(good_job()))


def test_times_are_shown_in_the_zone_asked_for() -> None:
    said = words(bench_page(good_job(), timezone(timedelta(hours=2), "BST2")))
    assert "2026-03-01 14:00 BST2" in said


def test_a_picture_is_in_the_page_itself_and_a_broken_one_is_said() -> None:
    photos = (PhotoLine("a.png", "1" * 64, "plug", PNG), PhotoLine("b.png", "2" * 64, "bad", PNG[:30]))
    job = replace(good_job(), photos=photos)
    assert page_html(bench_page(job)).count('src="data:image/png;base64,') == 2
    assert "this picture cannot be drawn" in pdf_words(bench_page(job))


def test_a_plan_with_a_long_line_and_many_lines_still_prints() -> None:
    job = replace(good_job(), plan_text="x" * 20000 + "\n" + "a = 1\n" * 2000)
    assert len(page_pdf(bench_page(job))) > 1000
    assert html.unescape(page_html(bench_page(job))).count("a = 1") == 2000


def test_a_row_higher_than_a_sheet_goes_on_in_the_next_row() -> None:
    words = [f"word{n}" for n in range(1200)]
    job = good_job()
    long = StepLine("s1", " ".join(words), "done", "by hand", job.made, "AB")
    pdf = pypdf.PdfReader(
        io.BytesIO(page_pdf(bench_page(replace(job, steps=(long, *job.steps), accepted=("x" * 5000,)))))
    )
    text = " ".join(" ".join(page.extract_text() for page in pdf.pages).split())
    assert [word for word in re.findall(r"word\d+", text) if word in words] == words
    assert text.count("Insert wire w1") == 1
