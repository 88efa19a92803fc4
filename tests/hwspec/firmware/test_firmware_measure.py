"""Resistance, isolation, self-test and calibration through firmware and chip models."""

from __future__ import annotations

import struct

import pytest

from tests.hwspec.firmware.talk import FULL_LEADS, Refused, Talk

VALUES = (0.0, 0.05, 0.5, 2.0, 5.0, 20.0, 100.0)
LADDER = {"link": [{"a": f"D-{n}", "b": f"H-{n}", "ohms": ohm} for n, ohm in enumerate(VALUES, 1)]}


def promised(ohm: float) -> float:
    """2 % + 50 milliohm."""
    return 0.02 * ohm + 0.05


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_four_wire_readings_hold_the_promised_accuracy(seed: int) -> None:
    talk = Talk(LADDER, FULL_LEADS, seed=seed).begin()
    for n, ohm in enumerate(VALUES, 1):
        reading = talk.resistance(n, 32 + n)
        assert abs(reading["ohm"] - ohm) <= promised(ohm), (ohm, reading)
        assert reading["range"] == 5 and reading["flags"] == 0


def test_reversal_takes_away_what_a_single_direction_leaves_in() -> None:
    """A converter offset of 2 mV is worth 1.3 ohm in one direction; the zero reading and the reversal remove it."""
    talk = Talk(LADDER, FULL_LEADS, seed=4).begin()
    talk.board.converter.offset_v = 0.002
    reading = talk.resistance(2, 34, 5, 8)
    assert abs(reading["ohm"] - 0.05) <= promised(0.05)
    assert abs(reading["ab"] - 0.05) <= promised(0.05)


def test_larger_values_switch_to_the_coarse_range() -> None:
    parts = {"leak": [{"a": "D-1", "b": "H-1", "ohms": 1000}, {"a": "D-2", "b": "H-2", "ohms": 5000}]}
    talk = Talk(parts, FULL_LEADS, seed=1).begin()
    for n, ohm in ((1, 1000.0), (2, 5000.0)):
        reading = talk.resistance(n, 32 + n)
        assert reading["range"] == 1
        assert reading["ohm"] == pytest.approx(ohm, rel=0.03)


def test_a_diode_conducts_one_way_and_an_open_none() -> None:
    talk = Talk({"diode": [{"anode": "D-1", "cathode": "H-1", "drop_v": 0.6}]}, FULL_LEADS).begin()
    forward = talk.resistance(1, 33)
    assert forward["ab"] is not None and forward["ba"] is None
    backward = talk.resistance(33, 1)
    assert backward["ab"] is None and backward["ba"] is not None
    nothing = talk.resistance(5, 37)
    assert nothing["ab"] is None and nothing["ba"] is None


def test_channels_of_two_cards_are_measured_through_the_common_buses() -> None:
    leads = {5: "D-1", 130: "H-1", 250: "H-2"}
    links = {"link": [{"a": "D-1", "b": "H-1", "ohms": 3.0}, {"a": "D-1", "b": "H-2", "ohms": 4.0}]}
    talk = Talk(links, leads, cards=4, seed=2).begin()
    assert abs(talk.resistance(5, 130)["ohm"] - 3.0) <= promised(3.0)
    talk.lease()
    assert abs(talk.resistance(250, 130)["ohm"] - 7.0) <= promised(7.0)


def test_a_splice_with_many_points_reads_as_its_two_branches() -> None:
    star = {"link": [{"a": f"D-{n}", "b": "~s", "ohms": 0.1} for n in range(1, 31)]}
    talk = Talk(star, FULL_LEADS, seed=6).begin()
    assert abs(talk.resistance(1, 30)["ohm"] - 0.2) <= promised(0.2)


def test_more_samples_are_summed_and_show_their_spread() -> None:
    talk = Talk(LADDER, FULL_LEADS, seed=1).begin()
    reading = talk.resistance(6, 38, 5, 16)
    assert reading["samples"] == 16
    assert all(0 < spread < 60 for spread in reading["spread"])


@pytest.mark.parametrize(("ohm", "relative"), [(1e5, 0.02), (1e6, 0.10)])
def test_leakage_is_sized_by_the_sink_method(ohm: float, relative: float) -> None:
    parts = {"leak": [{"a": "D-1", "b": "H-1", "ohms": ohm}]}
    talk = Talk(parts, FULL_LEADS, seed=3).begin()
    others = [c for c in range(1, 65) if c != 1]
    assert talk.isolation(1, others, 16)["ohm"] == pytest.approx(ohm, rel=relative)
    assert talk.isolation(33, [c for c in range(1, 65) if c != 33], 16)["ohm"] == pytest.approx(ohm, rel=relative)


def test_a_clean_channel_shows_no_leakage_worth_a_number() -> None:
    talk = Talk({}, FULL_LEADS, seed=3).begin()
    found = talk.isolation(1, range(2, 65))
    assert found["ohm"] is None or found["ohm"] > 3e6


