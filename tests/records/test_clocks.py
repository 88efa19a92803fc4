"""What the computer's clocks did between two events is in the event that follows, and said wherever it is read."""

from __future__ import annotations

import json
import time
from datetime import UTC, datetime
from pathlib import Path

import pytest

from tester.cli.main import main
from tester.errors import InputError
from tester.job.job import Job
from tester.job.report import report_file, report_of
from tester.records import clocks
from tester.records.archive import export_log, import_log
from tester.records.clocks import Moment, change, moment, says
from tester.records.store import Store

ROOT = Path(__file__).resolve().parents[2]
PLAN, LEADS = ROOT / "fixtures/plans/side-door.toml", ROOT / "fixtures/leads/side-door-leads.toml"


class Clocks:
    """Clocks that a test turns."""

    def __init__(self, counts_sleep: bool = True) -> None:
        self.wall, self.awake, self.asleep, self.counts_sleep = 1_790_000_000.0, 500.0, 0.0, counts_sleep

    def __call__(self) -> Moment:
        return Moment(self.wall, self.awake, self.awake + self.asleep if self.counts_sleep else None)

    def work(self, seconds: float) -> None:
        self.wall, self.awake = self.wall + seconds, self.awake + seconds

    def sleep(self, seconds: float) -> None:
        self.wall, self.asleep = self.wall + seconds, self.asleep + seconds

    def set_by(self, seconds: float) -> None:
        self.wall += seconds


def test_work_alone_and_a_clock_held_to_a_time_server_are_not_noted() -> None:
    start = Moment(1000.0, 10.0, 20.0)
    assert change(start, Moment(1060.0, 70.0, 80.0)) == {}
    assert change(start, Moment(1000.0 + 36000 + 18, 36010.0, 36020.0)) == {}


@pytest.mark.parametrize(
    ("now", "told", "words"),
    [
        (Moment(1310.0, 20.0, 330.0), {"asleep_s": 300.0}, "the computer slept for 5.0 minutes"),
        (Moment(1010.0 - 3600, 20.0, 30.0), {"moved_s": -3600.0}, "its clock was set back by 60.0 minutes"),
        (Moment(1010.0 + 86400, 20.0, 30.0), {"moved_s": 86400.0}, "its clock was set forward by 24.0 hours"),
        (
            Moment(1310.0 + 600, 20.0, 330.0),
            {"asleep_s": 300.0, "moved_s": 600.0},
            "the computer slept for 5.0 minutes and its clock was set forward by 10.0 minutes",
        ),
    ],
)
def test_a_sleep_and_a_clock_that_was_set_are_told_apart(now: Moment, told: dict[str, float], words: str) -> None:
    found = change(Moment(1000.0, 10.0, 20.0), now)
    assert found == told
    assert says(found) == f"since the event before, {words}"


def test_without_a_clock_that_counts_sleep_both_are_named() -> None:
    found = change(Moment(1000.0, 10.0, None), Moment(1310.0, 20.0, None))
    assert "set forward by 5.0 minutes, or it slept that long" in says(found)


def test_the_clocks_of_this_computer_agree_while_it_is_awake() -> None:
    before = moment()
    time.sleep(0.05)
    after = moment()
    assert after.awake - before.awake >= 0.05 and change(before, after) == {}


@pytest.mark.parametrize("counts_sleep", [True, False])
def test_a_sleep_in_mid_run_is_in_the_next_event_the_report_and_verify(counts_sleep: bool, tmp_path: Path) -> None:
    clock = Clocks(counts_sleep)
    with Store.open(tmp_path / "a.db", "A", clocks=clock) as log:
        job = Job.start(
            log, plan=(PLAN.name, PLAN.read_text()), leads=[(LEADS.name, LEADS.read_text())], intake={"side": "left"}
        )
        clock.work(30)
        job.note("before")
        clock.sleep(600)
        job.note("after")
        clock.work(5)
        job.note("much later")
        events = log.read(job.record)
        assert [bool(event.clock) for event in events] == [False, False, False, False, True, False]
        assert [event.clock for event in job.events()] == [event.clock for event in events]
        found = log.verify(log.heads())
        page = report_file(report_of(job, log), "html", False, UTC).decode()
        record = job.record
        export_log(log, tmp_path / "x.archive")
    assert found.whole and len(found.notes) == 1 and "event 5" in found.notes[0] and "slept" in found.notes[0]
    assert "Event 5: since the event before," in page and "10.0 minutes" in page
    with Store.open(tmp_path / "b.db", "B") as other:
        import_log(other, tmp_path / "x.archive")
        assert other.read(record)[4].clock == events[4].clock and other.read(record)[4].hash == events[4].hash
        assert other.verify().notes == found.notes


def test_the_command_says_it(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    clock, path = Clocks(), str(tmp_path / "a.db")
    with Store.open(path, "A", clocks=clock) as log:
        job = Job.start(
            log, plan=(PLAN.name, PLAN.read_text()), leads=[(LEADS.name, LEADS.read_text())], intake={"side": "left"}
        )
        clock.sleep(90)
        clock.set_by(-7200)
        job.note("after")
    words = "the computer slept for 90.0 seconds and its clock was set back by 2.0 hours"
    assert main(["records", "show", job.record, "--log", path]) == 0
    assert words in capsys.readouterr().out
    assert main(["records", "show", job.record, "--json", "--log", path]) == 0
    assert json.loads(capsys.readouterr().out)["events"][-1]["clock"] == {"asleep_s": 90.0, "moved_s": -7200.0}
    assert main(["records", "verify", "--log", path]) == 0
    assert words in capsys.readouterr().out
    assert main(["records", "verify", "--json", "--log", path]) == 0
    assert words in json.loads(capsys.readouterr().out)["notes"][0]


def test_a_note_of_a_transaction_that_failed_comes_with_the_next_event() -> None:
    clock = Clocks()
    with Store.open(":memory:", "A", clocks=clock) as log:
        job = log.new_job()
        clock.sleep(60)
        with pytest.raises(ValueError):
            log.append(job, "note", {"n": float("nan")})
        with pytest.raises(ZeroDivisionError), log.together():
            log.append(job, "note")
            raise ZeroDivisionError
        assert log.append(job, "note", at=datetime(2026, 3, 1, tzinfo=UTC)).clock == {"asleep_s": 60.0}
        assert log.append(job, "note").clock == {}


@pytest.mark.parametrize("clock", [{}, {"asleep_s": "long"}, {"other": 1.0}, [], {"moved_s": True}])
def test_a_clock_that_is_none_is_refused_from_elsewhere(clock: object) -> None:
    with pytest.raises(ValueError):
        clocks.checked(clock)


def test_an_archive_with_a_made_up_clock_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with Store.open(tmp_path / "a.db", "A") as log:
        monkeypatch.setattr("tester.records.store.change", lambda _before, _now: {"asleep_s": "<b>long</b>"})
        log.new_job()
        export_log(log, tmp_path / "x.archive")
    with Store.open(":memory:", "B") as other, pytest.raises(InputError, match="clock"):
        import_log(other, tmp_path / "x.archive")
