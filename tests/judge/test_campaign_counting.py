"""The fault campaign's own bookkeeping: when a set of faults has undone itself."""

from tests.campaigns.harnesses import Harness, loose, shorted


def test_a_diode_that_ends_elsewhere_is_a_fault_although_the_circuits_are_the_same():
    """Seed 702002 of the double faults: a short from A-2 to B-3, and the terminal of B-3 pulled with it."""
    good = Harness(("A-1", "A-2", "B-3", "C-2"))
    good.tables["link"].append({"a": "A-2", "b": "C-2", "ohms": 0.1})
    good.tables["diode"].append({"anode": "B-3", "cathode": "A-1", "drop_v": 0.6})
    broken = shorted(good, "A-2", "B-3")
    broken = broken.rename({"B-3": loose(broken, "B-3")})
    assert broken.netlist == good.netlist
    assert good.ends == [["B-3"], ["A-1"]]
    assert broken.ends == [["A-2", "C-2"], ["A-1"]]


def test_a_short_that_is_taken_away_again_leaves_the_parts_where_they_were():
    good = Harness(("A-1", "A-2", "B-3"))
    good.tables["diode"].append({"anode": "B-3", "cathode": "A-1", "drop_v": 0.6})
    again = shorted(good, "A-2", "B-3")
    again.tables["link"].pop()
    assert (again.netlist, again.ends) == (good.netlist, good.ends)
    assert good.rename({"B-3": loose(good, "B-3")}).ends == [[], ["A-1"]]
