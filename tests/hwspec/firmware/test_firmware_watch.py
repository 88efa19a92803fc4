"""The dropout watch: what it logs, how fast it looks, when it ends."""

from __future__ import annotations

import struct
from itertools import combinations, pairwise
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
    assert again["first"] == 2 and first["kept"] >= 7
    for later, earlier in zip(again["events"], first["events"][2:], strict=False):
        assert later == earlier or (earlier[1] == STILL and later[0] == earlier[0])
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


@pytest.mark.campaign
def test_starter_board_watches_too() -> None:
    leads = {1: "D-1", 9: "H-1"}
    talk = Talk({"dropout": [dropout(200, 4, "D-1", "H-1")]}, leads, build="starter").begin()
    talk.ask_body("WATC:LOAD?", "(@1:20)", "(@1)")
    assert talk.rows(talk.ask_body("WATC:STAR?"), range(1, 21)) == [{1, 9}]
    found = listen(talk, 0.9)
    assert {event[2:] for event in found["events"]} == {(9, 0, 1)} and found["total"] in (4, 5)


PAIRS = [{"a": f"D-{n}", "b": f"H-{n}"} for n in range(1, 33)]
HELD = range(1, 33)
CODES = list(combinations(range(6), 3))
CODED = [[c for c in HELD if k in CODES[(c - 1) % 16]] for k in range(6)]


def letting_go(harness: dict[str, Any], **options: Any) -> Talk:
    """All 32 circuits held, let go in turn; the baseline of a good harness."""
    talk = Talk(harness, FULL_LEADS, **options).begin()
    talk.ask_body("WATC:LOAD?", "(@1:64)", channels(HELD), *map(channels, CODED))
    rows = talk.rows(talk.ask_body("WATC:STAR?", 1, 1), ALL)
    assert rows == [set(ALL), *[set()] * 6]
    return talk


def test_letting_go_in_turn_logs_nothing_on_a_steady_harness_and_keeps_the_rest_driven() -> None:
    talk = letting_go({"link": PAIRS})
    found = listen(talk, 0.5)
    assert (found["total"], found["running"]) == (0, 1)
    talk.ask_body("WATC:STOP?")
    assert not talk.board.trace.driven()


def test_a_large_board_stays_armed_while_the_first_readings_are_taken() -> None:
    """Over twelve milliseconds of steps: the pump must run on, or the expanders are set up again, which takes 40."""
    leads = {c: f"D-{c}" for c in range(1, 257)}
    links = [{"a": f"D-{c}", "b": f"D-{c + 1}"} for c in range(1, 256, 2)]
    talk = Talk({"link": links}, leads, cards=4).begin()
    held = range(1, 256, 2)
    coded = [channels([c for c in held if k in CODES[(c - 1) % 16]]) for k in range(6)]
    talk.ask_body("WATC:LOAD?", "(@1:256)", channels(held), *coded)
    talk.ask_body("WATC:STAR?", 1, 1)
    assert listen(talk, 0.2)["longest_us"] < 900


def test_letting_go_in_turn_leaves_no_gap_of_half_a_millisecond() -> None:
    found = listen(letting_go({"link": PAIRS}), 1.0)
    assert found["mean_us"] <= found["longest_us"] < 450


@pytest.mark.parametrize(("a", "b"), [(1, 2), (5, 7), (16, 17), (3, 29), (31, 32)])
def test_a_touch_of_two_held_circuits_shows_on_the_one_that_is_let_go(a: int, b: int) -> None:
    """In one group of 16 and across two: closed for 20 ms in every 200."""
    talk = letting_go({"link": PAIRS, "dropout": [dropout(200, 180, f"D-{a}", f"H-{b}")]})
    found = listen(talk, 1.0)
    assert {event[2] for event in found["events"]} == {a, b} and found["total"] in (8, 10, 12)
    assert {event[4] for event in found["events"]} == {2} and all(event[3] > 0 for event in found["events"])
    assert all(14_000 < event[1] < 26_000 for event in found["events"] if event[1] != STILL)


def test_a_touch_is_never_an_opening_and_an_opening_never_a_touch() -> None:
    some = [link for link in PAIRS if link["a"] != "D-9"]
    talk = letting_go({"link": some, "dropout": [dropout(50, 3)]})
    found = listen(talk, 1.0)
    assert {event[2:] for event in found["events"]} == {(41, 0, 1)} and found["total"] >= 18


