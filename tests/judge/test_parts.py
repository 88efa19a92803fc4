"""Diodes and other parts between circuits: still there, still the same way round, still the same ohms."""

from tester.harness.expected import ExpectedPart
from tester.harness.reading import PartReading
from tester.harness.verdict import FAIL, NOT_TESTED, PASS
from tester.judge import judge
from tester.judge.parts import near
from tester.words import says
from tests.judge.benches import by_cavity, expect, kinds, measured

TWO = "D-1 H-1 | D-2 H-2"


def test_an_expected_diode_seen_the_same_way_passes():
    expected = expect(TWO, diodes=frozenset({("D-1", "D-2")}))
    seen = measured(TWO, directed=[("D-1", "D-2"), ("H-1", "D-2"), ("D-1", "H-2"), ("H-1", "H-2")])
    verdict = judge(expected, seen)
    assert verdict.verdict == PASS
    assert "direction" in verdict.scope


def test_a_diode_turned_round_is_reversed():
    expected = expect(TWO, diodes=frozenset({("D-1", "D-2")}))
    verdict = judge(expected, measured(TWO, directed=[("D-2", "D-1")]))
    assert verdict.verdict == FAIL
    assert kinds(verdict) == ["reversed"]
    assert set(verdict.faults[0].cavities) == {"D-1", "D-2"}


def test_a_diode_that_is_gone_is_open():
    verdict = judge(expect(TWO, diodes=frozenset({("D-1", "D-2")})), measured(TWO))
    assert verdict.verdict == FAIL
    assert kinds(verdict) == ["open"]


def test_a_one_way_link_that_nobody_expects_fails():
    verdict = judge(expect(TWO), measured(TWO, directed=[("D-1", "D-2")]))
    assert verdict.verdict == FAIL
    assert kinds(verdict) == ["short"]


def test_a_diode_bridged_by_wire_is_a_short():
    verdict = judge(expect(TWO, diodes=frozenset({("D-1", "D-2")})), measured("D-1 H-1 D-2 H-2"))
    assert verdict.verdict == FAIL
    assert kinds(verdict) == ["short"]


def test_a_one_way_link_known_without_its_ohms_must_not_conduct_both_ways():
    expected = expect(TWO, diodes=frozenset({("D-1", "D-2")}))
    for ohms_back in (200.0, 20_000.0):
        verdict = judge(expected, measured(TWO, parts=(PartReading("D-1", "D-2", 200.0, ohms_back),), grade="wire"))
        assert verdict.verdict == FAIL
        assert kinds(verdict) == ["short"]
        assert "conduct both ways" in says(verdict.faults[0])


def part(ab=1000.0, ba=1000.0, **more):
    return ExpectedPart("D-1", "D-2", ab, ba, **more)


def with_parts(expected_parts, *readings, grade="wire"):
    return judge(expect(TWO, parts=tuple(expected_parts)), measured(TWO, parts=tuple(readings), grade=grade))


def test_a_part_with_the_ohms_of_its_signature_passes_from_whichever_end_it_is_read():
    assert with_parts([part()], PartReading("D-1", "D-2", 1010.0, 1005.0)).verdict == PASS
    assert with_parts([part(465.0, None)], PartReading("H-2", "H-1", None, 460.0)).verdict == PASS


def test_a_part_is_matched_on_both_sides():
    low = with_parts([part()], PartReading("D-1", "D-2", 400.0, 400.0))
    assert low.verdict == FAIL and kinds(low) == ["leakage"]
    high = with_parts([part()], PartReading("D-1", "D-2", 2000.0, 2000.0))
    assert high.verdict == FAIL and kinds(high) == ["high-resistance"]


def test_a_part_measured_the_other_way_round_is_reversed():
    verdict = with_parts([part(465.0, None)], PartReading("D-1", "D-2", None, 465.0))
    assert verdict.verdict == FAIL and kinds(verdict) == ["reversed"]


def test_a_part_of_other_ohms_the_right_way_round_is_not_called_reversed():
    diode = with_parts([part(465.0, None)], PartReading("D-1", "D-2", 900.0, None))
    assert kinds(diode) == ["high-resistance"]
    one_way = with_parts([part()], PartReading("D-1", "D-2", None, 1000.0))
    assert kinds(one_way) == ["high-resistance"]
    turned = with_parts([part(465.0, None)], PartReading("D-1", "D-2", None, 900.0))
    assert kinds(turned) == ["reversed"]
    back = with_parts([part(None, 465.0)], PartReading("D-1", "D-2", 900.0, None))
    assert kinds(back) == ["reversed"]


def test_a_part_that_is_gone_is_open():
    verdict = with_parts([part()])
    assert verdict.verdict == FAIL and kinds(verdict) == ["open"]


