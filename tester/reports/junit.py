"""Jobs as JUnit XML, so that what reads test results reads harnesses too. Pure.

A suite is a record, a case is a cavity: FAIL is a failure, NOT TESTED is skipped, a job without a verdict is an error.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC

from tester.harness.verdict import FAIL, NOT_TESTED, CavityVerdict, Verdict
from tester.reports.content import JobRecord
from tester.reports.escape import markup
from tester.words import fault_lines, listed, scope_line


def junit_xml(records: Iterable[JobRecord]) -> str:
    """One XML document with a suite for each record."""
    return '<?xml version="1.0" encoding="UTF-8"?>\n<testsuites>\n' + "".join(map(_suite, records)) + "</testsuites>\n"


def _suite(record: JobRecord) -> str:
    verdict = record.verdict
    cases = verdict.cavities if verdict else ()
    failed = sum(one.verdict == FAIL for one in cases)
    skipped = sum(one.verdict == NOT_TESTED for one in cases)
    at = record.verdict_at or record.made
    head = (
        f'<testsuite name="{markup(record.record)}" tests="{max(1, len(cases))}" failures="{failed}"'
        f' errors="{0 if verdict else 1}" skipped="{skipped}"'
        f' timestamp="{at.astimezone(UTC):%Y-%m-%dT%H:%M:%S}" time="0">\n'
    )
    about = {
        "harness": record.harness, "tag": record.tag, "side": record.side, "plan": record.plan,
        "revision": record.revision, "verdict": verdict.verdict if verdict else NOT_TESTED,
        "scope": scope_line(verdict) if verdict else "", "stale": "true" if record.stale else "",
        "head": record.head,
    }  # fmt: skip
    lines = [f'<property name="{name}" value="{markup(value)}"/>' for name, value in about.items() if value]
    body = "<properties>" + "".join(lines) + "</properties>\n"
    if verdict is None:
        body += (
            f'<testcase classname="{markup(record.record)}" name="test" time="0">'
            f'<error message="{markup(record.why_untested)}"/></testcase>\n'
        )
    else:
        body += "".join(_case(record, verdict, one) for one in cases)
        body += f"<system-out>{markup(chr(10).join(fault_lines(verdict)), lines=True)}</system-out>\n"
    return head + body + "</testsuite>\n"


def _case(record: JobRecord, verdict: Verdict, one: CavityVerdict) -> str:
    start = f'<testcase classname="{markup(record.record)}" name="{markup(one.cavity)}" time="0"'
    if one.verdict == FAIL:
        said = f"expected with {listed(one.expected) or 'nothing'}, measured with {listed(one.measured) or 'nothing'}"
        kind = _kind(verdict, one.cavity)
        return f'{start}><failure type="{markup(kind)}" message="{markup(said)}">{markup(said)}</failure></testcase>\n'
    if one.verdict == NOT_TESTED:
        return f'{start}><skipped message="{markup(one.why or "not tested")}"/></testcase>\n'
    return start + "/>\n"


def _kind(verdict: Verdict, name: str) -> str:
    return next((fault.kind for fault in verdict.faults if name in fault.cavities), "wrong circuit")
