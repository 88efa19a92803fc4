"""Faces, lists, strip and keys as they stand on the screen."""

from __future__ import annotations

import re

import pytest
from textual.app import App, ComposeResult
from textual.binding import Binding

from tester.bench.cavities import CavityLine, CavityList
from tester.bench.face import FacePlan, FaceView
from tester.bench.keyrail import KeyRail
from tester.bench.marks import Mark
from tester.bench.picks import Pick, PickList
from tester.bench.strip import StripState, TopStrip
from tester.bench.theme import THEMES
from tester.harness.connectors import make_face

HATCH = FacePlan("H", make_face(["1-8", "9-16"], range(1, 17)), "hatch", frozenset({1, 8, 9, 16}), ("lock: lever",))
DOOR = FacePlan("D", make_face(["1-3 . 4-5", "6-11"], range(1, 12)), "door", frozenset({1, 6}))
STAGES = ("intake", "leads", "as found", "work sheet", "as left", "wiggle", "finish", "after installing")


class Shown(App[None]):
    """One widget on a screen, in the app's own style sheet."""

    CSS_PATH = "../../tester/bench/bench.tcss"
    BINDINGS = [Binding("u", "undo", "undo"), Binding("question_mark", "help", "help", id="help")]  # noqa: RUF012

    def __init__(self, *widgets) -> None:
        super().__init__()
        self.widgets = widgets
        self.heard: list[object] = []
        for theme in THEMES:
            self.register_theme(theme)
        self.theme = "bench-dark"

    def compose(self) -> ComposeResult:
        yield from self.widgets

    def on_pick_list_picked(self, event: PickList.Picked) -> None:
        self.heard.append(("picked", event.key))

    def on_pick_list_moved(self, event: PickList.Moved) -> None:
        self.heard.append(("moved", event.key))

    def screen_text(self) -> str:
        """What a person sees, as plain text."""
        size = self.size
        lines = self.screen._compositor.render_strips()
        return "\n".join(strip.crop(0, size.width).text.rstrip() for strip in lines)


async def test_a_face_shows_numbers_in_place_and_says_the_side() -> None:
    face = FaceView()
    app = Shown(face)
    async with app.run_test(size=(80, 24)):
        face.show([HATCH])
        face.mark({"H-11": Mark.RIGHT, "H-3": Mark.WRONG})
        face.choose(["H-11"])
        text = face.text()
        assert "H hatch, from the wire side" in text
        assert "lock: lever" in text
        assert "✓11◂" in text
        assert "✗ 3 " in text
        assert " 1▪" in text and "16▪" in text and "2▪" not in text


async def test_flipping_a_face_mirrors_it_and_says_so() -> None:
    face = FaceView()
    app = Shown(face)
    async with app.run_test(size=(80, 24)):
        face.show([HATCH])
        before = [int(n) for n in re.findall(r"\d+", face.text().splitlines()[2])]
        face.flip()
        after = [int(n) for n in re.findall(r"\d+", face.text().splitlines()[2])]
        assert before == list(range(1, 9)) and after == before[::-1]
        assert "from the mating side" in face.text()


async def test_gaps_in_a_face_stay_empty() -> None:
    face = FaceView()
    app = Shown(face)
    async with app.run_test(size=(80, 24)):
        face.show([DOOR])
        rows = [re.findall(r"\d+", line) for line in face.text().splitlines()]
        assert [r for r in rows if r] == [["1", "2", "3", "4", "5"], ["6", "7", "8", "9", "10", "11"]]


async def test_a_wide_face_scrolls_to_the_chosen_cavity_on_a_narrow_screen() -> None:
    face = FaceView()
    app = Shown(face)
    async with app.run_test(size=(40, 12)) as pilot:
        face.show([FacePlan("H", make_face(["1-32", "33-64"], range(1, 65)))])
        face.choose(["H-64"])
        await pilot.pause()
        assert "64◂" in app.screen_text()


async def test_only_lines_with_a_changed_mark_are_drawn_again() -> None:
    face = FaceView()
    app = Shown(face)
    async with app.run_test(size=(80, 24)) as pilot:
        face.show([HATCH])
        await pilot.pause()
        drawn = face.drawn
        face.mark({"H-1": Mark.RIGHT})
        await pilot.pause()
        assert face.drawn == drawn + 1
        face.mark({"H-1": Mark.RIGHT})
        await pilot.pause()
        assert face.drawn == drawn + 1


HOSTILE = ["J2 [/J2]", "[red]", "[b=1]", "\x1b[31m", "車門" * 60, "a" * 500, "[A-1]", "\u202eabc", ""]


