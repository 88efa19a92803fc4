"""Scans and the rules around driving, on the virtual board's chips."""

from __future__ import annotations

import random

import pytest

from hwspec.virtual.faults import ElectricalFault
from tests.hwspec.firmware.talk import FULL_LEADS, NONCE, Refused, Talk

ALL = range(1, 65)


def joined(walk: dict[int, set[int]]) -> set[frozenset[int]]:
    """Groups of a walk whose answers agree both ways."""
    return {frozenset(row) for row in walk.values()}


def star(*cavities: str) -> list[dict[str, str]]:
    return [{"a": cavity, "b": "~star"} for cavity in cavities]


HARNESS = {"link": [{"a": "D-1", "b": "H-1"}, {"a": "D-7", "b": "H-32"}, *star("D-2", "H-2", "H-3", "D-20")]}
GROUPS = {frozenset({1, 33}), frozenset({7, 64}), frozenset({2, 34, 35, 20})}


def refused(talk: Talk, header: str, *values: object) -> Refused:
    with pytest.raises(Refused) as found:
        talk.ask_body(header, *values)
    return found.value


def test_walk_reads_exactly_the_circuits_of_the_harness() -> None:
    walk = Talk(HARNESS, FULL_LEADS).begin().walk(ALL, ALL)
    assert joined(walk) == GROUPS | {frozenset({c}) for c in ALL if c not in frozenset().union(*GROUPS)}


def test_walk_over_any_selection_in_any_order_says_the_same() -> None:
    talk = Talk(HARNESS, FULL_LEADS).begin()
    whole = talk.walk(ALL, ALL)
    rng = random.Random(11)
    for _ in range(8):
        read = rng.sample(ALL, rng.randrange(1, 40))
        drive = rng.sample(ALL, rng.randrange(1, 20))
        talk.lease()
        assert talk.walk(drive, read) == {c: whole[c] & set(read) for c in drive}


def test_runs_of_eight_are_copied_as_the_same_bits_that_are_picked_one_by_one() -> None:
    """The fast way (whole ports) and the slow way (any order) must give the same rows."""
    talk = Talk(HARNESS, FULL_LEADS).begin()
    fast = talk.walk(ALL, ALL)
    talk.lease()
    assert talk.walk(ALL, list(reversed(ALL))) == fast
    talk.lease()
    assert talk.walk(ALL, [*range(9, 17), 1, *range(33, 41), 3]) == {
        c: row & {*range(9, 17), 1, *range(33, 41), 3} for c, row in fast.items()
    }


def test_walk_of_four_cards_fits_slices_of_64_rows() -> None:
    leads = {1: "D-1", 256: "H-1", 64: "D-2", 65: "H-2", 129: "H-3"}
    talk = Talk({"link": [{"a": "D-1", "b": "H-1"}, *star("D-2", "H-2", "H-3")]}, leads, cards=4).begin()
    walk: dict[int, set[int]] = {}
    for first in range(1, 257, 64):
        talk.lease()
        walk |= talk.walk(range(first, first + 64), range(1, 257))
    assert {group for group in joined(walk) if len(group) > 1} == {frozenset({1, 256}), frozenset({64, 65, 129})}


def test_patterns_drive_each_list_together() -> None:
    talk = Talk(HARNESS, FULL_LEADS).begin()
    assert talk.patterns(ALL, [1, 2], [7], [5, 20, 64]) == [
        {1, 33, 2, 34, 35, 20},
        {7, 64},
        {5, 20, 2, 34, 35, 64, 7},
    ]


def test_patterns_on_shorted_circuits_never_set_drivers_against_each_other() -> None:
    """Several drivers end up on one circuit: the active release must not have one high while another is low."""
    talk = Talk({"link": star(*[f"D-{n}" for n in range(1, 33)], "H-1", "H-20")}, FULL_LEADS).begin()
    (row,) = talk.patterns(ALL, [1, 9, 17, 33, 52])
    assert row == {*range(1, 33), 33, 52}


def test_driver_self_check_passes_on_a_sound_board_and_shows_a_grounded_channel() -> None:
    talk = Talk(HARNESS, FULL_LEADS).begin()
    assert talk.drivers(ALL) == [3] * 64
    talk.touch("D-9")
    talk.lease()
    assert talk.drivers([8, 9, 10]) == [3, 1, 3]


