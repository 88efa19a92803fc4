"""Two scans of one harness compared."""

from tester.harness.reading import OhmsReading, PartReading
from tester.judge import compare
from tests.judge.benches import measured

GOOD = "D-1 H-1 | D-2 H-2 H-3 | D-3"


def brief(changes):
    return [(c.kind, c.cavities, c.touched) for c in changes]


def test_equal_scans_have_no_change():
    assert compare(measured(GOOD), measured(GOOD)) == ()


def test_a_link_that_is_gone_names_the_pieces_smaller_first():
    [change] = compare(measured(GOOD), measured("D-1 H-1 | D-2 H-2 | H-3 | D-3"))
    assert change.kind == "gone" and change.sides == (("H-3",), ("D-2", "H-2"))
    assert change.touched == "not handled"


def test_a_new_link_names_what_came_together():
    [change] = compare(measured(GOOD), measured("D-1 H-1 D-3 | D-2 H-2 H-3"))
    assert change.kind == "new" and change.sides == (("D-3",), ("D-1", "H-1"))


def test_a_terminal_that_moved_is_gone_here_and_new_there():
    changes = compare(measured(GOOD), measured("D-1 | D-2 H-2 H-3 | D-3 H-1"))
    assert brief(changes) == [("gone", ("D-1", "H-1"), "not handled"), ("new", ("D-3", "H-1"), "not handled")]


def test_what_the_job_had_to_do_with_it_is_told_apart():
    before = measured("D-1 H-1 | D-2 H-2 | J-1 K-1")
    after = measured("D-1 | H-1 | D-2 | H-2 | J-1 | K-1")
    changes = compare(before, after, edited={"H-1"}, opened={"H"})
    assert brief(changes) == [
        ("gone", ("J-1", "K-1"), "not handled"),
        ("gone", ("D-2", "H-2"), "connector opened"),
        ("gone", ("D-1", "H-1"), "circuit edited"),
    ]


def with_ohms(ohms, u, text=GOOD):
    return measured(text, grade="wire", ohms={("D-1", "H-1"): OhmsReading("D-1", "H-1", ohms, u)})


def test_a_resistance_counts_as_moved_only_beyond_its_uncertainty():
    assert compare(with_ohms(0.10, 0.03), with_ohms(0.18, 0.04)) == ()
    [change] = compare(with_ohms(0.10, 0.03), with_ohms(0.2001, 0.04))
    assert (change.kind, change.before, change.after) == ("resistance", 0.10, 0.2001)
    assert round(change.u_ohms, 9) == 0.05
    [lower] = compare(with_ohms(0.2001, 0.04), with_ohms(0.10, 0.03))
    assert lower.kind == "resistance"


def parts(*readings):
    return measured(GOOD, grade="wire", parts=readings)


def test_parts_are_gone_new_or_changed():
    part = PartReading("D-1", "D-2", 465.0, None)
    assert compare(parts(part), parts(PartReading("H-2", "H-1", None, 470.0))) == ()
    assert compare(parts(part), parts(PartReading("D-1", "D-2", 470.0, None))) == ()
    assert brief(compare(parts(part), parts())) == [("part gone", ("D-1", "D-2"), "not handled")]
    assert brief(compare(parts(), parts(part))) == [("part new", ("D-1", "D-2"), "not handled")]
    changed = compare(parts(part), parts(PartReading("D-1", "D-2", 900.0, None)))
    assert brief(changed) == [("part changed", ("D-1", "D-2"), "not handled")]
    assert (changed[0].before, changed[0].after) == (465.0, 900.0)
    both = PartReading("D-1", "D-2", 465.0, 1000.0)
    assert compare(parts(both), parts(PartReading("H-2", "H-1", 1000.0, 465.0))) == ()
    for ab, ba in ((2000.0, 465.0), (1000.0, 900.0), (465.0, 2000.0)):
        assert [c.kind for c in compare(parts(both), parts(PartReading("H-2", "H-1", ab, ba)))] == ["part changed"]
    reversed_part = compare(parts(part), parts(PartReading("D-1", "D-2", None, 465.0)))
    assert [c.kind for c in reversed_part] == ["part changed"]


def test_what_one_scan_could_not_tell_is_not_comparable_and_never_a_change():
    doubtful = measured("D-1 | H-1 | D-2 H-2 H-3 | D-3", doubtful=[("D-1", "H-1")])
    assert brief(compare(measured(GOOD), doubtful)) == [("not comparable", ("D-1", "H-1"), "not handled")]
    fewer = measured("D-1 H-1 | D-2 H-2")
    assert brief(compare(measured(GOOD), fewer)) == [("not comparable", ("D-3", "H-3"), "not handled")]
