"""Labels: read back by a code reader that did not make the code, at the resolution of a small label printer."""

from __future__ import annotations

import subprocess
import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path

import pytest
import zxingcpp
from PIL import Image, ImageDraw

from tester.errors import InputError
from tester.reports.label import label_for, label_pdf, label_svg
from tests.support.jobs import HEAD, bad_job, good_job, hostile_job
from tests.support.tools import need_program

SAID = "LOOMWRIGHT BENCH-0012 BENCH:12:0123456789ABCDEF"


def drawn(svg: str, dots_a_mm: float) -> Image.Image:
    """The code of an SVG label as a picture in black and white."""
    root = ET.fromstring(svg)
    width, height = (float(v) for v in root.get("viewBox", "").split()[2:])
    image = Image.new("1", (round(width * dots_a_mm), round(height * dots_a_mm)), 1)
    pen = ImageDraw.Draw(image)
    path = root.find("{http://www.w3.org/2000/svg}path")
    assert path is not None
    for square in path.get("d", "").split("M")[1:]:
        x, y = (float(v) for v in square.split("h")[0].split())
        side = float(square.split("h")[1].split("v")[0])
        pen.rectangle(
            [round(v * dots_a_mm) for v in (x, y)] + [round(v * dots_a_mm) - 1 for v in (x + side, y + side)], 0
        )
    return image


@pytest.mark.parametrize("size", [(50, 25), (62, 29), (40, 20)])
def test_the_code_is_read_at_203_dots_an_inch(size: tuple[float, float]) -> None:
    image = drawn(label_svg(label_for(good_job(), HEAD), *size), 8.0)
    (found,) = zxingcpp.read_barcodes(image.convert("L"))
    assert found.text == SAID


def test_the_pdf_is_read_when_it_is_drawn(tmp_path: Path) -> None:
    draw = need_program("pdftoppm")
    (tmp_path / "label.pdf").write_bytes(label_pdf(label_for(good_job(), HEAD)))
    subprocess.run(
        [draw, "-r", "203", "-png", "-singlefile", tmp_path / "label.pdf", tmp_path / "label"], check=True, timeout=60
    )
    image = Image.open(tmp_path / "label.png")
    assert image.size == pytest.approx((50 / 25.4 * 203, 25 / 25.4 * 203), abs=2)
    (found,) = zxingcpp.read_barcodes(image)
    assert found.text == SAID


def test_the_label_says_result_scope_and_the_end_of_the_chain() -> None:
    lines = label_for(bad_job(), HEAD).lines
    assert lines == (
        "BENCH-0013",
        "FAIL",
        "continuity, isolation",
        "tag T-17",
        "2026-03-01 12:50 UTC",
        "BENCH:12",
        "0123456789abcdef",
    )


def test_a_stale_or_missing_result_is_never_printed_as_pass() -> None:
    for job in (replace(good_job(), verdict=None, stale=True), replace(good_job(), verdict=None)):
        label = label_for(job, HEAD)
        assert "NOT TESTED" in label.lines and "PASS" not in label.lines


def test_a_hostile_tag_neither_breaks_nor_floods_the_label() -> None:
    label = label_for(hostile_job(), HEAD)
    ET.fromstring(label_svg(label))
    assert max(map(len, label.lines)) <= 32 and label_pdf(label).startswith(b"%PDF")


def test_a_label_that_is_too_small_for_its_code_is_refused() -> None:
    with pytest.raises(InputError, match="too small"):
        label_svg(label_for(good_job(), HEAD), 15, 8)


def test_no_check_of_the_scope_is_cut_off() -> None:
    every = ("continuity", "isolation", "resistance", "direction", "dropout")
    job = good_job()
    lines = label_for(replace(job, verdict=replace(job.verdict, scope=every)), HEAD).lines
    assert lines[2:4] == ("continuity, isolation,", "resistance, direction, dropout")
    assert max(map(len, lines)) <= 32
