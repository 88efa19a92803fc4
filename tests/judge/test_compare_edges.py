"""Comparing at its limits: exactly the uncertainty, what one scan alone has, order."""

from tester.harness.reading import OhmsReading, PartReading
from tester.judge import compare
from tests.judge.benches import measured

GOOD = "D-1 H-1 | D-2 H-2 H-3 | D-3"


def brief(changes):
    return [(c.kind, c.cavities, c.touched) for c in changes]


def ohms(value, u=0.125, text=GOOD, key=("D-1", "H-1")):
    return measured(text, grade="wire", ohms={key: OhmsReading(*key, value, u)})


def test_a_resistance_that_moved_by_exactly_its_uncertainty_has_not_changed():
    # U = 2 x 0.125 ohm
    assert compare(ohms(0.5), ohms(0.75, 0.0)) == ()
    assert [c.kind for c in compare(ohms(0.5), ohms(0.7501, 0.0))] == ["resistance"]


def test_a_resistance_that_one_scan_alone_has_is_no_change():
    assert compare(ohms(0.5), measured(GOOD, grade="wire")) == () == compare(measured(GOOD, grade="wire"), ohms(0.5))


def test_a_resistance_to_a_cavity_on_a_lead_in_one_scan_only_is_not_compared():
    changes = compare(ohms(0.5), ohms(5.0, text="D-1 | D-2 H-2 H-3 | D-3"))
    assert brief(changes) == [("not comparable", ("H-1",), "not handled")]


def test_changes_of_one_kind_come_in_the_order_of_their_first_cavities():
    before, after = measured("D-1 H-9 | D-2 H-2"), measured("D-1 | H-9 | D-2 | H-2")
    assert [c.cavities for c in compare(before, after)] == [("D-1", "H-9"), ("D-2", "H-2")]


def test_the_kinds_come_in_the_order_in_which_they_are_listed():
    part = PartReading("D-1", "D-2", 465.0, 900.0)
    before = measured(
        "D-1 H-1 | D-2 H-2 | E-1 | E-2", parts=(part,), ohms={("D-2", "H-2"): OhmsReading("D-2", "H-2", 1, 0.1)}
    )
    after = measured("D-1 | H-1 | D-2 H-2 | E-1 E-2", ohms={("D-2", "H-2"): OhmsReading("D-2", "H-2", 2, 0.1)})
    changes = compare(before, after)
    assert [c.kind for c in changes] == ["gone", "new", "resistance", "part gone"]
    assert (changes[3].before, changes[3].after) == (465.0, None)


def test_a_cavity_of_number_zero_and_a_name_that_is_no_cavity_have_their_connector_or_none():
    before, after = measured("H-0 lead | D-1 D-2"), measured("H-0 | lead | D-1 D-2")
    assert brief(compare(before, after, opened={"H"})) == [("gone", ("H-0", "lead"), "connector opened")]
    assert brief(compare(before, after, opened={"D"})) == [("gone", ("H-0", "lead"), "not handled")]


def test_a_circuit_counts_as_edited_when_a_cavity_of_it_was_that_did_not_change():
    changes = compare(measured(GOOD), measured("D-1 H-1 | D-2 H-2 | H-3 | D-3"), edited={"D-2"})
    assert brief(changes) == [("gone", ("H-3", "D-2", "H-2"), "circuit edited")]
    resistance = compare(ohms(0.5), ohms(5.0), edited={"H-1"}, opened={"D"})
    assert brief(resistance) == [("resistance", ("D-1", "H-1"), "circuit edited")]


def test_a_circuit_never_seen_together_with_another_is_not_comparable_and_the_rest_is():
    before = measured("D-1 H-1 | D-2 | D-3 H-3")
    after = measured("D-1 | H-1 | D-2 | D-3 | H-3", not_seen=[("D-1", "H-1")])
    assert brief(compare(before, after)) == [
        ("gone", ("D-3", "H-3"), "not handled"), ("not comparable", ("D-1", "H-1"), "not handled"),
    ]  # fmt: skip


def parts(*readings):
    return measured(GOOD, grade="wire", parts=readings)


def test_a_part_may_move_by_five_per_cent_and_what_two_readings_of_it_differ_by():
    first = parts(PartReading("D-1", "D-2", 1000.0, 1000.0))
    assert compare(first, parts(PartReading("D-1", "D-2", 1045.0, 955.0))) == ()
    for other in (PartReading("D-1", "D-2", 1200.0, 1000.0), PartReading("D-1", "D-2", 1000.0, 800.0)):
        assert [c.kind for c in compare(first, parts(other))] == ["part changed"]


def test_a_part_at_a_cavity_without_a_lead_in_the_other_scan_is_left_out():
    before = measured("D-1 | D-2 | D-3", parts=(PartReading("D-1", "D-3", 465.0, 465.0),))
    assert brief(compare(before, measured("D-1 | D-2"))) == [("not comparable", ("D-3",), "not handled")]


def test_a_part_is_compared_though_the_cavity_that_named_it_is_on_a_lead_in_one_scan_only():
    before = measured("D-1 H-1 | D-2", parts=(PartReading("D-1", "D-2", 465.0, None),))
    for part, kinds in (
        (PartReading("H-1", "D-2", 465.0, None), ["not comparable"]),
        (PartReading("D-2", "H-1", None, 465.0), ["not comparable"]),
        (PartReading("D-2", "H-1", 465.0, None), ["part changed", "not comparable"]),
    ):
        assert [c.kind for c in compare(before, measured("D-2 | H-1", parts=(part,)))] == kinds
    [gone, _] = compare(before, measured("D-2 | H-1"))
    assert brief([gone]) == [("part gone", ("D-2", "H-1"), "not handled")] and gone.before == 465.0


def test_a_diode_turned_round_is_a_change_whatever_cavities_it_is_read_between():
    # from the circuit of D-1 to that of D-2, and then from that of D-2 to that of D-1
    first = parts(PartReading("D-1", "D-2", 465.0, None))
    for other in (PartReading("H-1", "H-2", None, 465.0), PartReading("H-2", "H-1", 465.0, None)):
        assert [c.kind for c in compare(first, parts(other))] == ["part changed"]
    for same in (PartReading("H-1", "H-2", 465.0, None), PartReading("H-2", "H-1", None, 465.0)):
        assert compare(first, parts(same)) == ()


def test_a_part_is_named_by_the_cavities_that_it_was_read_between_where_both_scans_have_them():
    [gone] = compare(parts(PartReading("H-2", "H-1", 465.0, None)), parts())
    assert (gone.kind, gone.cavities) == ("part gone", ("H-1", "H-2"))
