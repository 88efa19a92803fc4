"""Lead plans show everything that is needed, against brute force; few channels judge as many channels do."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from itertools import combinations
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tester.errors import InputError
from tester.harness.leads import LeadMap, load_leads, write_leads
from tester.harness.reading import Measured
from tester.judge.facts import JudgeFacts, checks_of
from tester.judge.verdict import judge
from tester.plan.expect import expectation
from tester.plan.leadplan import lower_bound, plan_leads
from tester.plan.leadsheet import lead_labels, lead_plan_text, leads_for_plan, wiring_list
from tester.scan.rounds import combine
from tester.scan.walk import decode_walk
from tests.support.demo import EMPTY, demo_plan, perfect_scan
from tests.support.lead_cover import check_once


@pytest.mark.campaign
@settings(max_examples=20, deadline=None)
@given(st.randoms(use_true_random=False))
def test_random_lead_plans_show_everything_that_is_needed(random: Random) -> None:
    check_once(random)


@pytest.mark.parametrize(
    ("v", "k", "bound"),
    # Schönheim 1964: ceil(v/k * ceil((v-1)/(k-1))); projective planes reach it for (7, 3), (13, 4), AG(2,3) for (9, 3)
    [(7, 3, 7), (9, 3, 12), (13, 4, 13), (10, 4, 8), (20, 10, 6)],
)
def test_the_bound_is_schoenheims(v: int, k: int, bound: int) -> None:
    beside = [["D-1"], ["D-2"], *([f"H-{n}"] for n in range(1, v + 1))]
    assert lower_bound(beside, k + 2, ("D-1", "D-2")) == (
        bound,
        f"Schönheim bound for {v} circuits beside the pair seen again, {k} in a round (1964)",
    )


def test_no_lead_plan_beats_the_bound_on_small_cases_by_brute_force() -> None:
    for v, k in ((5, 4), (6, 4), (6, 5), (7, 5)):
        circuits = [[f"D-{n}"] for n in range(1, v + 1)]
        names = [circuit[0] for circuit in circuits]
        blocks = [set(one) | {"D-1", "D-2"} for one in combinations(names[2:], k - 2)]
        pairs = [set(pair) for pair in combinations(names, 2)]
        least = next(
            count
            for count in range(1, 12)
            for chosen in combinations(blocks, count)
            if all(any(pair <= block for block in chosen) for pair in pairs)
        )
        made = plan_leads("x", names, k)
        assert made.bound <= least <= len(made.rounds)
        assert len(made.rounds) == least


def test_as_many_channels_as_cavities_need_one_round_and_no_pair_again() -> None:
    made = plan_leads("x", ["D-1", "D-2", "H-1"], 3)
    assert [one.channels for one in made.rounds] == [{1: "D-1", 2: "D-2", 3: "H-1"}]
    assert made.again == () and made.moved == () and made.bound == 1


def test_fewer_rounds_say_what_stays_not_tested() -> None:
    made = plan_leads("x", [f"D-{n}" for n in range(1, 13)], 8)
    assert [left.rounds for left in made.unseen] == list(range(1, len(made.rounds)))
    counts = [left.pairs for left in made.unseen]
    assert counts == sorted(counts, reverse=True) and counts[0] == 66 - 28 and counts[-1] > 0
    text = lead_plan_text(made)
    assert "stays NOT TESTED" in text and "In every round again" in text and "Bound: at least" in text
    assert max(map(len, text.splitlines())) <= 80


def test_the_maps_are_files_and_lists_and_labels_are_made_from_them() -> None:
    made = rounds_for(20)
    for one in made:
        assert load_leads(write_leads(one), "round.toml") == one
    first = made[0]
    assert len(wiring_list(first).splitlines()) == 1 + len(first.channels)
    assert lead_labels(first).count(f"1>{first.channels[1]}") >= 2


def test_every_round_has_a_pair_that_a_fact_of_the_plan_says_is_joined() -> None:
    assert all({"D-7", "H-7"} <= set(one.channels.values()) for one in rounds_for(20))
    assert scan_in_rounds(rounds_for(20), perfect_scan("side-door-plain-before")).unanchored == ()


@pytest.mark.parametrize(("channels", "words"), [(1, "2 to 256 channels"), (3, "too few for several rounds")])
def test_too_few_channels_are_refused(channels: int, words: str) -> None:
    with pytest.raises(InputError, match=words):
        leads_for_plan(demo_plan(), channels)


@cache
def rounds_for(channels: int) -> tuple[LeadMap, ...]:
    return leads_for_plan(demo_plan(), channels).rounds


def scan_in_rounds(rounds: Sequence[LeadMap], truth: Measured) -> Measured:
    """What the scan room makes of one walk a round on a harness with these circuits and one-way parts."""
    made = []
    for leads in rounds:
        points = list(leads.channels)
        rows = []
        for drive in points:
            low = 0
            for bit, read in enumerate(points):
                a, b = leads.channels[drive], leads.channels[read]
                here, there = truth.netlist.circuit_of(a), truth.netlist.circuit_of(b)
                oneway = any(x in here and y in there for x, y in truth.directed)
                low |= (truth.netlist.joined(a, b) or oneway) << bit
            rows.append(low)
        made.append((decode_walk(points, points, rows), leads.channels))
    return combine(made)


@pytest.mark.parametrize(
    "harness", ["side-door-heater-after", "side-door-heater-wrong", "side-door-plain-after", "side-door-plain-wrong"]
)
def test_twenty_channels_in_rounds_give_the_verdict_and_faults_of_sixty_four(harness: str) -> None:
    variant = harness.rsplit("-", 1)[0]
    plan, facts = demo_plan(), JudgeFacts(can=checks_of({"scan"}))
    verdicts = []
    for channels in (64, 20):
        rounds = rounds_for(channels)
        before = scan_in_rounds(rounds, perfect_scan(f"{variant}-before"))
        after = scan_in_rounds(rounds, perfect_scan(harness))
        verdicts.append(judge(expectation(plan, before, EMPTY, "left"), after, facts))
    wide, narrow = verdicts
    assert (wide.verdict, wide.faults, wide.explanations) == (narrow.verdict, narrow.faults, narrow.explanations)
    assert [(c.cavity, c.verdict, c.measured) for c in wide.cavities] == [
        (c.cavity, c.verdict, c.measured) for c in narrow.cavities
    ]
    assert wide.verdict == ("FAIL" if "wrong" in harness else "PASS")


def test_known_circuits_need_fewer_rounds_for_the_same_verdict() -> None:
    plan, before = demo_plan(), perfect_scan("side-door-plain-before")
    every = rounds_for(20)
    known = leads_for_plan(plan, 20, as_found=before, answers=EMPTY, side="left")
    assert len(known.rounds) < len(every)
    expected = expectation(plan, before, EMPTY, "left")
    facts = JudgeFacts(can=checks_of({"scan"}))
    for harness, verdict in (("side-door-plain-after", "PASS"), ("side-door-plain-wrong", "FAIL")):
        assert judge(expected, scan_in_rounds(known.rounds, perfect_scan(harness)), facts).verdict == verdict
