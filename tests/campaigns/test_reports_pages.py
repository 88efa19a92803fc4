"""Pages in a browser (screen, 200 % zoom, print) and as PDF, and what making them costs."""

from __future__ import annotations

import statistics
import subprocess
import time
from collections.abc import Callable
from pathlib import Path

import pypdf
import pytest
from PIL import Image

from tester.reports.blocks import Page
from tester.reports.content import JobRecord
from tester.reports.html import page_html
from tester.reports.pages import bench_page, customer_page
from tester.reports.pdf import page_pdf
from tests.support.chromium import picture, printed
from tests.support.jobs import bad_job, good_job, hostile_job
from tests.support.tools import need_program

pytestmark = pytest.mark.campaign

CASES = [
    (f"{job.__name__}-{make.__name__}", job, make)
    for job in (good_job, bad_job, hostile_job)
    for make in (bench_page, customer_page)
]


def column_is_blank(image: Image.Image, left: int, right: int) -> bool:
    """True when nothing but white stands between two columns of pixels."""
    return image.convert("L").crop((left, 0, right, image.height)).getextrema() == (255, 255)


@pytest.mark.parametrize(("name", "job", "make"), CASES, ids=[case[0] for case in CASES])
def test_a_page_fits_its_window_and_paper(
    name: str, job: Callable[[], JobRecord], make: Callable[[JobRecord], Page], tmp_path: Path
) -> None:
    chromium = need_program("chromium")
    page = tmp_path / f"{name}.html"
    page.write_text(page_html(make(job())), encoding="utf-8")
    for width, zoom in ((1000, 1.0), (1000, 2.0)):
        image = Image.open(picture(chromium, page, tmp_path / f"{width}-{zoom}.png", width, 6000, zoom))
        grey = image.convert("L")
        assert grey.getextrema()[0] < 60, "nothing is drawn"
        margin = round(10 * zoom)
        assert column_is_blank(image, image.width - margin, image.width), f"text runs out of the window at zoom {zoom}"
    reader = pypdf.PdfReader(printed(chromium, page, tmp_path / "print.pdf"))
    words = " ".join(" ".join(sheet.extract_text().split()) for sheet in reader.pages)
    for cavity in [one.cavity for one in job().verdict.cavities] if make is bench_page and job().verdict else []:  # type: ignore[union-attr]
        assert cavity in words
    assert job().record in words and "Nothing here is claimed on sealing" in words
    print(f"\n{name}: {len(reader.pages)} sheets printed")


def test_a_black_row_is_printed_black_and_the_table_head_stands_on_each_sheet(tmp_path: Path) -> None:
    chromium, draw = need_program("chromium"), need_program("pdftoppm")
    page = tmp_path / "bad.html"
    page.write_text(page_html(bench_page(bad_job())), encoding="utf-8")
    made = {"browser": printed(chromium, page, tmp_path / "browser.pdf"), "ours": tmp_path / "ours.pdf"}
    made["ours"].write_bytes(page_pdf(bench_page(bad_job())))
    for name, pdf in made.items():
        subprocess.run([draw, "-r", "50", "-png", pdf, tmp_path / name], check=True, timeout=60)
        sheets = sorted(tmp_path.glob(f"{name}-*.png"))
        black = sum(Image.open(sheet).convert("L").histogram()[0] for sheet in sheets)
        assert black > 4000, f"{name}: the failed rows and the banner are not black"
        with_head = [p for p in pypdf.PdfReader(pdf).pages if "H-20" in p.extract_text()]
        assert with_head and "Measured with" in " ".join(with_head[0].extract_text().split())
        for sheet in sheets:
            image = Image.open(sheet)
            assert column_is_blank(image, image.width - 12, image.width), f"{name}: text runs off the paper"


def test_what_one_report_and_a_thousand_cost() -> None:
    record = bad_job()
    works: dict[str, Callable[[], object]] = {
        "bench page, HTML": lambda: page_html(bench_page(record)),
        "customer page, HTML": lambda: page_html(customer_page(record)),
        "bench page, PDF": lambda: page_pdf(bench_page(record)),
    }
    print("\nms a report; growth: a report of 1,000 against one alone")
    for name, work in works.items():
        work()
        alone = []
        for _ in range(50 if "HTML" in name else 5):
            start = time.perf_counter()
            work()
            alone.append(time.perf_counter() - start)
        many = 1000 if "HTML" in name else 100
        start = time.perf_counter()
        for _ in range(many):
            work()
        each = (time.perf_counter() - start) / many
        one = statistics.median(alone)
        print(f"  {name:<22}{one * 1000:>8.2f} alone{each * 1000:>8.2f} of {many:>4}   growth {each / one:.2f}")