def test_a_resistor_below_the_threshold_reads_low_both_ways_and_a_diode_one_way() -> None:
    parts = {
        "leak": [{"a": "D-1", "b": "H-1", "ohms": 22000}, {"a": "D-2", "b": "H-2", "ohms": 6e6}],
        "diode": [{"anode": "D-3", "cathode": "H-3", "drop_v": 0.6}],
    }
    walk = Talk(parts, FULL_LEADS).begin().walk(ALL, ALL)
    assert walk[1] == walk[33] == {1, 33}
    assert (walk[2], walk[34]) == ({2}, {34})
    assert (walk[3], walk[35]) == ({3}, {3, 35})


def test_timing_is_set_read_and_bounded() -> None:
    talk = Talk()
    assert talk.ask_body("SCAN:TIM?") == (40).to_bytes(4, "little") + (60).to_bytes(4, "little")
    assert talk.ask_body("SCAN:TIM?", 200, 300) == talk.ask_body("SCAN:TIM?")
    assert refused(talk, "SCAN:TIM?", 4, 60).number == -222
    assert refused(talk, "SCAN:TIM?", 40, 5001).number == -222
    assert refused(talk, "SCAN:TIM?", 40).number == -109
    talk.write(b"*RST\n")
    assert talk.ask_body("SCAN:TIM?")[:1] == b"\x28"


def test_long_waits_make_the_slice_smaller() -> None:
    talk = Talk(HARNESS, FULL_LEADS).begin()
    talk.ask_body("SCAN:TIM?", 5000, 5000)
    assert refused(talk, "SCAN:WALK?", "(@1:20)", "(@1:64)").number == -222
    assert set(talk.walk(range(1, 20), ALL)) == set(range(1, 20))


@pytest.mark.parametrize(
    ("query", "number"),
    [
        ("SCAN:WALK? 1,(@65),(@1)", -222),
        ("SCAN:WALK? 1,(@1),(@0)", -222),
        ("SCAN:WALK? 1,(@1,1),(@1)", -224),
        ("SCAN:WALK? 1,(@1)", -109),
        ("SCAN:WALK? 1,(@1),(@1),(@1)", -108),
        ("SCAN:WALK? 1,(@1:2,(@1)", None),
        ("DIAG:DRIV? 1,(@65)", -222),
        ("MEAS:VOLT? 1,(@1:49)", -222),
        ("MEAS:RES? 1,1,1", -224),
        ("MEAS:RES? 1,1,2,6", -222),
        ("MEAS:RES? 1,1,2,0,17", -222),
        ("MEAS:ISOL? 1,1,(@1,2)", -224),
        ("WATC:STAR? 1", -221),
        ("WATC:LOG? 1,-1", -222),
        ("DIAG:SELF? 1,4", -222),
        ("DIAG:SELF? 1,1,2", -222),
        ("CAL:ZERO? 1,(@1,2)", -222),
        ('CAL:SAVE? 1,"yesterday"', -224),
        ('UPD:BEG? 1,"x"', -221),
    ],
)
def test_wrong_parameters_are_refused_by_number_and_leave_nothing_driven(query: str, number: int | None) -> None:
    talk = Talk(HARNESS, FULL_LEADS).begin()
    if number is None:
        talk.write(query.encode() + b"\n")
        talk.run(0.01)
        assert talk.ask("SYST:ERR?").startswith(b"-171,")
    else:
        header, _, values = query.partition(" ")
        assert refused(talk, header, *values.split(",", 1)[1:]).number == number
    assert not talk.board.trace.driven()


def test_nothing_is_driven_without_a_lease_or_a_voltage_check() -> None:
    talk = Talk(HARNESS, FULL_LEADS)
    assert refused(talk, "SCAN:WALK?", "(@1)", "(@1)").text == "Settings conflict;no lease"
    talk.begin(voltage=False)
    assert refused(talk, "SCAN:WALK?", "(@1)", "(@1)").text == "Settings conflict;voltage not checked on channel 1"
    talk.voltage([1])
    assert talk.walk([1], [1, 33]) == {1: {1, 33}}
    assert refused(talk, "SCAN:WALK?", "(@2)", "(@1)").number == -221


def test_a_new_lease_forgets_the_voltage_check() -> None:
    talk = Talk(HARNESS, FULL_LEADS).begin()
    talk.lease(0)
    talk.lease()
    assert refused(talk, "SCAN:WALK?", "(@1)", "(@1)").number == -221


