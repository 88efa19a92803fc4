"""A job as it stood before one of its events: what was measured then is asked for again by the answers of then."""

from __future__ import annotations

from pathlib import Path

from tester.job.job import AS_FOUND, AS_LEFT, Job
from tester.records.store import Store
from tester.shipped import shipped
from tests.campaigns.rig import Rig

FULL = shipped("fixtures", "plans", "side-door-full.toml").read_text()
LEADS = shipped("fixtures", "leads", "side-door-leads.toml")
OCCUPIED = "occupied D-13"


def test_links_to_measure_are_those_of_the_answers_before_the_scan_whatever_was_answered_later(tmp_path: Path) -> None:
    with Store.open(tmp_path / "log.db", "B") as log:
        leads = [("leads.toml", LEADS.read_text())]
        job = Job.start(log, plan=("plan.toml", FULL), leads=leads, intake={"side": "left"})
        rig = Rig(dict(job.leads[0].channels))
        job.leads_done()
        rig.bench.plug(shipped("fixtures", "harnesses", "side-door-plain-before.toml"))
        job.scan(rig.board, AS_FOUND)
        job.answer(OCCUPIED, False)
        job.tick_all()
        rig.bench.plug(shipped("fixtures", "harnesses", "side-door-plain-after.toml"))
        then = job.links_to_measure(AS_LEFT)
        job.scan(rig.board, AS_LEFT)
        scan = job.state.newest_scan(AS_LEFT)
        assert scan is not None and then
        job.answer(OCCUPIED, True)
        before = job.before(scan.place)
        assert before.links_to_measure(AS_LEFT) == then
        assert before.answers == {OCCUPIED: False} and job.answers == {OCCUPIED: True}
        assert before.state.newest_scan(AS_LEFT) is None and before.as_found == job.as_found
        rig.close()