def test_a_part_that_nobody_expects_is_leakage_with_its_ohms():
    verdict = with_parts([], PartReading("D-1", "D-2", 22000.0, 22000.0))
    assert verdict.verdict == FAIL and kinds(verdict) == ["leakage"]
    assert verdict.faults[0].values["ohms"] == 22000.0
    assert verdict.faults[0].explanation == 0


def test_a_leak_of_just_the_isolation_that_the_plan_asks_for_is_allowed():
    expected = expect(TWO, limits={"isolation_ohms": 22_000.0})
    for ohms, word in ((22_000.0, PASS), (21_999.0, FAIL)):
        assert (
            judge(expected, measured(TWO, grade="wire", parts=(PartReading("D-1", "D-2", ohms, ohms),))).verdict == word
        )


def test_a_part_that_will_not_hold_still_is_not_tested_by_name_and_blocks_no_other_cavity():
    verdict = with_parts([part()], PartReading("D-1", "D-2", 1000.0, 700.0, stable=False))
    assert verdict.verdict == NOT_TESTED
    assert by_cavity(verdict) == {"D-1": NOT_TESTED, "D-2": NOT_TESTED, "H-1": PASS, "H-2": PASS}


def test_a_board_without_converter_says_that_it_cannot_measure_a_part():
    verdict = judge(expect(TWO, parts=(part(),)), measured("D-1 H-1 D-2 H-2"))
    assert verdict.verdict == NOT_TESTED
    assert by_cavity(verdict)["D-1"] == NOT_TESTED
    assert by_cavity(verdict)["H-1"] == PASS


def test_a_part_bridged_by_wire_fails_where_the_board_can_tell():
    verdict = judge(expect(TWO, parts=(part(),)), measured("D-1 H-1 D-2 H-2", grade="wire"))
    assert verdict.verdict == FAIL and kinds(verdict) == ["short"]


def test_a_part_that_the_plan_names_by_two_pairs_of_cavities_is_still_one_part():
    again = ExpectedPart("H-1", "H-2", 1000.0, 1000.0)
    assert with_parts([part(), again], PartReading("D-1", "D-2", 1000.0, 1000.0)).verdict == PASS


ROW = "D-1 H-1 | D-2 H-2 | D-3 | D-4"
ONE_WAY = frozenset({("D-1", "D-2"), ("D-2", "D-3")})


def test_one_way_parts_in_a_row_may_read_either_way_and_are_not_tested_by_a_scan():
    good = [("D-1", "D-2"), ("D-2", "D-3")]
    through = judge(expect(ROW, diodes=ONE_WAY), measured(ROW, directed=[*good, ("D-1", "D-3")]))
    assert through.verdict == NOT_TESTED and not through.faults
    assert [c for c, verdict in by_cavity(through).items() if verdict == NOT_TESTED] == ["D-1", "D-3"]
    found_low = expect(ROW, diodes=ONE_WAY | {("D-1", "D-3")})
    assert judge(found_low, measured(ROW, directed=good)).verdict == NOT_TESTED
    assert judge(found_low, measured(ROW, directed=[*good, ("D-1", "D-3")])).verdict == PASS


def test_a_row_of_one_way_parts_excuses_nothing_else():
    good = [("D-1", "D-2"), ("D-2", "D-3")]
    assert kinds(judge(expect(ROW, diodes=ONE_WAY), measured(ROW, directed=good[:1]))) == ["open"]
    other = judge(expect(ROW, diodes=ONE_WAY), measured(ROW, directed=[*good, ("D-1", "D-4")]))
    assert kinds(other) == ["short"]
    back = judge(expect(ROW, diodes=ONE_WAY), measured(ROW, directed=[*good, ("D-3", "D-1")]))
    assert kinds(back) == ["short"]
    wire = judge(expect(ROW, diodes=ONE_WAY), measured(ROW, directed=[*good, ("D-1", "D-3")], grade="wire"))
    assert kinds(wire) == ["short"]


def test_two_readings_of_a_part_agree_within_its_tolerance_and_what_one_part_may_differ_by():
    # 5 % of the part, 2 % and 0.1 ohm between two readings of it
    assert near(1000.0, 1070.05, 0.05) and near(1000.0, 929.95, 0.05)
    assert not near(1000.0, 1070.15, 0.05) and not near(1000.0, 929.85, 0.05)
    assert near(None, None, 0.05) and not near(None, 5.0, 0.05) and not near(5.0, None, 0.05)


def test_a_one_way_reading_where_a_part_is_expected_or_was_measured_is_no_short_of_its_own():
    link = [("D-1", "D-2")]
    known = judge(expect(TWO, parts=(part(),)), measured(TWO, directed=link))
    assert known.verdict == NOT_TESTED and not known.faults
    leak = judge(
        expect(TWO), measured(TWO, directed=link, parts=(PartReading("D-1", "D-2", 465.0, None),), grade="wire")
    )
    assert kinds(leak) == ["leakage"]


