"""The dropout watch: what it logs, how fast it looks, when it ends."""

from __future__ import annotations

import struct
from itertools import pairwise
from typing import Any

import pytest

from tests.hwspec.firmware.talk import FULL_LEADS, STILL, Refused, Talk, channels, log_of

ALL = range(1, 65)
STEADY = [{"a": "D-1", "b": "H-1"}, {"a": "D-2", "b": "~s"}, {"a": "H-2", "b": "~s"}]


def dropout(every_ms: float, open_ms: float, a: str = "D-9", b: str = "H-9") -> dict[str, Any]:
    return {"a": a, "b": b, "every_ms": every_ms, "open_ms": open_ms}


def watching(harness: dict[str, Any], held: list[int], *coded: list[int], every: int = 0, **options: Any) -> Talk:
    talk = Talk(harness, FULL_LEADS, **options).begin()
    talk.ask_body("WATC:LOAD?", "(@1:64)", channels(held), *map(channels, coded))
    body = talk.ask_body("WATC:STAR?", every)
    rows = talk.rows(body, ALL)
    assert len(rows) == 1 + len(coded)
    return talk


def listen(talk: Talk, seconds: float) -> dict[str, Any]:
    """Let the watch run, renewing the lease by asking for the log."""
    end = talk.seconds + seconds
    while talk.seconds < end:
        talk.run(min(0.3, end - talk.seconds))
        found = talk.log()
    return found


def test_baseline_is_what_the_held_pattern_reads() -> None:
    talk = Talk({"link": STEADY}, FULL_LEADS).begin()
    talk.ask_body("WATC:LOAD?", "(@1:64)", "(@1,2)", "(@33)")
    assert talk.rows(talk.ask_body("WATC:STAR?", 5), ALL) == [{1, 33, 2, 34}, {1, 33}]


def test_a_steady_harness_logs_nothing() -> None:
    talk = watching({"link": STEADY}, [1, 2], [1], [2], every=3)
    found = listen(talk, 1.0)
    assert (found["total"], found["kept"], found["events"]) == (0, 0, [])
    assert found["readings"] > 1000 and found["running"] == 1


def test_each_dropout_is_logged_with_its_channel_and_length() -> None:
    talk = watching({"link": STEADY, "dropout": [dropout(400, 3)]}, [1, 2, 9])
    found = listen(talk, 1.7)
    assert found["total"] == len(found["events"]) in (4, 5)
    for _, lasted, channel, pattern, what in found["events"]:
        assert (channel, pattern, what) == (41, 0, 1)
        assert 2000 <= lasted <= 3500
    starts = [event[0] for event in found["events"]]
    assert all(abs(later - earlier - 400_000) < 1500 for earlier, later in pairwise(starts))


def test_an_intermittent_short_shows_in_a_coded_pattern() -> None:
    """Closed for 30 ms in every 300: two circuits that a coded pattern tells apart."""
    harness = {"link": STEADY, "dropout": [dropout(300, 270, "D-5", "H-6")]}
    talk = watching(harness, [1, 2], [5], every=10)
    found = listen(talk, 1.5)
    shorts = [event for event in found["events"] if event[4] == 2]
    assert {(event[2], event[3]) for event in shorts} == {(38, 1)}
    assert len(shorts) in (4, 5, 6)
    assert all(20_000 < event[1] < 36_000 for event in shorts if event[1] != STILL)


def test_an_open_that_stays_is_still_open_in_the_log() -> None:
    talk = watching({"link": STEADY}, [1, 2])
    talk.plug({"link": STEADY[1:]})
    found = listen(talk, 0.2)
    assert [event[1:] for event in found["events"]] == [(STILL, 33, 0, 1)]


def test_log_is_read_from_any_event_so_that_a_lost_reply_loses_nothing() -> None:
    talk = watching({"dropout": [dropout(60, 5)]}, [9])
    first = listen(talk, 0.5)
    again = talk.log(2)
    assert again["first"] == 2 and again["events"][: first["kept"] - 2] == first["events"][2:]
    assert talk.log(5000)["events"] == []


def test_log_keeps_the_first_64_events_and_counts_the_rest() -> None:
    talk = watching({"dropout": [dropout(10, 3)]}, [9])
    found = listen(talk, 1.2)
    assert found["kept"] == 64 and found["total"] > 100
    assert found["n"] == 40 and talk.log(40)["n"] == 24


