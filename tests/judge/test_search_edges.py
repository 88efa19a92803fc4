"""The exact search at its limits: which exchanges, how many states, six faults and seven."""

import pytest

from tester.harness.netlist import Netlist
from tester.judge import diagnose
from tester.judge import search as searching
from tester.judge.explain import relabelled
from tester.judge.search import Exhausted, Search, exchanges
from tests.judge.benches import circuits


def tried(table, group=None):
    return [(one, other) for one, other, _ in exchanges(table, group)]


def test_every_two_cells_are_exchanged_once():
    table = {(2, 2): 1, (0, 0): 1, (1, 1): 1}
    assert tried(table) == [((0, 0), (1, 1)), ((0, 0), (2, 2)), ((1, 1), (2, 2))]


@pytest.mark.parametrize(
    ("one", "other", "group", "parts"),
    [(1, 1, [4, 4], True), (2, 1, [4, 4], True), (1, 2, [4, 4], True), (2, 2, [4, 4], False), (1, 1, [4, 5], False)],
)
def test_only_exchanges_within_a_group_that_use_up_a_cell_can_part_it(one, other, group, parts):
    assert tried({(0, 0): one, (1, 1): other}, group) == ([((0, 0), (1, 1))] if parts else [])


def test_an_exchange_takes_one_of_each_cell_and_adds_one_to_the_two_across():
    [(_, _, after)] = exchanges({(0, 0): 3, (1, 1): 1, (0, 1): 1})
    assert after == {(0, 0): 2, (0, 1): 2, (1, 0): 1}


def test_what_takes_one_state_is_found_when_one_is_allowed(monkeypatch):
    wanted, got = circuits("A-1 A-2 A-3"), circuits("A-1 | A-2 | A-3")
    monkeypatch.setattr(searching, "MOST_STATES", 1)
    assert Search(wanted, got).smallest() == 2
    monkeypatch.setattr(searching, "MOST_STATES", 0)
    with pytest.raises(Exhausted):
        Search(wanted, got).smallest()


def swapped(n):
    wanted = Netlist.of([f"A-{i}", f"B-{i}"] for i in range(1, 2 * n + 1))
    moved = {f"A-{i}": f"A-{i + 1 if i % 2 else i - 1}" for i in range(1, 2 * n + 1)}
    return wanted, relabelled(wanted, moved)


def test_three_independent_swaps_have_eight_explanations():
    found = diagnose(*swapped(3))  # each at either end
    assert (found.explanations[0].cost, len(found.explanations), found.complete, found.exact) == (3, 8, True, True)


def test_six_faults_are_searched_in_full_and_seven_are_not():
    six, seven = diagnose(*swapped(6)), diagnose(*swapped(7))
    assert six.complete and len(six.explanations) == 64 and six.at_least == 6
    assert not seven.complete and seven.exact and seven.at_least == 7 and seven.explanations[0].cost == 7


def test_a_list_of_ties_is_cut_at_exactly_the_most(monkeypatch):
    monkeypatch.setattr(searching, "MOST_TIES", 9)
    assert diagnose(*swapped(3)).complete
    monkeypatch.setattr(searching, "MOST_TIES", 7)
    found = diagnose(*swapped(3))
    assert len(found.explanations) == 7 and not found.complete


def test_right_circuits_take_no_part():
    search = Search(circuits("A-1 A-2 | B-1 | C-1 C-2"), circuits("A-1 A-2 | B-1 C-1 | C-2"))
    assert search.home.keys() == {"B-1", "C-1", "C-2"} and (search.wanted, search.got) == (2, 2)
    assert search.start == {(0, 0): 1, (1, 0): 1, (1, 1): 1} and search.lower == 1 and search.extra == 0
    nothing = diagnose(circuits("A-1 A-2"), circuits("A-1 A-2"))
    assert nothing.explanations == () and nothing.exact and nothing.complete and nothing.at_least == 0