ONCE = {"diodes": frozenset({("D-2", "D-1")}), "parts": (part(465.0, None, drop_v=0.6),)}


def sentences(verdict):
    return [says(fault) for fault in verdict.faults]


def test_a_diode_known_by_scan_and_by_converter_is_told_once():
    gone = judge(expect(TWO, **ONCE), measured(TWO, grade="wire"))
    assert sentences(gone) == [
        "The part between D-1 and D-2 does not conduct: look whether it is there, and at its two ends"
    ]
    turned = PartReading("H-1", "H-2", None, 465.0, 0.6)
    back = judge(expect(TWO, **ONCE), measured(TWO, grade="wire", parts=(turned,), directed=[("H-1", "H-2")]))
    assert sentences(back) == ["The part between D-1 and D-2 conducts the other way round: turn it"]
    both = PartReading("D-1", "D-2", 465.0, 470.0, 0.6)
    bridged = judge(expect(TWO, **ONCE), measured(TWO, grade="wire", parts=(both,)))
    assert len(sentences(bridged)) == 1
    starter = judge(expect(TWO, **ONCE), measured(TWO, directed=[("D-1", "D-2")]))
    assert kinds(starter) == ["reversed"]


def test_a_part_named_by_two_pairs_of_cavities_is_told_once():
    again = ExpectedPart("H-2", "H-1", 1000.0, 1000.0)
    assert kinds(with_parts([part(), again])) == ["open"]
    assert kinds(with_parts([part(), again], PartReading("D-1", "D-2", 400.0, 400.0))) == ["leakage"]
    twice = expect(TWO, diodes=frozenset({("D-1", "D-2"), ("H-1", "H-2")}))
    assert kinds(judge(twice, measured(TWO, directed=[("D-2", "D-1"), ("H-2", "H-1")]))) == ["reversed"]


SCANNED = {"diodes": frozenset({("D-1", "D-2")})}
NAMED = {"D-1": NOT_TESTED, "D-2": NOT_TESTED, "H-1": PASS, "H-2": PASS}


def test_a_part_over_a_scanned_diode_that_will_not_hold_still_is_not_tested_by_name():
    for directed in ([], [("D-1", "D-2")], [("D-2", "D-1")]):
        shaky = PartReading("D-1", "D-2", 700.0, 465.0, 0.6, stable=False)
        verdict = judge(expect(TWO, **SCANNED), measured(TWO, grade="wire", parts=(shaky,), directed=directed))
        assert verdict.verdict == NOT_TESTED and not verdict.faults
        assert by_cavity(verdict) == NAMED
        assert verdict.untested == (("part that will not hold still", ("D-1", "D-2")),)


def test_a_scanned_diode_whose_answers_disagree_is_not_tested_by_name_and_blocks_nothing_else():
    for text in (TWO, "D-1 H-1 D-2 H-2"):
        verdict = judge(expect(TWO, **SCANNED), measured(text, doubtful=[("D-1", "D-2")]))
        assert verdict.verdict == NOT_TESTED and not verdict.faults
        assert by_cavity(verdict) == NAMED


def test_of_two_names_for_one_part_in_doubt_the_first_is_said():
    expected = expect(TWO, diodes=frozenset({("D-1", "D-2"), ("H-1", "H-2")}))
    assert by_cavity(judge(expected, measured(TWO, doubtful=[("H-1", "H-2")]))) == NAMED


def test_what_would_not_hold_still_as_found_is_not_tested_by_name_however_it_reads_now():
    expected = expect(TWO, unsteady=frozenset({("D-1", "D-2")}))
    held = PartReading("H-1", "H-2", 300.0, 300.0)
    for seen in (
        measured(TWO), measured("D-1 H-1 D-2 H-2"), measured(TWO, directed=[("D-1", "D-2")]),
        measured(TWO, doubtful=[("H-1", "H-2")]), measured(TWO, grade="wire", parts=(held,)),
    ):  # fmt: skip
        verdict = judge(expected, seen)
        assert verdict.verdict == NOT_TESTED and not verdict.faults
        assert {name for name, word in by_cavity(verdict).items() if word == NOT_TESTED} >= {"D-1", "D-2"}
        assert PASS in by_cavity(verdict).values()