@pytest.mark.parametrize("name", HOSTILE, ids=range(len(HOSTILE)))
async def test_hostile_names_neither_crash_nor_break_the_layout(name: str) -> None:
    face, cavities, picks = FaceView(), CavityList(), PickList()
    strip, rail = TopStrip(), KeyRail()
    app = Shown(strip, face, cavities, picks, rail)
    async with app.run_test(size=(80, 24)) as pilot:
        face.show([FacePlan("H", make_face(["1-8"], range(1, 9)), title=name, notes=(name,))])
        cavities.show([CavityLine("H-1", "1", Mark.JOINED, (name, "D-4"), name)])
        picks.show([Pick("1", name, "✓", "right", name), Pick("2", "second")])
        strip.show(StripState(job=name, about=name, stages=STAGES, stage="leads", next=name, board="rest"))
        await pilot.pause()
        lines = app.screen_text().splitlines()
        assert "rest" in lines[0]
        assert "LEADS" in lines[1]
        assert "help" in lines[-1]
        assert "second" in "\n".join(lines)


async def test_the_cavity_list_changes_single_lines() -> None:
    cavities = CavityList()
    app = Shown(cavities)
    async with app.run_test(size=(80, 24)) as pilot:
        cavities.show(CavityLine(f"H-{n}", str(n)) for n in range(1, 257))
        cavities.update_lines({"H-200": {"mark": Mark.RIGHT, "joined": ("D-1",)}, "nonsense": {"note": "x"}})
        cavities.choose(["H-200"])
        await pilot.pause()
        assert "▸✓ H-200  200 with D-1" in app.screen_text()


async def test_a_list_is_walked_by_keys_and_keeps_its_place_when_it_changes() -> None:
    picks = PickList()
    app = Shown(picks)
    async with app.run_test(size=(40, 10)) as pilot:
        picks.focus()
        picks.show([Pick(str(n), f"entry {n}") for n in range(30)])
        await pilot.press("down", "down", "down")
        assert picks.key == "3"
        picks.show([Pick(str(n), f"entry {n}!") for n in range(2, 30)])
        assert picks.key == "3"
        await pilot.press("end")
        await pilot.pause()
        assert "▸  entry 29!" in app.screen_text()
        assert ("moved", "29") in app.heard


async def test_the_strip_says_job_stage_next_step_and_board_in_80_columns() -> None:
    strip = TopStrip()
    app = Shown(strip)
    async with app.run_test(size=(80, 24)):
        strip.show(
            StripState("BENCH-0007", "door 4711, left", STAGES, "work sheet", 3, "Push it in.", "driving", "live")
        )
        lines = strip.text().splitlines()
        assert all(len(line) <= 80 for line in lines)
        assert "BENCH-0007" in lines[0] and "BOARD DRIVING" in lines[0] and "live" in lines[0]
        assert "intake━" in lines[1] and "▐WORK SHEET▌" in lines[1] and "┄wiggle" in lines[1]
        assert "after installing" in lines[1]
        assert lines[2] == " ▶ Push it in."


async def test_a_narrow_strip_still_says_the_stage() -> None:
    strip = TopStrip()
    app = Shown(strip)
    async with app.run_test(size=(50, 24)):
        strip.show(StripState("B", "", STAGES, "work sheet", 3, "Push it in."))
        assert "stage 4 of 8: work sheet" in strip.text()


async def test_a_refusal_takes_the_place_of_the_next_step() -> None:
    strip = TopStrip()
    app = Shown(strip)
    async with app.run_test(size=(80, 24)):
        strip.show(StripState(stages=STAGES, stage="leads", next="Press Enter.", note="voltage present on H-12"))
        assert " ! voltage present on H-12" in strip.text()


async def test_the_keys_at_the_bottom_come_from_the_bindings() -> None:
    rail = KeyRail()
    app = Shown(rail)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        assert "u undo" in rail.text() and "? help" in rail.text()


@pytest.mark.parametrize("theme", ["bench-dark", "bench-light", "bench-16"])
async def test_every_theme_draws_every_mark_with_its_own_sign(theme: str) -> None:
    assert len({mark.sign for mark in Mark}) == len(list(Mark))
    face = FaceView()
    app = Shown(face)
    async with app.run_test(size=(80, 24)) as pilot:
        app.theme = theme
        face.show([FacePlan("H", make_face(["1-11"], range(1, 12)))])
        face.mark({f"H-{n}": mark for n, mark in enumerate(Mark, 1)})
        await pilot.pause()
        for mark in Mark:
            assert mark.sign in app.screen_text()
