"""The host's clock jumps, its zone changes, it sleeps in mid-run: records keep their order and say so."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from tester.board.client import Board
from tester.board.recording import Wire
from tester.errors import BoardError
from tester.harness.leads import LeadMap
from tester.harness.verdict import PASS
from tester.job.measure import take_scan
from tester.records import writing
from tester.records.archive import export_log, import_log
from tester.records.clocks import Moment
from tester.records.search import Query
from tester.records.store import Store
from tests.campaigns.rig import QuietLink
from tests.support.virtual import VirtualBench

NOON = datetime(2026, 3, 1, 12, 0, tzinfo=UTC)
LEADS = {n: f"D-{n}" for n in range(1, 9)} | {33: "H-1", 34: "H-2"}
HARNESS = {"link": [{"a": "D-1", "b": "H-1"}, {"a": "D-2", "b": "H-2"}]}
JUMPS = (
    ("back a year", timedelta(days=-365)),
    ("back ten seconds", timedelta(seconds=-10)),
    ("forward ten years", timedelta(days=3650)),
    ("back to the first day of 1970", datetime(1970, 1, 1, tzinfo=UTC) - NOON),
)


class Clock(datetime):
    """A host's clock that somebody sets; `worked`: seconds that really passed."""

    moment = NOON
    worked = 0.0

    @classmethod
    def now(cls, tz: object = None) -> datetime:  # type: ignore[override]
        return cls.moment


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Iterator[type[Clock]]:
    Clock.moment, Clock.worked = NOON, 0.0
    monkeypatch.setattr(writing, "datetime", Clock)
    yield Clock


@pytest.mark.campaign
@pytest.mark.parametrize(("name", "jump"), JUMPS)
def test_events_keep_their_order_when_the_clock_is_set_and_verify_says_so(
    name: str, jump: timedelta, clock: type[Clock], tmp_path: Path
) -> None:
    back = name.startswith("back")
    clocks = lambda: Moment(clock.moment.timestamp(), clock.worked, clock.worked)  # noqa: E731
    with Store.open(tmp_path / "a.db", "A", clocks=clocks) as log:
        job = log.new_job(terms={"tag": "T-1"})
        for n in range(6):
            clock.moment += timedelta(seconds=5)
            clock.worked += 5
            if n == 3:
                clock.moment += jump
            log.append(job, "note", {"n": n}, terms={"verdict": "PASS"} if n == 5 else {})
        assert [event.data.get("n") for event in log.read(job)] == [None, 0, 1, 2, 3, 4, 5]
        found = log.verify(log.heads())
        assert found.whole
        notes = [note for note in found.notes if "clock went back" in note]
        assert len(notes) == (1 if back else 0)
        set_by = [note for note in found.notes if "its clock was set" in note]
        assert len(set_by) == 1 and f"event 5: since the event before, its clock was set {name.split()[0]}" in set_by[0]
        (summary,) = log.jobs(Query(tag="T-1"))
        assert summary.term("verdict") == PASS and summary.active_s >= 0
        export_log(log, tmp_path / "x.archive")
        with Store.open(tmp_path / "b.db", "B") as other:
            import_log(other, tmp_path / "x.archive")
            assert [event.hash for event in other.read(job)] == [event.hash for event in log.read(job)]
            assert other.verify(log.heads()).notes == found.notes
    print(f"\nclock {name}: 7 events in order, notes of verify: {found.notes or 'none'}")


@pytest.mark.campaign
def test_another_time_zone_changes_no_event_and_no_order(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with Store.open(tmp_path / "a.db", "A") as log:
        job = log.new_job()
        for zone in ("Pacific/Kiritimati", "Pacific/Pago_Pago", "Asia/Kathmandu", "UTC", "No/Such_Zone"):
            monkeypatch.setenv("TZ", zone)
            time.tzset()
            log.append(job, "note", {"zone": zone})
        monkeypatch.undo()
        time.tzset()
        events = log.read(job)
        assert [event.serial for event in events] == [1, 2, 3, 4, 5, 6]
        assert all(event.at.utcoffset() == timedelta(0) for event in events)
        spread = events[-1].at - events[0].at
        assert timedelta(0) <= spread < timedelta(minutes=1)
        found = log.verify(log.heads())
        assert found.whole and not found.notes
    print(f"\nfive time zones in one job: all moments in UTC, {spread.total_seconds():.3f} s apart in all, order kept")


class SleepyLink(QuietLink):
    """The computer sleeps for `seconds` before request number `at`: the board's time goes on, ours may or may not."""

    def __init__(self, bench: VirtualBench, at: int, seconds: float, counts_sleep: bool) -> None:
        super().__init__(bench)
        self.at, self.seconds, self.counts_sleep = at, seconds, counts_sleep
        self.requests, self.lost = 0, 0.0

    def clock(self) -> float:
        return super().clock() - self.lost

    def write(self, data: bytes) -> None:
        self.requests += 1
        if self.requests == self.at:
            self._bench.run(self.seconds)
            self.lost += 0.0 if self.counts_sleep else self.seconds
        super().write(data)


@pytest.mark.campaign
@pytest.mark.timeout(300)
@pytest.mark.parametrize("counts_sleep", [True, False])
def test_a_computer_that_sleeps_in_mid_run_ends_right_or_aborted(counts_sleep: bool) -> None:
    """Linux's monotonic clock stands still in sleep, others' go on: both are tried, before each request of a scan."""
    wanted, outcomes = _scan(0, counts_sleep), {"right": 0, "aborted": 0}
    assert wanted is not None
    for at in range(1, wanted[1] + 1):
        found = _scan(at, counts_sleep)
        if found is None:
            outcomes["aborted"] += 1
        else:
            assert found[0] == wanted[0], f"asleep before request {at}"
            outcomes["right"] += 1
    print(f"\nasleep 3 s before each of {wanted[1]} requests, clock counts sleep: {counts_sleep}: {outcomes}")
    assert outcomes["right"] > wanted[1] // 2


def _scan(at: int, counts_sleep: bool) -> tuple[object, int] | None:
    bench = VirtualBench(HARNESS, LEADS, seed=4, nominal=True)
    link = SleepyLink(bench, at, 3.0, counts_sleep)
    found = _or_abort(lambda: _scanned(link))
    bench.run(1.0)
    assert not bench.board.trace.driven() and not bench.board.pump.armed
    return None if found is None else (found, link.requests)


def _scanned(link: SleepyLink) -> object:
    with Board(Wire(link, link.clock, None, lambda: 5)) as board:
        return take_scan(board, [LeadMap("a", LEADS)]).measured.netlist


def _or_abort(call: Callable[[], object]) -> object | None:
    try:
        return call()
    except BoardError:
        return None