@pytest.mark.parametrize(("volts", "shown"), [(12.6, "3.9"), (0.5, "0.4"), (-0.3, "-0.")])
def test_voltage_on_a_channel_refuses_driving_until_it_is_seen_gone(volts: float, shown: str) -> None:
    live = {"voltage": [{"at": "H-12", "volts": volts, "ohms": 50}]}
    talk = Talk(live, FULL_LEADS).begin()
    no = refused(talk, "SCAN:WALK?", "(@1)", "(@1)")
    assert no.number == -240
    assert no.text.startswith(f"Hardware error;{shown}") and no.text.endswith(" V on channel 44")
    assert refused(talk, "DIAG:DRIV?", "(@1)").number == -240
    assert refused(talk, "MEAS:RES?", 1, 2).number == -240
    talk.plug({})
    talk.lease()
    assert refused(talk, "SCAN:WALK?", "(@1)", "(@1)").number == -240
    talk.voltage([44])
    assert talk.walk([44], [44]) == {44: {44}}


def test_grounded_and_floating_channels_are_no_voltage() -> None:
    talk = Talk(HARNESS, FULL_LEADS)
    talk.touch("D-9")
    readings = talk.begin().check_voltage()
    low, high = readings[9]
    assert abs(low) < 150 and abs(high) < 150
    low, high = readings[30]
    assert low < 600 and high > 2500
    assert talk.walk([1], [1]) == {1: {1}}


def test_silence_longer_than_the_lease_releases_everything() -> None:
    talk = Talk(HARNESS, FULL_LEADS).begin()
    talk.run(0.45)
    assert talk.board.pump.armed
    talk.run(0.1)
    assert refused(talk, "SCAN:WALK?", "(@1)", "(@1)").text == "Settings conflict;no lease"
    assert not talk.state & 1
    talk.run(0.2)
    assert not talk.board.pump.armed


def test_asking_for_the_state_does_not_prolong_the_lease() -> None:
    talk = Talk(HARNESS, FULL_LEADS).begin()
    for _ in range(6):
        talk.run(0.1)
        talk.ask_body("SYST:STAT?")
    assert not talk.state & 1


def test_successful_scans_prolong_the_lease() -> None:
    talk = Talk(HARNESS, FULL_LEADS).begin()
    for _ in range(6):
        talk.run(0.1)
        talk.walk([1], [1])
    assert talk.state & 1


def test_a_hanging_processor_loses_the_board_by_hardware() -> None:
    """The pump stops with the loop; the expanders fall into reset 14 to 180 ms later, in the middle of a watch."""
    talk = Talk(HARNESS, FULL_LEADS).begin()
    talk.ask_body("WATC:LOAD?", "(@1:64)", "(@1,2,7)")
    talk.ask_body("WATC:STAR?")
    assert talk.board.trace.driven()
    start = talk.seconds
    talk.board.clock.advance(181_000_000)
    assert not talk.board.trace.driven()
    dropped = [event.ns / 1e9 for event in talk.board.trace.events if event.kind == "reset" and event.state == "low"]
    assert 0.014 <= dropped[-1] - start <= 0.180


def test_expanders_are_set_up_again_after_a_reset_before_anything_is_driven() -> None:
    """A pause in which the pump ran down: the address mode is rewritten, else the chip model raises."""
    talk = Talk(HARNESS, FULL_LEADS, cards=2).begin()
    talk.board.clock.advance(300_000_000)
    assert not talk.board.pump.armed
    assert talk.walk([1, 100], [1, 33, 100]) == {1: {1, 33}, 100: {100}}


def test_output_off_disarms_and_the_next_scan_arms_again() -> None:
    talk = Talk(HARNESS, FULL_LEADS).begin()
    assert talk.ask_body("OUTP:OFF?") == b""
    assert talk.state & 3 == 1
    talk.run(0.2)
    assert not talk.board.pump.armed
    assert talk.walk([1], [1]) == {1: {1}}


def test_another_host_is_kept_out_until_the_lease_is_over() -> None:
    talk = Talk(HARNESS, FULL_LEADS).begin()
    assert refused(talk, "SYST:LEAS?", NONCE + 1, 500).text == "Settings conflict;lease held by another host"
    assert refused(talk, "SYST:LEAS?", NONCE + 1, 0).number == -221
    assert refused(talk, "SYST:SYNC?", NONCE + 1).number == -221
    talk.run(0.6)
    talk.ask_body("SYST:SYNC?", NONCE + 1)
    assert talk.lease(300, NONCE + 1) == 300