def test_isolation_of_a_large_circuit_counts_its_pull_ups() -> None:
    links = [{"a": f"D-{n}", "b": "~s"} for n in range(1, 21)]
    talk = Talk({"link": links, "leak": [{"a": "D-1", "b": "H-9", "ohms": 2e5}]}, FULL_LEADS, seed=3).begin()
    assert talk.isolation(1, range(33, 65), 16, points=20)["ohm"] == pytest.approx(2e5, rel=0.05)


def test_a_dead_short_to_another_circuit_is_survived() -> None:
    """Sixty drivers into one point: the current stays what the series resistors allow (the chip model watches)."""
    links = [{"a": "D-1", "b": f"H-{n}"} for n in range(1, 31)]
    talk = Talk({"link": links}, FULL_LEADS).begin()
    found = talk.isolation(1, range(33, 63))
    assert found["range"] == 1 and found["ohm"] < 1000


def test_self_test_passes_on_a_sound_board() -> None:
    talk = Talk({}, None, seed=8, cards=2).begin()
    assert talk.self_test(0) == (True, [(chip, 0) for chip in range(1, 9)])
    passed, cell = talk.self_test(2)
    assert passed and abs(cell[0][1] - 10000) < 200
    for card in (1, 2):
        talk.lease()
        assert talk.self_test(1, card) == (True, [])
        talk.lease()
        assert talk.self_test(3, card) == (True, [])


def test_self_test_names_the_channel_whose_multiplexer_fails() -> None:
    talk = Talk({}, None, seed=8).begin()
    chain = talk.hal.mux

    def stuck_address(out: bytearray) -> None:
        """Address line 1 of the S- tree's register stuck high."""
        damaged = bytearray(out)
        damaged[10] |= 0x02
        chain(damaged)

    talk.hal.mux = stuck_address  # type: ignore[method-assign]
    passed, found = talk.self_test(1)
    assert not passed
    assert {where for where, _ in found} == {1000 + 16 * chip + address + 1 for chip in range(4) for address in (4, 9)}


def test_self_test_shows_neighbours_that_follow_each_other() -> None:
    talk = Talk({"link": [{"a": "D-4", "b": "D-5"}]}, FULL_LEADS).begin()
    assert talk.self_test(3) == (False, [(4, 5), (5, 4)])


def test_missing_expander_is_named_at_the_lease() -> None:
    talk = Talk({}, None)
    talk.board.buses[0].chips = talk.board.buses[0].chips[:3]
    talk.board.buses[0]._by_address.pop(3)
    with pytest.raises(Refused, match="expander 4 does not answer"):
        talk.begin()


def test_missing_converter_is_named() -> None:
    talk = Talk({}, None)

    def nobody(*_: object) -> None:
        raise OSError(5)

    talk.hal.i2c_write = nobody  # type: ignore[method-assign]
    with pytest.raises(Refused, match="converter does not answer"):
        talk.begin()
    assert talk.ask("*TST?") == b"1\n"
    assert b"-330" in talk.ask("SYST:ERR?") + talk.ask("SYST:ERR?")


PLUG = {
    "link": [{"a": f"D-{n}", "b": "~plug", "ohms": 0.02 + 0.01 * n} for n in range(1, 8)]
    + [{"a": "H-1", "b": "H-2", "ohms": 10.0}]
}


def test_shorting_plug_gives_the_zero_of_each_channel() -> None:
    talk = Talk(PLUG, FULL_LEADS, seed=5).begin()
    body = talk.ask_body("CAL:ZERO?", "(@1:7)")
    zeros = [zero / 1e4 for zero in struct.unpack("<7h", body[4:])]
    assert body[:4] == struct.pack("<BBH", 2, 0, 7)
    assert zeros == pytest.approx([0.02 + 0.01 * n for n in range(1, 8)], abs=0.02)


def test_missing_shorting_plug_is_refused() -> None:
    talk = Talk(PLUG, FULL_LEADS, seed=5).begin()
    with pytest.raises(Refused, match=r"no shorting plug between channels 7 and 20|no current"):
        talk.ask_body("CAL:ZERO?", "(@7,20,21)")


def test_reference_resistor_mends_the_gain() -> None:
    """A converter input 15 % lighter than nominal: before calibration 20 ohm is off, afterwards it is not."""
    harness = {"link": [*PLUG["link"], {"a": "H-3", "b": "H-4", "ohms": 20.0}]}
    talk = Talk(harness, FULL_LEADS, nominal=True).begin()
    talk.board.converter.load = 0.85
    before = talk.resistance(35, 36, 0, 8)["ohm"]
    measured, gain = struct.unpack("<ii", talk.ask_body("CAL:REF?", 33, 34, 10000)[4:])
    after = talk.resistance(35, 36, 0, 8)
    assert abs(measured - 10000) > 30
    assert abs(after["ohm"] - 20.0) < abs(before - 20.0) / 3
    assert after["ppm"] == gain


