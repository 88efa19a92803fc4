"""Old records judged again: from frames, by a corrected plan, or from the very bytes on the line."""

from __future__ import annotations

from pathlib import Path

from tester.board.client import Board
from tester.board.recording import ReplayWire
from tester.errors import BoardError, InputError
from tester.harness.leads import LeadMap
from tester.harness.verdict import Verdict
from tester.job.job import AS_LEFT, Job
from tester.job.measure import take_scan
from tester.job.stored import reading_of, recording_of, rounds_of
from tester.judge import judge
from tester.plan.expect import expectation
from tester.plan.load import load_plan
from tester.plan.resolve import resolve


def judged_by(job: Job, plan_text: str, name: str) -> Verdict:
    """The verdict on the newest as-left scan by another plan; the old verdict stays as it is. Raises InputError."""
    plan = load_plan(plan_text, name)
    entry = job.state.newest_scan(AS_LEFT)
    if entry is None:
        raise InputError(f"record {job.record} holds no as-left scan to judge")
    found = resolve(plan, job.as_found, job.answers, job.side)
    expected = expectation(plan, job.as_found, job.answers, job.side)
    return judge(expected, reading_of(entry, f"record {job.record}", job.state.proven), job.facts(found))


class _Moved:
    """Between rounds a recording of the virtual bench also holds that the harness was wired by the next lead map."""

    def __init__(self, board: Board) -> None:
        self._board = board

    def __call__(self, index: int, leads: LeadMap) -> None:
        self._board.rewire(Path(leads.id))


def replay_wire(job: Job) -> int:
    """Feed each recording of the job to the client: requests and frames must be those of then. How many scans.

    Raises BoardError (code "replay") naming the first line that differs, InputError for a damaged recording.
    """
    done = 0
    for entry in job.state.scans:
        recording = recording_of(entry, f"record {job.record}")
        if not recording:
            continue
        wire = ReplayWire(recording, f"record {job.record}, recording of scan {entry.serial}")
        stored = rounds_of(entry, f"record {job.record}")
        also = job.before(entry.place).links_to_measure(entry.purpose)  # an answer given later asks for other links
        with Board(wire) as board:
            run = take_scan(board, [one.leads for one in stored], also=also, next_round=_Moved(board))
        wire.finish()
        now = [frame.raw for one in run.rounds for frame in one.frames]
        then = [frame.raw for one in stored for frame in one.frames]
        if now != then:
            raise BoardError(
                f"record {job.record}, scan {entry.serial}: the recording gives other frames", code="replay"
            )
        done += 1
    return done
