"""`records`: the log listed, shown, judged again, compared, verified, and moved between benches."""

from __future__ import annotations

import argparse
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta, tzinfo
from pathlib import Path
from typing import Any

from tester.cli.common import reading_log, writing_log
from tester.cli.output import json_or_write, say, show, show_json, show_or_write
from tester.errors import InputError
from tester.harness.verdict import NOT_TESTED
from tester.job.comeback import JobRow, changes, event_line, find_jobs, reading_to_compare
from tester.job.files import read_text, write_whole
from tester.job.job import Job
from tester.job.replay import judged_by, replay_wire
from tester.job.report import label_file, report_file, report_of
from tester.job.scanfile import load_scan
from tester.job.verdicts import verdict_object, verdict_of
from tester.records.archive import export_log, import_log
from tester.records.clocks import says as clock_says
from tester.records.customers import forget_customer, set_customer
from tester.records.events import Head
from tester.records.figures import figures as figures_of
from tester.records.search import Query
from tester.reports.figures import figures_csv, figures_svg, figures_text
from tester.reports.photos import read_photo
from tester.words import verdict_lines
from tester.words.changes import count_changes

REPORTS = {"": "html", ".pdf": "pdf", ".csv": "csv", ".json": "json", ".xml": "junit"}
LABELS = {"": "svg", ".pdf": "pdf"}


def _time(moment: datetime) -> str:
    return moment.astimezone().strftime("%Y-%m-%d %H:%M")


class Local(tzinfo):
    """This machine's zone, each moment with its own offset: in November a job of July still shows summer time."""

    def fromutc(self, dt: datetime) -> datetime:
        """The moment in the zone that holds then."""
        return dt.replace(tzinfo=UTC).astimezone()

    def utcoffset(self, dt: datetime | None) -> timedelta | None:
        """Of a wall clock reading in this machine's zone."""
        return None if dt is None else dt.replace(tzinfo=None).astimezone().utcoffset()

    def dst(self, dt: datetime | None) -> timedelta | None:
        """Not known."""
        return None

    def tzname(self, dt: datetime | None) -> str | None:
        """As `utcoffset`."""
        return None if dt is None else dt.replace(tzinfo=None).astimezone().tzname()


def row_object(one: JobRow) -> dict[str, Any]:
    """One record of a list as JSON values."""
    shown = {
        name: one.terms.get(name, "") for name in ("verdict", "plan", "revision", "tag", "order", "side", "variant")
    }
    return {"record": one.record, "opened": one.opened.isoformat(), "changed": one.changed.isoformat(), **shown}


def list_(options: argparse.Namespace) -> int:
    """The newest records, a line each."""
    with reading_log(options.log) as log:
        rows = find_jobs(log, options.find, options.limit)
    if options.json:
        show_json({"records": [row_object(one) for one in rows]})
        return 0
    for one in rows:
        get = one.terms.get
        words = [one.record, _time(one.opened), get("verdict") or "open", get("plan"), get("side"), get("tag")]
        show("  ".join(word for word in words if word))
    if not rows:
        show("no record found" if options.find else "the log holds no record yet")
    return 0


def show_record(options: argparse.Namespace) -> int:
    """One record in words: what was done, measured, judged."""
    with reading_log(options.log) as log:
        job = Job.take_up(log, options.record)
        if options.json:
            show_json(record_object(job))
            return 0
        show(f"Record {job.record}, stage: {job.state.stage}")
        for name, value in job.state.opened.items():
            if value:
                show(f"{name}: {value}")
        for event in job.events():
            show(f"{_time(event.at)}  {event_line(event)}")
            if event.clock:
                show(f"    {clock_says(event.clock)}")
            if event.kind == "verdict":
                for line in verdict_lines(verdict_of(dict(event.data))):
                    show(f"    {line}")
        if job.state.stale:
            show("NOT TESTED: work was done after the last verdict; it no longer stands. Test again.")
        show(f"{len(job.events())} events; end of this bench's chain: {log.head(log.bench)}")
    return 0


def record_object(job: Job) -> dict[str, Any]:
    """A record as JSON values."""
    state = job.state
    return {
        "record": job.record,
        "stage": state.stage,
        "verdict": state.verdict["verdict"] if state.verdict else NOT_TESTED,
        "stale": state.stale,
        "opened": dict(state.opened),
        "plan": {"id": job.whole_plan.id, "revision": job.whole_plan.revision},
        "board": dict(state.board),
        "scans": [{"at": s.at.isoformat(), "purpose": s.purpose} for s in state.scans],
        "ticks": [{"step": t.step, "how": t.how, "at": t.at.isoformat()} for t in state.ticks.values()],
        "verdicts": [dict(v.verdict) for v in state.verdicts],
        "aborted": [{**a, "at": a["at"].isoformat()} for a in state.aborted],
        "events": [
            {"serial": e.serial, "at": e.at.isoformat(), "says": event_line(e)}
            | ({"clock": e.clock} if e.clock else {})
            for e in job.events()
        ],
    }


def replay(options: argparse.Namespace) -> int:
    """Judge the stored frames again with today's rules, beside the stored verdict."""
    with reading_log(options.log) as log:
        job = Job.take_up(log, options.record)
        old = dict(job.state.verdicts[-1].verdict) if job.state.verdicts else None
        wire = replay_wire(job) if options.wire else None
        name = options.with_plan
        new = verdict_object(judged_by(job, read_text(name, "plan"), name) if name else job.judged())
    same = old == new
    if options.json:
        checked = {} if wire is None else {"wire_scans": wire}
        show_json({**new, "record": job.record, "stored_verdict": old, "same": same, **checked})
        return 0
    if wire:
        show(f"The recorded bytes give the stored frames again, requests checked: {wire} scan(s).")
    elif wire == 0:
        show("This record holds no recording of the line.")
    for line in new["says"]:
        show(line)
    show("The stored verdict is the same." if same else "The stored verdict differs:")
    if not same and old:
        for line in old["says"]:
            show(f"  {line}")
    return 0


