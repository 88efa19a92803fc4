"""The bench page and the customer page of a job, as blocks. Pure: what stands on a page is decided here, once."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import UTC, datetime, tzinfo

from tester.harness.verdict import FAIL, NOT_TESTED, PASS, CavityVerdict, Verdict
from tester.reports.blocks import (
    Banner,
    Block,
    Faces,
    Heading,
    Page,
    Pairs,
    Photos,
    Points,
    SignLines,
    Source,
    Table,
    Text,
)
from tester.reports.content import NO_CLAIM, JobRecord
from tester.words import TRYING, count_line, fault_lines, listed, lone_line, scope_line, untested_lines


def moment(at: datetime | None, zone: tzinfo = UTC) -> str:
    """A time as it stands on a page: ``2026-03-01 14:05 UTC``; "" for None."""
    return f"{at.astimezone(zone):%Y-%m-%d %H:%M %Z}" if at is not None else ""


def bench_page(record: JobRecord, zone: tzinfo = UTC) -> Page:
    """Everything that the bench wants to know of a job again."""
    blocks: list[Block] = [*_identity(record, zone), *_result(record)]
    if record.connectors:
        blocks += [Heading("Connector faces"), Faces(record.connectors, record.marks, record.edited)]
    blocks += _cavity_table(record)
    blocks += _rework(record, zone)
    blocks += _steps(record, zone)
    blocks += _seen(record)
    blocks += _limits(record)
    if record.photos:
        blocks += [Heading("Photos"), Photos(record.photos)]
    blocks += _titled("Notes", record.notes)
    blocks += _checklist(record)
    blocks += _cautions(record)
    if record.plan_text:
        blocks += [Heading("Plan as it was used"), Source(record.plan_text)]
    blocks += _provenance(record)
    return Page(f"Bench record {record.record}", _foot(record, zone), tuple(blocks), record.made)


def customer_page(record: JobRecord, zone: tzinfo = UTC) -> Page:
    """What the person gets who owns the harness: what was changed, measured, seen, not tested. No guessed causes."""
    verdict = record.verdict
    blocks: list[Block] = [*_identity(record, zone, short=True), *_banner(record)]
    blocks += _titled("What was changed", record.changed or ("Nothing is recorded as changed.",))
    blocks.append(Heading("What was measured"))
    if verdict is None:
        blocks.append(Text(_sentence(record.why_untested)))
    else:
        blocks.append(Text(f"{_sentence(scope_line(verdict))} {count_line(verdict)}."))
        bad = [one.cavity for one in verdict.cavities if one.verdict == FAIL]
        if bad:
            blocks.append(Text(f"Not as they should be: {listed(bad)}.", strong=True))
    if record.answers or record.accepted:
        blocks += _seen(record)
    blocks.append(Heading("What was not tested"))
    left = [*(untested_lines(verdict) if verdict else []), *(_one_line(lone_line(verdict)) if verdict else [])]
    left += [f"Possibly wet, left out of a scan: {line}" for line in record.wet]
    blocks.append(Points((*left, *NO_CLAIM)))
    blocks += _checklist(record)
    blocks += [Heading("Signed"), SignLines(("Builder", "Tester", "Customer"))]
    blocks.append(Text(f"Record {record.record}. Chain head {record.head}." if record.head else record.record))
    return Page(f"Harness test {record.record}", _foot(record, zone), tuple(blocks), record.made)


def _foot(record: JobRecord, zone: tzinfo) -> str:
    return f"{record.record} · made {moment(record.made, zone)}"


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:] + ("" if text.endswith(".") else ".")


def _one_line(text: str) -> Iterator[str]:
    if not text.startswith("No lone"):
        yield text


def _identity(record: JobRecord, zone: tzinfo, short: bool = False) -> Iterator[Block]:
    rows = [
        ("Record", record.record),
        ("Job", record.title),
        ("Harness", record.harness),
        ("Harness tag", record.tag),
        ("Side", record.side),
        ("Variant", record.variant),
        ("Customer reference", record.customer),
        ("Opened", moment(record.opened, zone)),
        ("Result of", moment(record.verdict_at, zone)),
    ]
    if not short:
        rows += [("Plan", record.plan), ("Plan revision", record.revision), *record.initials, *record.extra]
    yield Pairs(tuple((name, value) for name, value in rows if value))


def _banner(record: JobRecord) -> Iterator[Block]:
    if record.verdict is None:
        yield Banner(NOT_TESTED, record.why_untested)
    else:
        yield Banner(record.verdict.verdict, scope_line(record.verdict))


def _result(record: JobRecord) -> Iterator[Block]:
    yield from _banner(record)
    verdict = record.verdict
    if verdict is not None:
        yield Text(f"{count_line(verdict)}. {lone_line(verdict)}")
        if verdict.outcome:
            yield Text(f"Found: {verdict.outcome}.")
        yield from _titled("Faults", fault_lines(verdict))
        yield from _titled("Not tested", untested_lines(verdict))
    yield from _titled("Possibly wet, left out of a scan", record.wet)
    yield from _titled("Runs that were broken off", record.aborted)


def _titled(title: str, items: Iterable[str]) -> Iterator[Block]:
    kept = tuple(items)
    if kept:
        yield Heading(title)
        yield Points(kept)


def _cavity_table(record: JobRecord) -> Iterator[Block]:
    if record.verdict is None or not record.verdict.cavities:
        return
    rows = tuple(_cavity_row(one, record.verdict, one.cavity in record.edited) for one in record.verdict.cavities)
    yield Heading("Cavity by cavity")
    yield Table(
        "Each cavity: what it should be joined to, what it was joined to",
        ("Cavity", "Verdict", "Expected with", "Measured with", "Remark"),
        rows,
        (10, 14, 26, 26, 24),
    )


def _cavity_row(one: CavityVerdict, verdict: Verdict, edited: bool) -> tuple[str, ...]:
    remarks = [one.why] if one.why else []
    if one.contact == "unproven":
        remarks.append("lead not proven")
    if edited:
        remarks.append("edited")
    return (
        one.cavity,
        one.verdict,
        listed(one.expected) or "nothing",
        listed(one.measured) or ("nothing" if one.verdict in (PASS, FAIL) else ""),
        "; ".join(remarks),
    )


def _rework(record: JobRecord, zone: tzinfo) -> Iterator[Block]:
    if not record.rework:
        return
    yield Heading("Earlier results of this job")
    for line in record.rework:
        yield Heading(f"{moment(line.at, zone)}: {line.headline}", 3)
        if line.faults:
            yield Points(line.faults)


def _steps(record: JobRecord, zone: tzinfo) -> Iterator[Block]:
    if not record.steps:
        return
    rows = tuple(
        (
            step.id,
            step.text,
            ", ".join(part for part in (step.state, step.how) if part),
            ", ".join(part for part in (moment(step.at, zone), step.by) if part),
        )
        for step in record.steps
    )
    yield Heading("Work sheet")
    yield Table("Steps for this harness", ("Step", "What", "State", "When, by"), rows, (12, 48, 18, 22))


def _seen(record: JobRecord) -> Iterator[Block]:
    if record.answers:
        yield Heading("What was seen by eye")
        yield Pairs(record.answers)
    yield from _titled("As found, and accepted before work", record.accepted)


def _limits(record: JobRecord) -> Iterator[Block]:
    if not record.limits:
        return
    rows = tuple((line.what, line.reading, line.limit, line.source, line.result) for line in record.limits)
    yield Heading("Limits")
    yield Table("Readings, limits, and where each limit comes from",
                ("What", "Reading", "Limit", "Source", "Result"), rows, (22, 14, 14, 34, 16))  # fmt: skip


def _checklist(record: JobRecord) -> Iterator[Block]:
    if not record.checklist:
        return
    rows = tuple((item, result or "open", "") for item, result in record.checklist)
    yield Heading("After installing: functions to check")
    yield Text(TRYING)
    yield Table("Function checklist", ("Function", "Result", "Initials"), rows, (60, 22, 18))


def _cautions(record: JobRecord) -> Iterator[Block]:
    if not record.cautions:
        return
    rows = tuple((text, by or "not acknowledged") for text, by in record.cautions)
    yield Heading("Cautions")
    yield Table("Cautions and who acknowledged them", ("Caution", "Acknowledged by"), rows, (78, 22))


def _provenance(record: JobRecord) -> Iterator[Block]:
    rows = [*record.versions]
    if record.head:
        rows.append(("Chain head", record.head))
    if rows:
        yield Heading("Where this comes from")
        yield Pairs(tuple(rows))
    yield Points(NO_CLAIM)
