"""Short form of the link-fault campaign (tests/campaigns/test_link_faults.py)."""

import random
from pathlib import Path

import pytest

from tests.support import port_campaign
from tests.support.faulty import KINDS, Fault, FaultyLink
from tests.support.link_campaign import (
    HARNESS,
    LEADS,
    LOW_NONCE,
    MESSAGES,
    Outcome,
    archive,
    run,
    session,
)
from tests.support.virtual import VirtualBench


@pytest.mark.parametrize("first", range(0, 12, 6))
def test_seeded_faults_give_the_right_result_or_an_abort_in_time(first: int):
    for seed in range(first, first + 6):
        outcome = run(seed)
        assert not outcome.wrong, outcome
        assert outcome.late <= 0, outcome
        assert not outcome.driven, outcome


@pytest.mark.parametrize("kind", KINDS)
def test_each_kind_of_fault_strikes_and_is_mended_or_aborts(kind: str):
    outcome = Outcome(0, [Fault(kind, 8)])
    bench = VirtualBench(HARNESS, LEADS)
    link = FaultyLink(bench, random.Random(kind), outcome.faults, archive())
    session(link, 0x1111_0000 | LOW_NONCE, outcome)
    assert link.mangler.struck == {kind}
    assert not outcome.wrong
    assert bool(outcome.aborted) == (kind == "vanish"), outcome


def test_without_faults_everything_is_right_and_as_long_as_the_campaign_thinks():
    outcome = Outcome(0, [])
    link = FaultyLink(VirtualBench(HARNESS, LEADS), random.Random(1), [])
    session(link, 5, outcome)
    assert (outcome.kind, outcome.longest_s < 1) == ("right", True)
    assert link.mangler.requests == MESSAGES


def test_the_campaign_would_notice_a_wrong_result():
    outcome = Outcome(0, [])
    other = {"link": [{"a": "D-1", "b": "H-1", "ohms": 3.0}]}
    session(FaultyLink(VirtualBench(other, LEADS), random.Random(1), []), 5, outcome)
    assert outcome.kind == "WRONG"
    assert {text.split()[0] for text in outcome.wrong} == {"walk", "patterns", "1"}


@pytest.mark.campaign
@pytest.mark.parametrize("seed", [1, 10])
def test_a_whole_test_through_a_faulty_port_ends_in_the_right_verdict_or_an_abort(
    seed: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    port_campaign.files(tmp_path)
    outcome = port_campaign.run(seed, tmp_path)
    assert not outcome.wrong and not outcome.driven and not outcome.armed, outcome
    assert outcome.struck
