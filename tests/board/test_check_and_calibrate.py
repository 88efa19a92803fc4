"""Guided check and calibration of a virtual board, with a person who plugs what is asked for."""

import datetime
from typing import Any

import pytest

from tester.board.bench_steps import Dialog
from tester.board.calibrate import calibrate, groups, stored
from tester.board.check import Finding, check, passed
from tester.board.client import Board
from tester.board.ohms import resistance
from tester.errors import BoardError
from tests.support.faulty import FaultyLink, random
from tests.support.virtual import VirtualBench

LEADS = {channel: f"D-{channel}" for channel in range(1, 65)}
NOTHING: dict[str, Any] = {}


def plug_on(*channels: int) -> dict[str, Any]:
    return {"link": [{"a": f"D-{channel}", "b": "~plug", "ohms": 0.02} for channel in channels]}


def resistor(ohms: float) -> dict[str, object]:
    return {"resistor": [{"a": "D-3", "b": "D-40", "ohms": ohms}]}


class Person:
    """Plugs in the next thing of a list at each question; the list ends with leaving out. Numbers likewise."""

    def __init__(self, bench: VirtualBench, things: list[dict[str, object] | None], ohms: float | None = 10.0) -> None:
        self.bench, self.things, self.ohms = bench, list(things), ohms
        self.asked: list[str] = []
        self.told: list[str] = []

    def ask(self, text: str) -> bool:
        self.asked.append(text)
        thing = self.things.pop(0) if self.things else None
        if thing is not None:
            self.bench.plug(thing)
        return thing is not None

    def dialog(self) -> Dialog:
        return Dialog(self.ask, lambda text: self.ohms, lambda text, done, total: self.told.append(text))


def opened(bench: VirtualBench) -> Board:
    link = FaultyLink(bench, random.Random(0), [])
    return Board.open("bench", link=link, clock=link.clock)


def by_name(findings: list[Finding]) -> dict[str, bool | None]:
    return {finding.name: finding.passed for finding in findings}


def test_a_sound_board_passes_every_part():
    bench = VirtualBench(NOTHING, LEADS, seed=3)
    person = Person(bench, [NOTHING, plug_on(1, 2, 3, 33), resistor(10.0)])
    with opened(bench) as board:
        findings = check(board, person.dialog())
    assert passed(findings), findings
    assert by_name(findings) == dict.fromkeys(
        ["expanders", "reference cell", "multiplexers", "crosstalk between neighbours", "drivers", "nothing joined",
         "shorting plug", "known resistor"], True
    )  # fmt: skip
    assert len(person.asked) == 3
    assert bench.board.trace.driven() == set()


@pytest.mark.parametrize(
    ("things", "failed", "words"),
    [
        ([plug_on(5, 6)], {"nothing joined", "crosstalk between neighbours"}, "channels 5 and 6 are joined"),
        ([None, plug_on(1, 2)], {"shorting plug"}, "no three channels are joined"),
        ([None, {"link": [{"a": "D-1", "b": "~p"}, {"a": "D-2", "b": "~p"}, {"a": "D-3", "b": "~p", "ohms": 5.0}]}],
         {"shorting plug"}, "channel 1 to 3: "),
        ([None, None, resistor(10.6)], {"known resistor"}, "is 10, 0.250 ohm allowed"),
    ],
)  # fmt: skip
def test_what_is_wrong_fails_and_is_named(things, failed, words):
    bench = VirtualBench(NOTHING, LEADS)
    with opened(bench) as board:
        findings = check(board, Person(bench, things).dialog())
    assert {finding.name for finding in findings if finding.passed is False} == failed
    assert words in " ".join(text for finding in findings for text in finding.says)
    assert not passed(findings)


def test_leaving_everything_out_is_not_a_pass():
    bench = VirtualBench(NOTHING, LEADS)
    with opened(bench) as board:
        findings = check(board, Person(bench, []).dialog())
    assert {finding.passed for finding in findings} == {None}
    assert not passed(findings)


