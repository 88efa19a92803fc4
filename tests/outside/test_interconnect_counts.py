"""Pattern counts beside the published counts for interconnect test.

Sources: W. H. Kautz, "Testing for Faults in Wiring Networks", IEEE Trans. Computers C-23(4), 1974 (abstract):
p - 1 + ceil(log2 q) multiprobe tests. Counting, modified counting and true/complement sequences: P. T. Wagner,
"Interconnect testing with boundary scan", ITC 1987, and later literature (names seen, two formulas from memory).
"""

import math

import pytest

from tester.scan import agrees, pattern_count, quick_check
from tests.scan.boards import read_patterns


def _netlist(largest: int, circuits: int) -> list[list[int]]:
    """`circuits` circuits, all of `largest` channels."""
    return [list(range(i * largest, (i + 1) * largest)) for i in range(circuits)]


@pytest.mark.parametrize(("p", "q", "published"), [(2, 6, 4), (3, 4, 4), (4, 10, 7), (2, 64, 7)])
def test_ours_are_at_most_kautz_counts(p, q, published):
    # Kautz counts tests of one answer each, over points that one test may join: p - 1 of them find the opens.
    # This board reads every channel at once, so opens show in the very patterns that find shorts: p - 1 falls away.
    assert p - 1 + math.ceil(math.log2(q)) == published
    ours = quick_check(_netlist(p, q))
    assert len(ours) == math.ceil(math.log2(q + 1)) <= published


@pytest.mark.parametrize(
    ("n", "counting", "modified", "true_complement"),
    [(14, 4, 4, 8), (15, 4, 5, 8), (62, 6, 6, 12), (63, 6, 7, 12), (64, 6, 7, 12)],
)
def test_ours_lie_between_the_counting_and_the_modified_counting_sequence(n, counting, modified, true_complement):
    # The counting sequence finds shorts only and may use code zero; the modified one leaves out all-zero and all-one
    # since a logic line may be stuck at either. Here a circuit of two needs a code that is not zero, all-one is
    # harmless (a driven channel is checked by reading itself), so n + 1 codes are enough.
    assert math.ceil(math.log2(n)) == counting
    assert math.ceil(math.log2(n + 2)) == modified
    assert 2 * math.ceil(math.log2(n)) == true_complement
    assert counting <= pattern_count(n, 0) <= modified
    assert pattern_count(n, 1) == counting


def test_a_short_of_two_codes_does_not_hide_behind_a_third_circuit():
    # Aliasing and confounding (Yau and Jarwala, ITC 1989; definitions from memory): codes 0011 and 0101 shorted read
    # 0111 on a board that sees the union; a healthy 0111 cannot vouch for itself, but the shorted circuits differ
    # from their own expected code, so the quick check as a whole never agrees.
    wanted = _netlist(2, 15)
    driven = quick_check(wanted)
    shorted = [wanted[2] + wanted[4], *wanted[:2], wanted[3], *wanted[5:]]
    assert not agrees(wanted, range(30), driven, read_patterns(shorted, driven))
    confounded = [
        wanted[2] + wanted[4],
        wanted[8] + wanted[6],
        *wanted[:2],
        wanted[3],
        wanted[5],
        wanted[7],
        *wanted[9:],
    ]
    assert not agrees(wanted, range(30), driven, read_patterns(confounded, driven))