@pytest.mark.parametrize("cards", [1, 2, 4])
def test_cadence_is_reported_and_stays_under_a_millisecond(cards: int) -> None:
    leads = {c: f"D-{c}" for c in range(1, 64 * cards + 1)}
    talk = Talk({"link": [{"a": "D-1", "b": "D-64"}]}, leads, cards=cards).begin()
    talk.ask_body("WATC:LOAD?", f"(@1:{64 * cards})", "(@1)")
    talk.ask_body("WATC:STAR?")
    found = listen(talk, 0.6)
    assert found["mean_us"] <= found["longest_us"] < 1000
    assert found["readings"] == pytest.approx(found["ms"] * 1000 / found["mean_us"], rel=0.02)


def test_board_says_that_it_drives_while_it_watches_and_not_after() -> None:
    talk = watching({"link": STEADY}, [1, 2])
    talk.ask_body("SYST:STAT?")
    assert talk.state & 4 and talk.board.trace.driven()
    stopped = log_of(talk.ask_body("WATC:STOP?"))
    assert stopped["running"] == 0 and stopped["n"] == 0
    assert not talk.state & 4 and not talk.board.trace.driven()
    assert talk.log()["running"] == 0


@pytest.mark.parametrize("query", ["SCAN:WALK?", "MEAS:VOLT?", "MEAS:RES?", "WATC:LOAD?", "WATC:STAR?", "DIAG:SELF?"])
def test_other_driving_queries_wait_until_the_watch_is_stopped(query: str) -> None:
    values = {"SCAN:WALK?": ("(@1)", "(@1)"), "MEAS:RES?": (1, 2), "WATC:LOAD?": ("(@1)", "(@1)"), "WATC:STAR?": ()}
    talk = watching({"link": STEADY}, [1, 2])
    with pytest.raises(Refused, match="watch is running"):
        talk.ask_body(query, *values.get(query, ("(@1)",) if query == "MEAS:VOLT?" else (0,)))
    assert talk.log()["running"] == 1


@pytest.mark.parametrize("end", ["OUTP:OFF?", "*RST", "silence"])
def test_watch_ends_with_off_reset_and_lease(end: str) -> None:
    talk = watching({"link": STEADY}, [1, 2])
    if end == "silence":
        talk.run(0.6)
    elif end == "*RST":
        talk.write(b"*RST\n")
        talk.run(0.01)
    else:
        talk.ask_body(end)
    assert not talk.board.trace.driven()
    talk.ask_body("SYST:STAT?")
    assert not talk.state & 4


def test_a_pause_of_the_host_process_sets_the_board_up_again_and_logs_no_dropout() -> None:
    """The pump ran down in the middle: the expanders were reset. The gap is reported, not a harness fault."""
    talk = watching({"link": STEADY}, [1, 2])
    talk.run(0.1)
    talk.board.clock.advance(200_000_000)
    talk.run(0.1)
    found = talk.log()
    assert found["events"] == [] and found["longest_us"] > 200_000 and found["running"] == 1


def test_held_channels_need_a_voltage_check_too() -> None:
    talk = Talk({"link": STEADY}, FULL_LEADS).begin(voltage=False)
    talk.ask_body("WATC:LOAD?", "(@1:64)", "(@1)", "(@2)")
    talk.voltage([1])
    with pytest.raises(Refused, match="voltage not checked on channel 2"):
        talk.ask_body("WATC:STAR?")


def test_too_many_patterns_are_refused() -> None:
    talk = Talk({}, FULL_LEADS)
    with pytest.raises(Refused) as found:
        talk.ask_body("WATC:LOAD?", "(@1)", *["(@1)"] * 17)
    assert found.value.number == -222
    with pytest.raises(Refused, match="no patterns loaded"):
        talk.begin().ask_body("WATC:STAR?")


def test_estimate_of_one_reading_is_cautious() -> None:
    talk = Talk({"link": STEADY}, FULL_LEADS).begin()
    nread, count, estimate = struct.unpack("<HHI", talk.ask_body("WATC:LOAD?", "(@1:64)", "(@1,2)"))
    talk.ask_body("WATC:STAR?")
    assert (nread, count) == (64, 1) and listen(talk, 0.3)["mean_us"] <= estimate


def test_starter_board_watches_too() -> None:
    leads = {1: "D-1", 9: "H-1"}
    talk = Talk({"dropout": [dropout(200, 4, "D-1", "H-1")]}, leads, build="starter").begin()
    talk.ask_body("WATC:LOAD?", "(@1:20)", "(@1)")
    assert talk.rows(talk.ask_body("WATC:STAR?"), range(1, 21)) == [{1, 9}]
    found = listen(talk, 0.9)
    assert {event[2:] for event in found["events"]} == {(9, 0, 1)} and found["total"] in (4, 5)
