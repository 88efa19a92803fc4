"""A few screens as stored pictures: a change of looks must be meant, and looked at.

After a change that is meant: pytest -n 0 tests/bench/test_bench_snapshots.py --snapshot-update, then look at the SVG.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from tester.bench.app import BenchApp
from tester.bench.theme import LIGHT
from tests.bench.bench_support import Bench

SIZES = {"80x24": (80, 24), "120x40": (120, 40)}


class StillApp(BenchApp):
    """The app without a board, so that nothing moves."""

    def connect(self) -> None:
        """No board."""


def still(folder: Path, stage: str, environ: dict[str, str] | None = None) -> StillApp:
    bench = Bench(folder)
    options = bench.options(record=bench.prepare(stage), plan="", leads=[], board="")
    return StillApp(options, environ=environ if environ is not None else {"COLORTERM": "truecolor"})


async def settled(pilot) -> None:
    """Until the stage stands there; the time of a stored scan is taken off, since it is another each day."""
    app = pilot.app
    while not (app.stage is not None and app.stage.STAGE and app.stage.built):
        await pilot.pause(0.02)
    app.stage.when = ""
    app.stage.show_strip()
    await pilot.pause()


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("stage", ["leads", "work sheet", "judged"])
def test_a_stage_looks_as_it_did(snap_compare, tmp_path: Path, stage: str, size: str) -> None:
    assert snap_compare(still(tmp_path, stage), terminal_size=SIZES[size], run_before=settled)


def test_a_failed_harness_looks_as_it_did_without_colours(snap_compare, tmp_path: Path, monkeypatch) -> None:
    monkeypatch.setenv("NO_COLOR", "1")
    app = still(tmp_path, "judged", {"NO_COLOR": "1"})
    assert snap_compare(app, terminal_size=(80, 24), run_before=settled)


def test_a_failed_harness_looks_as_it_did_in_light_colours(snap_compare, tmp_path: Path) -> None:
    app = still(tmp_path, "judged")
    app.theme = LIGHT.name
    assert snap_compare(app, terminal_size=(80, 24), run_before=settled)


def test_stored_pictures_name_no_other_machine() -> None:
    pictures = list((Path(__file__).parent / "__snapshots__").rglob("*.svg"))
    assert len(pictures) >= 8
    for picture in pictures:
        text = picture.read_text(encoding="utf-8").replace("http://www.w3.org/2000/svg", "")
        assert "http" not in text, picture.name
