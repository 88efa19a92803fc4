"""`records`: list, show, replay, verify."""

from __future__ import annotations

import argparse
from typing import Any

from tester.cli.common import reading_log
from tester.cli.output import show, show_json
from tester.job.job import Job
from tester.job.verdicts import verdict_object, verdict_of
from tester.records.search import JobSummary, Query
from tester.words import verdict_lines


def _time(moment: Any) -> str:
    return str(moment.astimezone().strftime("%Y-%m-%d %H:%M"))


def summary_object(one: JobSummary) -> dict[str, Any]:
    """One record of a list as JSON values."""
    return {
        "record": one.job,
        "opened": one.opened.isoformat(),
        "changed": one.changed.isoformat(),
        "verdict": one.term("verdict"),
        "plan": one.term("plan"),
        "revision": one.term("revision"),
        "tag": one.term("tag"),
        "side": one.term("side"),
        "events": one.events,
    }


def list_(options: argparse.Namespace) -> int:
    """The newest records, a line each."""
    with reading_log(options.log) as log:
        rows = [summary_object(one) for one in log.jobs(Query(limit=options.limit))]
        shown = [(one.job, _time(one.opened), one) for one in log.jobs(Query(limit=options.limit))]
    if options.json:
        show_json({"records": rows})
        return 0
    for job, opened, one in shown:
        words = [job, opened, one.term("verdict") or "open", one.term("plan"), one.term("side"), one.term("tag")]
        show("  ".join(word for word in words if word))
    if not shown:
        show("the log holds no record yet")
    return 0


def show_record(options: argparse.Namespace) -> int:
    """One record in words: what was done, measured, judged."""
    with reading_log(options.log) as log:
        job = Job.take_up(log, options.record)
        state = job.state
        opened = job.events()[0].at
        if options.json:
            show_json(record_object(job))
            return 0
        show(f"Record {job.record}, opened {_time(opened)}, stage: {state.stage}")
        show(f"Plan {job.whole_plan.id}, revision {job.whole_plan.revision}")
        for name, value in state.opened.items():
            if value:
                show(f"{name}: {value}")
        if state.board:
            show(f"Board {state.board.get('model')}, serial {state.board.get('serial')}")
        for scan in state.scans:
            show(f"{_time(scan.at)}  full scan, {scan.purpose}")
        for step, tick in state.ticks.items():
            show(f"{_time(tick.at)}  step {step} ticked by {tick.how}")
        for abort in state.aborted:
            show(f"{_time(abort['at'])}  aborted ({abort['purpose']}): {abort['message']}")
        for entry in state.verdicts:
            show(f"{_time(entry.at)}  verdict:")
            for line in verdict_lines(verdict_of(dict(entry.verdict))):
                show(f"  {line}")
        show(f"{len(job.events())} events; chain of this bench: {log.head(log.bench)}")
    return 0


def record_object(job: Job) -> dict[str, Any]:
    """A record as JSON values."""
    state = job.state
    return {
        "record": job.record,
        "stage": state.stage,
        "opened": dict(state.opened),
        "plan": {"id": job.whole_plan.id, "revision": job.whole_plan.revision},
        "board": dict(state.board),
        "scans": [{"at": s.at.isoformat(), "purpose": s.purpose} for s in state.scans],
        "ticks": [{"step": t.step, "how": t.how, "at": t.at.isoformat()} for t in state.ticks.values()],
        "verdicts": [dict(v.verdict) for v in state.verdicts],
        "aborted": [{**a, "at": a["at"].isoformat()} for a in state.aborted],
    }


def replay(options: argparse.Namespace) -> int:
    """Judge the stored frames again with today's rules, beside the stored verdict."""
    with reading_log(options.log) as log:
        job = Job.take_up(log, options.record)
        old = dict(job.state.verdicts[-1].verdict) if job.state.verdicts else None
        new = verdict_object(job.judged())
    same = old == new
    if options.json:
        show_json({**new, "record": job.record, "stored_verdict": old, "same": same})
        return 0
    for line in new["says"]:
        show(line)
    show("The stored verdict is the same." if same else "The stored verdict differs:")
    if not same and old:
        for line in old["says"]:
            show(f"  {line}")
    return 0


def verify(options: argparse.Namespace) -> int:
    """Recompute the chain: names each event that was changed, removed or reordered."""
    with reading_log(options.log) as log:
        found = log.verify()
    if options.json:
        problems = [{"bench": p.bench, "serial": p.serial, "record": p.job, "says": p.says} for p in found.problems]
        show_json(
            {"whole": found.whole, "events": found.events, "heads": [str(h) for h in found.heads], "problems": problems}
        )  # fmt: skip
    else:
        show(f"{found.events} events checked: {'all whole' if found.whole else 'NOT whole'}")
        for problem in found.problems:
            show(problem.says)
        for head in found.heads:
            show(f"end of chain: {head}")
    return 0 if found.whole else 1
