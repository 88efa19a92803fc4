"""A job as the plain values that reports are made of, and the files that come from them."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, datetime, tzinfo

from tester import __version__
from tester.board.readings import CalibrationFrame
from tester.errors import InputError
from tester.harness.verdict import Verdict
from tester.job.job import AS_LEFT, Job
from tester.job.stored import reading_of, rounds_of
from tester.job.verdicts import verdict_of
from tester.judge import limit_of, result_of
from tester.plan.resolve import Resolved
from tester.records.clocks import lines as clock_lines
from tester.records.customers import customer
from tester.records.events import Head
from tester.records.store import Store
from tester.reports.content import ConnectorView, JobRecord, LimitLine, PhotoLine, ReworkLine, StepLine
from tester.reports.html import page_html
from tester.reports.junit import junit_xml
from tester.reports.label import label_for, label_pdf, label_svg
from tester.reports.pages import bench_page, customer_page
from tester.reports.pdf import page_pdf
from tester.reports.tables import cavities_csv, record_json
from tester.words import CAUTIONS, fault_lines, headline, ohms
from tester.words.wet import left_out_line

HOW = {"hand": "by hand", "board": "seen by the board"}
CHANGING = frozenset({"remove", "move", "insert", "cut", "splice", "seal-off", "plug"})
RESULTS = {
    "pass": "within", "fail": "beyond", "too close to call": "too close to call", "below zero": "reads below zero",
}  # fmt: skip
PHOTO_IN_PAGE = 600_000


def report_of(job: Job, log: Store) -> JobRecord:
    """Everything that a report may say of a job."""
    state, plan, found = job.state, job.plan, job.resolved()
    standing = state.standing
    verdict = verdict_of(dict(standing.verdict)) if standing else None
    earlier = [(one.at, verdict_of(dict(one.verdict))) for one in state.verdicts if one is not standing]
    last = job.events()[-1]
    opened = dict(state.opened)
    return JobRecord(
        record=job.record,
        made=datetime.now(UTC),
        title=plan.title or plan.id,
        plan=plan.id,
        revision=plan.revision,
        plan_text=state.plan,
        harness=plan.vehicle,
        tag=str(opened.get("tag", "")),
        side=job.side or "",
        customer=customer(log, job.record),
        opened=job.events()[0].at,
        verdict=verdict,
        verdict_at=standing.at if standing else None,
        stale=state.stale,
        connectors=tuple(ConnectorView(c.id, c.title, c.face) for c in plan.connector if c.kind == "housing"),
        edited=frozenset(name for todo in found.todo for name in todo.cavities),
        changed=tuple(todo.says for todo in found.todo if todo.do in CHANGING and todo.id in state.ticks),
        steps=_steps(job, found),
        accepted=state.accepted,
        answers=tuple(state.answers.items()),
        rework=tuple(ReworkLine(at, headline(v), tuple(fault_lines(v))) for at, v in earlier),
        aborted=tuple(f"{a['purpose']}: {a['message']}" for a in state.aborted),
        wet=tuple(left_out_line(e.data["purpose"], e.data["cavities"]) for e in job.events() if e.kind == "left-out"),
        limits=_limits(job, verdict),
        cautions=tuple((CAUTIONS.get(id, id), by) for id, by in state.cautions.items()),
        initials=tuple(state.initials.items()),
        versions=_versions(job),
        checklist=tuple((f"{f.do}: {f.see}", state.function_checks.get(f.id, "")) for f in plan.function),
        photos=_photos(job),
        notes=(*state.notes, *clock_lines((event.serial, event.clock) for event in job.events())),
        head=str(Head(last.bench, last.serial, last.hash)),  # of the chain that holds the record, whoever reads it
    )


def _steps(job: Job, found: Resolved) -> tuple[StepLine, ...]:
    ticks = job.state.ticks
    lines = []
    for todo in found.todo:
        tick = ticks.get(todo.id)
        how = HOW.get(tick.how, tick.how) if tick else ""
        lines.append(
            StepLine(str(todo.number), todo.says, "done" if tick else "open", how, tick.at if tick else None,
                     tick.by if tick else "")
        )  # fmt: skip
    return (*lines, *(StepLine(one.step.id, one.why, "not needed") for one in found.skipped))


def _limits(job: Job, verdict: Verdict | None) -> tuple[LimitLine, ...]:
    entry = job.state.newest_scan(AS_LEFT)
    if verdict is None or entry is None or "resistance" not in verdict.scope:
        return ()
    measured, expected = reading_of(entry, job.record, job.state.proven), job.expected()
    high = {frozenset((f.sits + f.belongs)[:2]) for f in verdict.faults if f.kind == "high-resistance"}
    wrong = {name for fault in verdict.faults for name in fault.cavities}
    lines = []
    for link in expected.links:
        limit = limit_of(link, expected.limits, expected.table)
        reading = measured.ohms.get((link.a, link.b)) or measured.ohms.get((link.b, link.a))
        shown = f"{ohms(reading.ohms)} ± {ohms(2 * reading.u_ohms)}" if reading else "not measured"
        if frozenset((link.a, link.b)) in high:
            result = "FAIL"
        elif reading is None or {link.a, link.b} & wrong:
            result = "not judged"
        else:
            result = RESULTS[result_of(reading, limit)]
        lines.append(LimitLine(f"{link.a} to {link.b}", shown, ohms(limit.ohms), limit.source, result))
    return tuple(lines)


def _versions(job: Job) -> tuple[tuple[str, str], ...]:
    board = job.state.board
    named = [("program", f"loomwright {__version__}")]
    named += [
        (name, str(board[name])) for name in ("model", "serial", "firmware", "protocol", "limits") if name in board
    ]
    entry = job.state.newest_scan(AS_LEFT)
    frames = [frame for one in (rounds_of(entry, job.record) if entry else ()) for frame in one.frames]
    for frame in frames:
        if isinstance(frame, CalibrationFrame):
            date = f"of {frame.date}, check {frame.check:08X}" if frame.stored else "none stored on the board"
            named.append(("calibration", date))
            break
    if "celsius" in job.state.opened:
        named.append(("temperature", f"{job.state.opened['celsius']:g} degrees C"))
    return tuple(named)


def _photos(job: Job) -> tuple[PhotoLine, ...]:
    lines = []
    for event in job.events():
        if event.kind == "photo":
            content = event.blobs["photo"] if event.data.get("bytes", 0) <= PHOTO_IN_PAGE else None
            lines.append(
                PhotoLine(event.data["name"], event.blobs.hashes["photo"], event.data.get("about", ""), content)
            )
    return tuple(lines)


def report_file(record: JobRecord, form: str, for_customer: bool, zone: tzinfo) -> bytes:
    """A report as a file. `form`: html, pdf, csv, json or junit; the customer page: html or pdf. Raises InputError."""
    if for_customer and form not in ("html", "pdf"):
        raise InputError(f"the customer page is made as html or pdf, not as {form}")
    page = customer_page(record, zone) if for_customer else bench_page(record, zone)
    makers: dict[str, Callable[[], bytes]] = {
        "html": lambda: page_html(page).encode(),
        "pdf": lambda: page_pdf(page),
        "csv": lambda: cavities_csv([record]).encode(),
        "json": lambda: (json.dumps(json.loads(record_json(record)), ensure_ascii=False) + "\n").encode(),
        "junit": lambda: junit_xml([record]).encode(),
    }
    return makers[form]()


def label_file(record: JobRecord, form: str, zone: tzinfo) -> bytes:
    """The label for the harness, with the head of its record as QR code. `form`: svg or pdf."""
    label = label_for(record, Head.parse(record.head).short(), zone)
    return label_pdf(label) if form == "pdf" else label_svg(label).encode()
