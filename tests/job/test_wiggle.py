"""The dropout watch through client, firmware and virtual board in this process."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from tester.errors import BoardError, InputError
from tester.harness.reading import Measured
from tester.job import wiggle
from tester.job.stored import watch_object, watch_of
from tester.judge import WatchResult
from tests.campaigns.rig import Rig

LEADS = {1: "D-1", 2: "D-2", 3: "D-3", 4: "D-4", 33: "H-1", 34: "H-2", 35: "H-3", 36: "H-4"}
LINKS = [{"a": "D-1", "b": "H-1"}, {"a": "D-2", "b": "H-2"}, {"a": "D-3", "b": "H-3"}]


@pytest.fixture
def rig(monkeypatch: pytest.MonkeyPatch) -> Rig:
    rig = Rig(LEADS)
    monkeypatch.setattr(wiggle.time, "sleep", rig.bench.run)
    return rig


def watched(rig: Rig, seconds: float = 1.0, **tables: Any) -> WatchResult:
    measured, _ = rig.measure({"link": LINKS})
    rig.bench.plug({"link": tables.pop("link", LINKS)} | tables)
    return wiggle.watch(rig.board, rig.leads, measured, seconds)


def test_a_steady_harness_shows_nothing_and_no_opening_of_a_millisecond_could_be_missed(rig: Rig) -> None:
    result = watched(rig)
    assert (result.dropouts, result.complete) == ((), True)
    assert result.missed_ms < 1.0
    assert result.shorts_missed_ms is not None and result.shorts_missed_ms < 5.0


def test_an_opening_and_a_touch_are_told_apart_and_named(rig: Rig) -> None:
    drop = {"a": "D-3", "b": "H-3", "every_ms": 400, "open_ms": 2}
    touch = {"a": "D-1", "b": "D-2", "every_ms": 450, "open_ms": 430}
    result = watched(rig, link=LINKS[:2], dropout=[drop, touch])
    found = {(one.kind, frozenset(one.cavities)) for one in result.dropouts}
    assert found == {("open", frozenset({"D-3", "H-3"})), ("short", frozenset({"D-1", "H-1", "D-2", "H-2"}))}


def test_a_touch_of_two_cavities_that_are_joined_to_nothing_is_seen(rig: Rig) -> None:
    result = watched(rig, dropout=[{"a": "D-4", "b": "H-4", "every_ms": 300, "open_ms": 270}])
    assert {(one.kind, frozenset(one.cavities)) for one in result.dropouts} == {("short", frozenset({"D-4", "H-4"}))}


def test_parts_between_circuits_are_as_they_should_be(rig: Rig) -> None:
    parts: dict[str, Any] = {
        "link": LINKS,
        "resistor": [{"a": "D-1", "b": "D-2", "ohms": 120.0}],
        "diode": [{"anode": "D-3", "cathode": "D-4", "drop_v": 0.6}],
    }
    measured, _ = rig.measure(parts)
    assert measured.parts and len(measured.netlist.circuits) == 5
    result = wiggle.watch(rig.board, rig.leads, measured, 0.5)
    assert (result.dropouts, result.complete) == ((), True)
    assert result.touch_blind == (("D-1", "D-2"),)  # one of D-3 and D-4 reads high, let go: the diode blocks
    assert watch_of(watch_object(result)) == result


@pytest.mark.campaign
@pytest.mark.parametrize("ends", [("D-1", "D-2"), ("D-1", "D-3"), ("D-3", "D-4"), ("D-2", "D-4")])
def test_a_touch_is_seen_unless_the_watch_says_that_parts_hide_it(rig: Rig, ends: tuple[str, str]) -> None:
    """The control: without the parts each of these touches is seen, and nothing is said to be hidden."""
    links = [*LINKS, {"a": "D-4", "b": "H-4"}]
    resistors = [{"a": "D-1", "b": "D-2", "ohms": 120.0}, {"a": "D-3", "b": "D-4", "ohms": 120.0}]
    for parts in ([], resistors):
        measured, _ = rig.measure({"link": links, "resistor": parts})
        times = {"every_ms": 450, "open_ms": 400, "phase_ms": rig.bench.seconds * 1000 + 300}
        touch = {"a": ends[0], "b": ends[1], **times}
        rig.bench.plug({"link": links, "resistor": parts, "dropout": [touch]})
        result = wiggle.watch(rig.board, rig.leads, measured, 1.0)
        assert result.touch_blind == ((("D-1", "D-2"), ("D-3", "D-4")) if parts else ())
        hidden = any(set(ends) <= set(group) for group in result.touch_blind)
        assert bool(result.dropouts) != hidden
        assert all(one.kind == "short" for one in result.dropouts)


def test_a_harness_that_is_not_as_it_was_scanned_is_refused_by_name(rig: Rig) -> None:
    with pytest.raises(InputError, match=r"look at D-1, D-2\n"):
        watched(rig, link=[*LINKS, {"a": "D-1", "b": "D-2"}])
    assert not rig.bench.board.trace.driven()


def test_a_board_with_older_firmware_is_told_to_be_brought_up_to_date(rig: Rig) -> None:
    measured: Measured = rig.measure({"link": LINKS})[0]
    rig.board.info = replace(rig.board.info, protocol="1.0")
    with pytest.raises(BoardError, match=r"speaks protocol 1\.0, the dropout watch needs 1\.1"):
        wiggle.watch(rig.board, rig.leads, measured, 1.0)