def compare(options: argparse.Namespace) -> int:
    """What changed since a record; status 1 when something did."""
    with reading_log(options.log) as log:
        job = Job.take_up(log, options.record)
        if Path(options.later).is_file():
            later = load_scan(read_text(options.later, "scan"), options.later)
        else:
            later = reading_to_compare(Job.take_up(log, options.later))
        rows = changes(job, later)
    real = [row for row in rows if row.kind != "not comparable"]
    if options.json:
        listed = [{"kind": r.kind, "cavities": list(r.cavities), "touched": r.touched, "says": r.says} for r in rows]
        show_json({"changes": listed, "changed": len(real)})
    else:
        show(f"{count_changes(len(real)).capitalize()} since {job.record}.")
        for row in rows:
            show(row.says)
    return 1 if real else 0


def report(options: argparse.Namespace) -> int:
    """Write the page of one job."""
    with reading_log(options.log) as log:
        record = report_of(Job.take_up(log, options.record), log)
        write_whole(
            options.output,
            report_file(record, options.format or _form(options.output, REPORTS), options.customer, Local()),
        )
    return _written(options, options.output)


def label(options: argparse.Namespace) -> int:
    """Write the label of one job."""
    with reading_log(options.log) as log:
        record = report_of(Job.take_up(log, options.record), log)
        write_whole(options.output, label_file(record, options.format or _form(options.output, LABELS), Local()))
    return _written(options, options.output)


def _form(path: str, forms: Mapping[str, str]) -> str:
    return forms.get(Path(path).suffix.lower(), forms[""])


def _written(options: argparse.Namespace, path: str) -> int:
    if options.json:
        show_json({"written": path})
    else:
        show(f"written: {path}")
    return 0


def photo(options: argparse.Namespace) -> int:
    """Store a photo by its hash."""
    found = read_photo(Path(options.photo))
    with writing_log(options.log) as log:
        job = Job.take_up(log, options.record)
        job.photo(found.name, found.content, options.about)
    return _said(options, {"record": job.record, "photo": found.name}, f"{found.name} added to {job.record}")


def customer(options: argparse.Namespace) -> int:
    """Tie a customer reference to a record, removable later."""
    with writing_log(options.log) as log:
        record = log.job(options.record)
        set_customer(log, record, options.reference)
    return _said(options, {"record": record}, f"customer reference set for {record}")


def forget(options: argparse.Namespace) -> int:
    """Remove a customer reference for good."""
    with writing_log(options.log) as log:
        records = forget_customer(log, options.reference)
    if not records:
        raise InputError("no record has this customer reference", "Write it exactly as it was set.")
    return _said(options, {"records": records}, f"removed from {', '.join(records)}; copies made earlier still hold it")


def _said(options: argparse.Namespace, value: dict[str, Any], words: str) -> int:
    if options.json:
        show_json(value)
    else:
        show(words)
    return 0


def verify(options: argparse.Namespace) -> int:
    """Recompute the chain: names each event that was changed, removed or reordered."""
    try:
        heads = [Head.parse(text) for text in options.head]
    except ValueError as error:
        raise InputError(f"--head: {error}") from None
    if options.mend_index:
        with writing_log(options.log) as log:
            log.rebuild_index()
    with reading_log(options.log) as log:
        found = log.verify(heads)
    if options.json:
        problems = [{"bench": p.bench, "serial": p.serial, "record": p.job, "says": p.says} for p in found.problems]
        show_json(
            {"whole": found.whole, "events": found.events, "heads": [str(h) for h in found.heads], "problems": problems,
             "notes": list(found.notes)}
        )  # fmt: skip
    else:
        show(f"{found.events} events checked: {'all whole' if found.whole else 'NOT whole'}")
        for line in (*(problem.says for problem in found.problems), *found.notes):
            show(line)
        for head in found.heads:
            show(f"end of chain: {head}")
        if not heads:
            say(
                "Without a head from a label or an export, a cut-off end or a rewritten chain cannot be found (--head)."
            )
    return 0 if found.whole else 1


def export(options: argparse.Namespace) -> int:
    """Write the whole log as one file."""
    with reading_log(options.log) as log:
        done = export_log(log, Path(options.file), customers=options.with_customers)
    heads = [str(head) for head in done.heads]
    if options.json:
        show_json({"events": done.events, "files": done.files, "heads": heads})
    else:
        show(f"{done.events} events, {done.files} files: {options.file}")
        for head in heads:
            show(f"end of chain: {head}")
    return 0


def import_(options: argparse.Namespace) -> int:
    """Take the events of another bench."""
    with writing_log(options.log) as log:
        done = import_log(log, Path(options.file))
    value = {"events": done.events, "known": done.known, "files": done.files}
    return _said(options, value, f"{done.events} events taken, {done.known} were known already, {done.files} files")


def figures(options: argparse.Namespace) -> int:
    """Yield, faults, time, drift."""
    with reading_log(options.log) as log:
        found = figures_of(log, Query(plan=options.plan))
    text = {"text": figures_text, "csv": figures_csv, "svg": figures_svg}[options.format](found)
    if options.json:
        json_or_write({"figures": text}, options.output)
    else:
        show_or_write(text, options.output)
    return 0