@pytest.mark.parametrize("ms", [1, 99, 501, 100000, -5])
def test_lease_time_is_bounded(ms: int) -> None:
    assert refused(Talk(), "SYST:LEAS?", NONCE, ms).number == -222


def test_reply_is_salted_by_the_session_so_that_an_earlier_ones_reply_never_fits() -> None:
    talk = Talk()
    talk.ask_body("SYST:SYNC?", 1)
    first = talk.ask("SYST:STAT? 77")
    talk.ask_body("SYST:SYNC?", 2)
    second = talk.ask("SYST:STAT? 77")
    assert first[6:10] == second[6:10] and first[10:14] != second[10:14]


def test_every_driving_command_at_its_largest_stays_within_250_ms_of_board_time() -> None:
    with_harness, empty = Talk(HARNESS, FULL_LEADS, cards=4).begin(), Talk({}, FULL_LEADS, cards=4).begin()
    everything = "(@1:256)"
    largest = {
        "SCAN:WALK?": ("(@1:64)", everything),
        "DIAG:DRIV?": ("(@1:180)",),
        "SCAN:PATT?": (everything, *["(@1:256)"] * 8),
        "MEAS:VOLT?": ("(@200:247)",),
        "MEAS:RES?": (1, 250, 0, 16),
        "MEAS:ISOL?": (1, "(@2:256)", 16),
        "DIAG:SELF?": (1, 4),
        "CAL:BAS?": ("(@1:6)", "(@1:250)"),
    }
    for header, values in largest.items():
        talk = empty if header == "CAL:BAS?" else with_harness
        talk.ask_body("OUTP:OFF?")
        talk.lease()
        talk.ask_body("OUTP:OFF?")
        start = talk.seconds
        talk.ask_body(header, *values)
        arming = 0.050 if header == "MEAS:VOLT?" else 0.0
        assert talk.seconds - start <= 0.250 + arming, header


def test_starter_board_scans_its_pins_through_the_same_code() -> None:
    leads = {1: "D-1", 9: "H-1", 20: "H-2", 17: "D-2"}
    talk = Talk({"link": [{"a": "D-1", "b": "H-1"}, {"a": "D-2", "b": "H-2"}]}, leads, build="starter").begin()
    walk = talk.walk(range(1, 21), range(1, 21))
    assert {group for group in joined(walk) if len(group) > 1} == {frozenset({1, 9}), frozenset({17, 20})}
    assert talk.drivers(range(1, 21)) == [3] * 20
    assert talk.patterns(range(1, 21), [1, 17]) == [{1, 9, 17, 20}]
    assert refused(talk, "MEAS:RES?", 1, 9).text == "Settings conflict;this board cannot measure"


def test_starter_board_refuses_to_drive_when_a_pulled_down_channel_stays_high() -> None:
    leads = {1: "D-1", 2: "D-2"}
    talk = Talk({"voltage": [{"at": "D-2", "volts": 3.3, "ohms": 50}]}, leads, build="starter")
    talk.ask_body("SYST:SYNC?", NONCE)
    no = refused(talk, "SYST:LEAS?", NONCE, 500)
    assert no.text == "Hardware error;voltage on channel 2: high although pulled down"


def test_a_fault_in_the_chips_is_never_swallowed_by_the_firmware() -> None:
    talk = Talk(HARNESS, FULL_LEADS).begin()

    def broken(*_: object) -> None:
        raise ElectricalFault("shown")

    talk.hal.mux = broken  # type: ignore[method-assign]
    with pytest.raises(ElectricalFault):
        talk.ask_body("MEAS:RES?", 1, 33)


def test_a_mistake_in_the_firmware_becomes_a_system_error_and_releases_everything() -> None:
    talk = Talk(HARNESS, FULL_LEADS).begin()
    guard = talk.app.board.guard
    wait = guard.wait

    def mistaken(us: int) -> None:
        assert talk.board.trace.driven()
        wait(us // 0)

    guard.wait = mistaken
    assert refused(talk, "SCAN:WALK?", "(@1:64)", "(@1:64)").text == "System error;ZeroDivisionError"
    assert not talk.board.trace.driven()
    guard.wait = wait
    assert talk.walk([1], [1]) == {1: {1}}