def test_a_voltage_stops_the_check():
    bench = VirtualBench(NOTHING, LEADS)
    live = {"voltage": [{"at": "D-7", "volts": 12.6, "ohms": 50}]}
    with opened(bench) as board, pytest.raises(BoardError, match=r"voltage on channel 7 \+3\.") as caught:
        check(board, Person(bench, [live]).dialog())
    assert caught.value.code == "voltage"


def test_two_pairs_instead_of_one_resistor_are_refused():
    bench = VirtualBench(NOTHING, LEADS)
    two = {"resistor": [{"a": "D-3", "b": "D-40", "ohms": 10}, {"a": "D-4", "b": "D-41", "ohms": 10}]}
    with opened(bench) as board, pytest.raises(BoardError, match="joined are: 3, 40; 4, 41"):
        check(board, Person(bench, [None, None, two]).dialog())


def test_a_starter_board_checks_what_it_can():
    leads = {channel: f"D-{channel}" for channel in range(1, 21)}
    bench = VirtualBench(NOTHING, leads, build="starter")
    with opened(bench) as board:
        findings = check(board, Person(bench, [NOTHING, plug_on(1, 2, 3)]).dialog())
        assert passed(findings), findings
        assert by_name(findings)["known resistor"] is None
        with pytest.raises(BoardError, match="nothing to calibrate"):
            calibrate(board, Person(bench, []).dialog(), datetime.date(2031, 5, 17))


def test_calibration_is_stored_with_its_date_and_makes_readings_better():
    store: dict[str, bytes] = {}
    bench = VirtualBench(NOTHING, LEADS, seed=5, store=store)
    plugs: list[dict[str, object] | None] = [plug_on(*range(1, 20)), plug_on(3, 39, 40), None]
    person = Person(bench, [NOTHING, *plugs, resistor(10.0)])
    with opened(bench) as board:
        done = calibrate(board, person.dialog(), datetime.date(2031, 5, 17))
        assert (done.date, done.zeros, done.baselines) == ("2031-05-17", 21, 64)
        assert done.gain_ppm is not None and "calibrated 2031-05-17" in done.says
        bench.plug(resistor(5.0))
        found = resistance(board.resistance(3, 40, samples=8), board.calibration())
    assert abs(found.ohms - 5.0) < 0.03
    again = VirtualBench(resistor(5.0), LEADS, seed=5, store=store)
    with opened(again) as board:
        assert stored(board) == done


def test_a_bad_plug_contact_is_told_while_the_plug_can_be_put_on_again():
    bad = plug_on(*range(1, 10))
    bad["link"][4]["ohms"] = 0.7
    person = Person(VirtualBench(NOTHING, LEADS, seed=5), [None, bad, plug_on(*range(1, 10)), None])
    with opened(person.bench) as board:
        calibrate(board, person.dialog(), datetime.date(2031, 5, 17))
        zeros = dict(zip(board.calibration().channels, board.calibration().zeros, strict=True))
    told = [text for text in person.told if "plug again" in text]
    assert len(told) == 1 and told[0].startswith("channel 5 reads 0.7") and "the others about 0.0" in told[0]
    assert abs(zeros[5] - zeros[4]) < 300, "the second plugging took its place"


def test_nothing_is_stored_when_everything_is_left_out():
    bench = VirtualBench(NOTHING, LEADS)
    with opened(bench) as board:
        with pytest.raises(BoardError, match="everything was left out"):
            calibrate(board, Person(bench, []).dialog(), datetime.date(2031, 5, 17))
        with pytest.raises(BoardError, match="no valid calibration is stored"):
            stored(board)


@pytest.mark.parametrize("count", range(3, 65))
def test_the_channels_of_a_plug_fall_into_groups_that_the_board_takes(count: int):
    found = groups(list(range(count)))
    assert [channel for group in found for channel in group] == list(range(count))
    assert all(3 <= len(group) <= 7 for group in found)