def test_doubt_between_two_circuits_is_named_by_one_pair_of_them():
    expected = expect(TWO, unsteady=frozenset({("D-1", "D-2"), ("H-1", "D-2"), ("H-1", "H-2")}))
    assert by_cavity(judge(expected, measured(TWO))) == NAMED
    within = expect("D-1 H-1 D-2 H-2 | D-3", unsteady=frozenset({("D-1", "D-2"), ("H-1", "H-2")}))
    found = by_cavity(judge(within, measured("D-1 H-1 D-2 H-2 | D-3")))
    assert [name for name, word in found.items() if word == PASS] == ["D-3"]


def test_what_conducts_back_too_weakly_for_the_scan_that_found_the_diode_is_not_tested():
    # a circuit of two points surely reads joined up to 66 kohm only (hwspec/limits.toml, joined_by_points)
    def read(back):
        reading = PartReading("D-1", "D-2", back, 465.0, 0.6)
        return judge(expect("D-1 | D-2", **SCANNED), measured("D-1 | D-2", grade="wire", parts=(reading,)))

    assert read(60_000.0).verdict == FAIL and kinds(read(60_000.0)) == ["short"]
    weak = read(70_000.0)
    assert weak.verdict == NOT_TESTED and not weak.faults
    assert weak.untested == (
        ("part that also conducts backwards, too weakly for the earlier scan to see", ("D-1", "D-2")),
    )


def test_the_more_cavities_a_circuit_has_the_stronger_a_leak_back_the_scan_could_not_see():
    many = "D-1 D-11 D-12 D-13 D-14 | D-2"
    reading = PartReading("D-1", "D-2", 20_000.0, 465.0, 0.6)
    verdict = judge(expect(many, **SCANNED), measured(many, grade="wire", parts=(reading,)))
    assert verdict.verdict == NOT_TESTED
    turned = PartReading("D-2", "D-1", 465.0, 5_000.0, 0.6)
    assert judge(expect(many, **SCANNED), measured(many, grade="wire", parts=(turned,))).verdict == FAIL


def test_a_scanned_diode_that_the_converter_finds_turned_round_is_reversed_without_a_one_way_link():
    reading = PartReading("D-1", "D-2", 465.0, None, 0.6)
    assert kinds(judge(expect(TWO, **SCANNED), measured(TWO, grade="wire", parts=(reading,)))) == ["reversed"]


WHOLE = "D-1 H-1 D-2 H-2"
ACROSS = PartReading("D-1", "D-2", 495.0, 30_000.0, 0.6)


def test_what_an_earlier_scan_took_for_wire_and_the_converter_finds_to_be_a_part_is_not_tested_by_name():
    seen = measured(TWO, grade="wire", parts=(ACROSS,))
    verdict = judge(expect(WHOLE, grade="scan"), seen)
    assert verdict.verdict == NOT_TESTED and not verdict.faults
    assert by_cavity(verdict) == NAMED
    assert verdict.untested == (("part that the earlier scan could not tell from wire", ("D-1", "D-2")),)


def test_a_part_between_circuits_is_no_hidden_one_whatever_the_grade_of_the_earlier_scan():
    seen = measured(f"{TWO} | X-1", grade="wire", parts=(ACROSS, PartReading("D-1", "X-1", 500.0, 500.0)))
    verdict = judge(expect(TWO, grade="scan"), seen)
    assert verdict.verdict == FAIL and kinds(verdict) == ["leakage"] and not verdict.untested


def test_a_part_where_wire_was_measured_or_put_fails_and_is_told_with_its_ohms():
    seen = measured(TWO, grade="wire", parts=(ACROSS,))
    for expected in (
        expect(WHOLE),
        expect(WHOLE, grade="wire"),
        expect(WHOLE, grade="scan", edited=frozenset({"H-2"})),
    ):
        verdict = judge(expected, seen)
        assert verdict.verdict == FAIL
        assert sentences(verdict)[0].startswith(
            "D-1 and H-1 are joined to D-2 and H-2 only through 495 ohm one way and 30 kohm the other: look at"
        )


def test_one_way_alone_where_a_scan_saw_wire_is_a_change_and_fails():
    for part_across in ((PartReading("D-1", "D-2", 495.0, None, 0.6),), ()):
        verdict = judge(expect(WHOLE, grade="scan"), measured(TWO, grade="wire", parts=part_across))
        assert verdict.verdict == FAIL and kinds(verdict) == ["open"]


def test_a_joint_of_a_kilohm_is_told_with_its_ohms():
    seen = measured("D-1 | H-1 | D-2 H-2", grade="wire", parts=(PartReading("H-1", "D-1", 1000.0, 1001.0),))
    [fault] = judge(expect(TWO, edited=frozenset({"D-1"}), steps={"D-1": ("put-1",)}), seen).faults
    assert says(fault) == (
        "D-1 is joined to H-1 only through 1 kohm: look whether the wire is there, and at its terminal at both ends "
        "(step put-1)"
    )