def test_wrong_reference_resistor_is_refused() -> None:
    talk = Talk(PLUG, FULL_LEADS, seed=5).begin()
    with pytest.raises(Refused, match="reference reads"):
        talk.ask_body("CAL:REF?", 33, 34, 12000)


def test_baseline_of_the_empty_fixture_is_stored_for_the_host_to_take_off() -> None:
    """A fixture that itself leaks 15 Mohm between two channels: with the baseline taken off nothing is left."""
    talk = Talk({"leak": [{"a": "D-3", "b": "D-9", "ohms": 15e6}]}, FULL_LEADS, seed=1).begin()
    others = [c for c in range(1, 65) if c != 3]
    raw = talk.isolation(3, others, 16)
    body = talk.ask_body("CAL:BAS?", "(@1:6)", "(@1:64)")
    assert body[:4] == struct.pack("<BBH", 3, 0, 6)
    talk.lease()
    found = talk.isolation(3, others, 16)
    assert found["flags"] & 2 and found["baseline"] == struct.unpack("<6h", body[4:])[2]
    assert raw["na"] > 180 and abs(found["na"]) < 120


@pytest.mark.parametrize("ohms", [1e6, 3e6, 8e6])
def test_a_wet_fixture_is_not_taken_for_the_empty_one(ohms: float) -> None:
    """Stored, it would be taken off every later reading, and a leak of the harness would be read too small."""
    talk = Talk({"leak": [{"a": "D-3", "b": "D-9", "ohms": ohms}]}, FULL_LEADS, seed=9).begin()
    with pytest.raises(Refused, match=r"channel 3 leaks .* not empty or not dry"):
        talk.ask_body("CAL:BAS?", "(@1:6)", "(@1:64)")
    others = [c for c in range(1, 65) if c != 3]
    talk.lease()
    assert not talk.isolation(3, others, 16)["flags"] & 2


def calibrated(store: dict[str, bytes]) -> Talk:
    talk = Talk(PLUG, FULL_LEADS, seed=5, store=store).begin()
    talk.ask_body("CAL:ZERO?", "(@1:7)")
    talk.lease()
    talk.ask_body("CAL:REF?", 33, 34, 10000)
    return talk


def test_calibration_survives_power_off_with_its_date_and_check_sum() -> None:
    store: dict[str, bytes] = {}
    talk = calibrated(store)
    assert talk.ask_body("CAL:DATA?")[1] == 0
    assert talk.ask_body("CAL:SAVE?", '"2031-05-17"') == b"\x04\x00"
    assert talk.state & 8
    saved = talk.ask_body("CAL:DATA?")
    assert saved[1:12] == b"\x012031-05-17" and saved[20] == 3
    again = Talk(PLUG, FULL_LEADS, seed=5, store=store)
    assert again.ask_body("CAL:DATA?") == saved
    assert again.state & 8


def test_unsaved_calibration_is_gone_after_power_off() -> None:
    store: dict[str, bytes] = {}
    calibrated(store)
    fresh = Talk(PLUG, FULL_LEADS, seed=5, store=store)
    body = fresh.ask_body("CAL:DATA?")
    assert body[1] == 0 and body[20] == 0 and not fresh.state & 8


@pytest.mark.parametrize("damage", ["flip", "short", "empty", "other board"])
def test_damaged_calibration_is_never_used(damage: str) -> None:
    store: dict[str, bytes] = {}
    calibrated(store).ask_body("CAL:SAVE?", '"2031-05-17"')
    record = bytearray(store["cal"])
    if damage == "flip":
        record[40] ^= 4
    elif damage == "short":
        del record[-7:]
    elif damage == "empty":
        record.clear()
    store["cal"] = bytes(record)
    cards = 2 if damage == "other board" else 1
    assert Talk(PLUG, FULL_LEADS, cards=cards, store=store).ask_body("CAL:DATA?")[1] == 0


def test_cleared_calibration_is_gone() -> None:
    store: dict[str, bytes] = {}
    talk = calibrated(store)
    talk.ask_body("CAL:SAVE?", '"2031-05-17"')
    talk.ask_body("CAL:CLE?")
    assert talk.ask_body("CAL:DATA?")[1] == 0
    assert Talk(PLUG, FULL_LEADS, store=store).ask_body("CAL:DATA?")[1] == 0
    with pytest.raises(Refused, match="nothing calibrated"):
        talk.ask_body("CAL:SAVE?", '"2031-05-17"')


@pytest.mark.parametrize(
    ("header", "values"),
    [("MEAS:RES?", (1, 33)), ("MEAS:ISOL?", (1, "(@33:40)")), ("MEAS:VOLT?", ("(@1:8)",)), ("DIAG:SELF?", (1,))],
)
def test_measuring_leaves_trees_off_and_nothing_driven(header: str, values: tuple[object, ...]) -> None:
    talk = Talk(LADDER, FULL_LEADS).begin()
    talk.ask_body(header, *values)
    assert not talk.board.trace.driven()
    assert talk.board.multiplexers.now == [-1, -1, -1]
