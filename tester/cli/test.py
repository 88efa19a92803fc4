"""`test`: the as-left test of a finished harness, from one command line to one record."""

from __future__ import annotations

import argparse
from typing import Any

from tester.board.client import Board
from tester.board.recording import Recorder
from tester.cli.common import MovedLeads, left_out, open_log, opened_board, parse_answers, refuse_to_drive
from tester.cli.main import error_object
from tester.cli.output import Progress, say, show, show_json
from tester.cli.scan import about_board
from tester.errors import InputError, LoomwrightError
from tester.harness.verdict import FAIL, PASS
from tester.job.files import read_text
from tester.job.job import AS_FOUND, AS_LEFT, Job
from tester.job.scanfile import load_scan
from tester.job.steps import sheet_numbers
from tester.job.verdicts import verdict_object
from tester.records.store import Store
from tester.words import verdict_lines

STATUS = {PASS: 0, FAIL: 1}


def run(options: argparse.Namespace) -> int:
    """Scan, judge, store, print. The record is kept also when the run breaks off."""
    log, log_error = open_log(options.log)
    with log:
        job = _start(options, log)
        try:
            verdict = _measure_and_judge(job, options)
        except LoomwrightError as error:
            return _aborted(job, error, options, log_error)
        result: dict[str, Any] = verdict_object(verdict) | {"record": job.record if job.stored else None}
        trouble = job.store_error or log_error
        if trouble:
            result["error"] = error_object(trouble)
        if options.json:
            show_json(result)
        else:
            for line in verdict_lines(verdict, sheet_numbers(job.steps())):
                show(line)
            show(f"Record {job.record}" if job.stored else "Not stored.")
        if trouble:
            say(f"The verdict stands, but it is not stored: {trouble}")
            return trouble.exit_status
        return STATUS.get(verdict.verdict, 2)


def _start(options: argparse.Namespace, log: Store) -> Job:
    if options.resume:
        _refuse_other_intake(options)
    job = Job.take_up(log, options.resume, keep_going=True) if options.resume else _new_job(options, log)
    if not job.state.leads_done:  # new, or broken off between its first events
        job.leads_done()
    if options.as_found:
        _keep_as_found(job, options.as_found)
    for question, answer in parse_answers(options.answer).items():
        job.answer(question, answer)
    if options.accept_cautions:
        for caution in job.cautions():
            job.acknowledge(caution.id, options.by)
    job.expected()
    if options.steps_done:
        job.tick_all(by=options.by)
    if options.by:
        job.initials("tester", options.by)
    return job


def _keep_as_found(job: Job, path: str) -> None:
    """Keep the scan made before the work. A job that was broken off may hold it already, but no other one."""
    text, there = read_text(path, "scan"), job.as_found
    if there is None:
        job.keep_scan_file(AS_FOUND, text, path)
    elif load_scan(text, path).netlist != there.netlist:
        raise InputError(f"record {job.record} holds another as-found scan than {path}", "Leave --as-found out.")


def _refuse_other_intake(options: argparse.Namespace) -> None:
    """A job that is taken up keeps what it began with; another plan beside it would be taken for the one in use."""
    names = ("plan", "side", "celsius", "tag", "job")
    given = [f"--{name}" for name in names if getattr(options, name) not in (None, "")]
    if given:
        raise InputError(
            f"a job that is taken up keeps its own {' and '.join(name[2:] for name in given)}",
            f"Leave {' and '.join(given)} out, or begin a new job without --resume.",
        )


def _new_job(options: argparse.Namespace, log: Store) -> Job:
    if not options.plan or not options.leads:
        raise InputError("test needs --plan and --leads, or --resume RECORD", "See: loomwright test --help")
    plan = (options.plan, read_text(options.plan, "plan"))
    leads = [(path, read_text(path, "lead map")) for path in options.leads]
    intake = {"tag": options.tag, "job": options.job, "by": options.by, "side": options.side or ""}
    if options.celsius is not None:
        if not -40 <= options.celsius <= 125:
            raise InputError(f"--celsius {options.celsius:g}: a bench has -40 to 125 degrees")
        intake["celsius"] = options.celsius
    return Job.start(log, plan=plan, leads=leads, intake=intake, keep_going=True)


def _measure_and_judge(job: Job, options: argparse.Namespace) -> Any:
    progress = Progress("driving channel")
    recorder = Recorder()
    try:
        with opened_board(options, recorder) as board:
            job.use_board(about_board(board)["board"])
            refuse_to_drive(job, board)
            _scan(job, board, options, progress, recorder)
    finally:
        progress.end()
    return job.judge()


def _scan(job: Job, board: Board, options: argparse.Namespace, progress: Progress, recorder: Recorder) -> None:
    job.scan(
        board, AS_LEFT, progress=progress, next_round=MovedLeads(board, options.leads or []), recording=recorder.text,
        leave_out=left_out(options, job.leads),
    )  # fmt: skip


def _aborted(job: Job, error: LoomwrightError, options: argparse.Namespace, log_error: LoomwrightError | None) -> int:
    if not job.state.aborted:
        job.keep_abort(AS_LEFT, error)
    say(str(error))
    stored = job.stored and log_error is None
    say(f"Nothing was judged. Record {job.record} says so." if stored else "Nothing was judged, nothing stored.")
    if options.json:
        show_json(
            {"verdict": "NOT TESTED", "error": error_object(error), "record": job.record if stored else None}
        )  # fmt: skip
    return error.exit_status