def test_a_diode_between_two_circuits_is_part_of_the_baseline() -> None:
    talk = Talk({"link": PAIRS, "diode": [{"anode": "D-3", "cathode": "H-20", "drop_v": 0.6}]}, FULL_LEADS).begin()
    talk.ask_body("WATC:LOAD?", "(@1:64)", channels(HELD), *map(channels, CODED))
    rows = talk.rows(talk.ask_body("WATC:STAR?", 1, 1), ALL)
    assert rows == [set(ALL), *[{3} if 3 in one else set() for one in CODED]]
    assert listen(talk, 0.5)["total"] == 0


def test_a_steady_touch_of_all_circuits_carries_no_more_than_the_board_allows() -> None:
    """The chip models raise on pins that fight for longer than a transaction or two, and on too much current."""
    talk = letting_go({"link": PAIRS})
    talk.plug({"link": [*PAIRS, *({"a": f"D-{n}", "b": "~heap"} for n in HELD)]})
    found = listen(talk, 0.3)
    assert {event[2:3] + event[4:] for event in found["events"]} == {(n, 2) for n in HELD} and found["total"] == 32


def test_channels_that_are_let_go_are_high_for_no_longer_than_a_long_harness_needs() -> None:
    """However long the release time is: where two touch, their pins work against each other for that long."""
    talk = Talk({"link": PAIRS}, FULL_LEADS).begin()
    talk.ask_body("SCAN:TIM?", 5000, 60)
    talk.ask_body("WATC:LOAD?", "(@1:64)", channels(HELD), *map(channels, CODED))
    talk.ask_body("WATC:STAR?", 1, 1)
    talk.plug({"link": [*PAIRS, {"a": "D-3", "b": "D-20"}]})
    assert {event[2] for event in listen(talk, 0.3)["events"]} == {3, 20}
    since: dict[Any, int] = {}
    high = []
    for event in talk.board.trace.pins():
        if event.state == "high":
            since[event.what] = event.ns
        elif event.what in since:
            high.append(event.ns - since.pop(event.what))
    assert len(high) > 100 and max(high) < 300_000


@pytest.mark.parametrize("coded", [[40], [1, 33]])
def test_only_channels_that_are_held_can_be_let_go(coded: list[int]) -> None:
    talk = Talk({"link": STEADY}, FULL_LEADS).begin()
    talk.ask_body("WATC:LOAD?", "(@1:64)", "(@1,2)", channels(coded))
    with pytest.raises(Refused, match="not held and read"):
        talk.ask_body("WATC:STAR?", 1, 1)
    with pytest.raises(Refused, match="how 2: not 0 or 1"):
        talk.ask_body("WATC:STAR?", 1, 2)


def test_a_long_pause_while_letting_go_sets_the_board_up_again_and_logs_nothing() -> None:
    talk = letting_go({"link": PAIRS})
    talk.run(0.1)
    talk.board.clock.advance(200_000_000)
    talk.run(0.1)
    found = talk.log()
    assert found["events"] == [] and found["longest_us"] > 200_000


def test_chips_of_which_every_read_channel_is_held_are_left_out() -> None:
    """Channels 1 to 32 are all held, so only two of the four chips are read; with one that is not, three."""
    two = listen(letting_go({"link": PAIRS}), 0.2)["mean_us"]
    talk = Talk({"link": PAIRS}, FULL_LEADS).begin()
    talk.ask_body("WATC:LOAD?", "(@1:64)", channels(HELD[:31]), *map(channels, [one[:-1] for one in CODED]))
    talk.ask_body("WATC:STAR?", 1, 1)
    assert 25 < listen(talk, 0.2)["mean_us"] - two < 60


@pytest.mark.campaign
def test_starter_board_lets_go_in_turn_too() -> None:
    leads = {c: f"D-{c}" for c in range(1, 21)}
    links = [{"a": f"D-{c}", "b": f"D-{c + 10}"} for c in range(1, 11)]
    talk = Talk({"link": links, "dropout": [dropout(100, 90, "D-1", "D-18")]}, leads, build="starter").begin()
    held = list(range(1, 11))
    coded = [channels([c for c in held if c >> k & 1]) for k in range(4)]
    talk.ask_body("WATC:LOAD?", "(@1:20)", channels(held), *coded)
    talk.ask_body("WATC:STAR?", 1, 1)
    found = listen(talk, 0.9)
    assert {event[2] for event in found["events"]} == {1, 8} and {event[4] for event in found["events"]} == {2}
    assert found["longest_us"] < 300


def test_the_watch_reads_on_while_a_long_log_is_answered() -> None:
    talk = watching({"dropout": [dropout(10, 3)]}, [9])
    listen(talk, 1.2)
    before = talk.log()
    assert before["n"] == 40
    again = talk.log()
    assert again["readings"] > before["readings"] and again["longest_us"] < 500
