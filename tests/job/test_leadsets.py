"""A proof belongs to a lead set, on one board, for a day; a set that was left wet stays wet for every later job."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from tester.job.job import Job
from tester.records.store import Store
from tester.shipped import shipped

PLAN = shipped("fixtures", "plans", "side-door.toml").read_text()
LEADS = shipped("fixtures", "leads", "side-door-leads.toml").read_text()
BOARD, OTHER = {"serial": "5642000000000001"}, {"serial": "5642000000000002"}
SOON = timedelta(minutes=5)


@pytest.fixture
def log() -> Iterator[Store]:
    with Store.in_memory() as opened:
        yield opened


def job(log: Store, board: dict[str, str] = BOARD, leads: str = LEADS) -> Job:
    started = Job.start(log, plan=("plan.toml", PLAN), leads=[("leads.toml", leads)], intake={"side": "left"})
    started.use_board(board)
    return started


def now() -> datetime:
    return datetime.now(UTC) + SOON


def test_what_was_touched_today_on_this_board_counts_in_the_next_job(log: Store) -> None:
    first, second = job(log), job(log)
    first.prove(["D-1", "D-2"], at=0)
    assert second.state.proven == frozenset()
    assert second.count_earlier_proof(0, now()) == [first.record]
    assert second.state.proven == {"D-1", "D-2"}
    assert second.events()[-1].data["how"] == f"touched in {first.record}"
    assert second.count_earlier_proof(0, now()) == [], "counted once"


def test_a_counted_proof_is_not_counted_on_again(log: Store) -> None:
    first = job(log)
    first.prove(["D-1"], at=0)
    job(log).count_earlier_proof(0, now())
    assert job(log).count_earlier_proof(0, now()) == [first.record]


def test_another_board_another_day_another_set_or_a_clock_put_back_proves_nothing(log: Store) -> None:
    job(log).prove(["D-1"], at=0)
    assert job(log, OTHER).count_earlier_proof(0, now()) == []
    assert job(log, leads=LEADS + "\n# mended\n").count_earlier_proof(0, now()) == []
    assert job(log).count_earlier_proof(0, now() + timedelta(hours=24)) == []
    assert job(log).count_earlier_proof(0, now() - 2 * SOON) == []
    assert job(log).count_earlier_proof(0, now()) != []


def test_a_lead_set_left_wet_is_wet_in_every_later_job_until_it_is_proven_again(log: Store) -> None:
    wet = job(log)
    every = set(wet.leads[0].cavities)
    wet.prove(every, at=0)
    wet.keep_left_out(["D-1"], "as left")
    for _ in range(2):
        later = job(log)
        assert later.state.unclean == every and later.count_earlier_proof(0, now()) == []
    later.prove(every - {"D-1"}, at=0)
    assert job(log).state.unclean == {"D-1"}
    later.prove(["D-1"], at=0)
    clean = job(log)
    assert not clean.state.unclean and clean.count_earlier_proof(0, now()) == [later.record]
    assert any(event.data.get("since") == wet.record for event in later.events() if event.kind == "lead-unproven")


def test_changing_to_a_lead_set_that_was_left_wet_brings_its_state_along(log: Store) -> None:
    wet, other = job(log), job(log, leads=LEADS + "\n# the second set\n")
    wet.keep_left_out(["D-1"], "as left")
    assert not other.state.unclean
    other.change_leads([("leads.toml", LEADS)])
    assert other.state.unclean == set(wet.leads[0].cavities)


def test_two_benches_share_a_lead_set_and_what_came_later_counts_whichever_log_is_longer(tmp_path: Path) -> None:
    """Each bench counts its own events: the long log's proof has the higher number, and came first all the same."""
    with Store.open(tmp_path / "shop.db", "LONG") as one, Store.open(tmp_path / "shop.db", "NEW") as other:
        proven = job(one)
        for _ in range(20):
            proven.note("more")
        proven.prove(proven.leads[0].cavities, at=0)
        wet = job(other)
        wet.keep_left_out(["D-1"], "as left")
        assert proven.events()[-1].serial > wet.events()[-1].serial
        for log in (one, other):
            again = job(log)
            assert again.state.unclean == set(wet.leads[0].cavities)
            assert again.count_earlier_proof(0, now()) == []
        wet.prove(wet.leads[0].cavities, at=0)
        assert not job(one).state.unclean
