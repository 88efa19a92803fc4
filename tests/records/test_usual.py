"""What is unusual here is told by counts over earlier scans of the same plan and variant."""

from __future__ import annotations

import random

from tester.harness.netlist import Netlist
from tester.records.store import Store
from tester.records.usual import earlier_scans, unusual

USUAL = Netlist.of([["D-1", "H-1"], ["D-7", "H-3"], ["D-9", "H-9", "H-10"], ["D-2"]])


def said(here: Netlist, earlier: list[Netlist]) -> list[str]:
    return [oddity.says() for oddity in unusual(here, earlier)]


def test_a_circuit_that_was_always_there_and_is_not_here_is_counted() -> None:
    here = Netlist.of([["D-1", "H-1"], ["D-7"], ["H-3"], ["D-9", "H-9", "H-10"], ["D-2"]])
    assert said(here, [USUAL] * 23) == ["D-7 was joined to H-3 on 23 of 23 before, not here"]


def test_one_loose_terminal_of_a_splice_is_one_sentence() -> None:
    here = Netlist.of([["D-1", "H-1"], ["D-7", "H-3"], ["D-9", "H-9"], ["H-10"], ["D-2"]])
    assert said(here, [USUAL] * 4) == ["H-10 was joined to D-9 and H-9 on 4 of 4 before, not here"]


def test_what_is_joined_here_and_hardly_before_is_counted() -> None:
    here = Netlist.of([["D-1", "H-1", "D-2"], ["D-7", "H-3"], ["D-9", "H-9", "H-10"]])
    one = Netlist.of([["D-1", "H-1", "D-2"], ["D-7", "H-3"], ["D-9", "H-9", "H-10"]])
    assert said(here, [USUAL] * 9 + [one]) == ["D-2 is joined to D-1 and H-1 here; it was on 1 of 10 before"]


def test_what_differs_often_anyway_is_not_said() -> None:
    here = Netlist.of([["D-1"], ["H-1"], ["D-7", "H-3"], ["D-9", "H-9", "H-10"], ["D-2"]])
    assert said(here, [USUAL] * 6 + [here] * 4) == []


def test_without_earlier_scans_nothing_is_said() -> None:
    assert said(USUAL, []) == []


def test_a_cavity_that_earlier_scans_did_not_reach_is_not_counted() -> None:
    short = Netlist.of([["D-1", "H-1"]])
    here = Netlist.of([["D-1", "H-1"], ["D-7"], ["H-3"], ["D-9", "H-9", "H-10"], ["D-2"]])
    assert said(here, [USUAL, USUAL, short]) == ["D-7 was joined to H-3 on 2 of 2 before, not here"]


def test_sentences_name_every_pair_that_a_count_by_hand_names() -> None:
    rng = random.Random(5)
    names = [f"D-{n}" for n in range(1, 9)]

    def any_netlist() -> Netlist:
        groups: dict[int, list[str]] = {}
        for name in names:
            groups.setdefault(rng.randrange(5), []).append(name)
        return Netlist.of(groups.values())

    for _ in range(300):
        here, earlier = any_netlist(), [any_netlist() for _ in range(rng.randint(1, 4))]
        wanted = {
            (frozenset((a, b)), here.joined(a, b), times)
            for i, a in enumerate(names)
            for b in names[i + 1 :]
            for times in [sum(scan.joined(a, b) for scan in earlier)]
            if (times <= 0.2 * len(earlier) + 1e-9 if here.joined(a, b) else times >= 0.8 * len(earlier))
            and (times or here.joined(a, b))
        }
        found = {
            (frozenset((o.cavity, other)), o.joined_here, o.times) for o in unusual(here, earlier) for other in o.others
        }
        assert found == wanted


def test_earlier_scans_are_the_last_as_found_of_the_same_plan_and_variant() -> None:
    with Store.in_memory() as log:
        for number, variant in enumerate(("heater", "heater", "plain")):
            job = log.new_job(terms={"plan": "mirror", "variant": variant})
            log.append(job, "scan", {"purpose": "as found", "nets": [["D-1"], ["H-1"]]})
            log.append(job, "scan", {"purpose": "as found", "nets": [["D-1", "H-1"], [f"X-{number + 1}"]]})
            log.append(job, "scan", {"purpose": "as left", "nets": [["Z-1"]]})
        log.new_job(terms={"plan": "mirror", "variant": "heater"})
        found = earlier_scans(log, "mirror", "heater")
        assert [scan.lone() for scan in found] == [("X-2",), ("X-1",)]
        assert len(earlier_scans(log, "mirror")) == 3
        assert len(earlier_scans(log, "mirror", "heater", besides="MEMORY-0001")) == 1
