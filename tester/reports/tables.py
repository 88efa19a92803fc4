"""A job as CSV for spreadsheets and as JSON for programs. Pure."""

from __future__ import annotations

import csv
import dataclasses
import io
import json
from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Any

from tester.harness.verdict import NOT_TESTED
from tester.reports.content import JobRecord
from tester.reports.escape import cell

COLUMNS = (
    "record", "harness", "tag", "side", "plan", "revision", "tested", "cavity", "verdict", "expected with",
    "measured with", "edited", "lead", "remark",
)  # fmt: skip


def csv_text(columns: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """A table as CSV (RFC 4180: comma, CRLF) with a byte order mark, which spreadsheets need to read UTF-8 right.

    No cell can be run as a formula.
    """
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow([cell(name) for name in columns])
    writer.writerows([cell(value) for value in row] for row in rows)
    return "\ufeff" + out.getvalue()


def cavities_csv(records: Iterable[JobRecord]) -> str:
    """One row for each cavity of each job's verdict; one row without a cavity for a job that has none that stands."""
    return csv_text(COLUMNS, (row for record in records for row in _rows(record)))


def _rows(record: JobRecord) -> list[tuple[object, ...]]:
    about = (
        record.record, record.harness, record.tag, record.side, record.plan, record.revision,
        record.verdict_at.isoformat() if record.verdict_at else "",
    )  # fmt: skip
    if record.verdict is None:
        return [(*about, "", NOT_TESTED, "", "", "", "", record.why_untested)]
    return [
        (
            *about,
            one.cavity,
            one.verdict,
            " ".join(one.expected),
            " ".join(one.measured),
            one.cavity in record.edited,
            one.contact,
            one.why,
        )
        for one in record.verdict.cavities
    ]


def record_json(record: JobRecord) -> str:
    """Everything of a record but pictures, as JSON. Keys are the field names of `content`."""
    return json.dumps(_plain(record), ensure_ascii=False, indent=2, allow_nan=False) + "\n"


def _plain(value: Any) -> Any:
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {
            one.name: _plain(getattr(value, one.name)) for one in dataclasses.fields(value) if one.name != "content"
        }
    if isinstance(value, datetime):
        return value.isoformat()
    if isinstance(value, (tuple, list)):
        return [_plain(one) for one in value]
    if isinstance(value, (set, frozenset)):
        return sorted(_plain(one) for one in value)
    if isinstance(value, dict):
        return {str(key): _plain(one) for key, one in value.items()}
    if isinstance(value, str):
        return value.encode("utf-8", "replace").decode()
    return value
