"""A plan as a spreadsheet (CSV) and back: a row a wire, a row a step, a row everything else that repeats.

The first column says what a row is. Cells hold plain text; what is a list or a table in a plan file stands in a cell
as it would there, such as ``{ occupied = "D-13" }``. Text that a spreadsheet would take for a formula gets an
apostrophe in front, which is taken off again on reading. Nothing is lost either way.
"""

from __future__ import annotations

import csv
import io
import tomllib
from collections.abc import Iterator, Mapping
from typing import Any

import tomlkit

from tester.errors import InputError
from tester.harness.tables import Path, checked, decode, near, where
from tester.plan.crosscheck import wrongs
from tester.plan.load import as_toml
from tester.plan.models import Plan

ROWS = ("connector", "wire", "fact", "step", "limit", "function")
ONES = ("plan", "hazards", "limits", "advice", "expected")
_FIRST = ("row", "id", "do", "wire", "end", "cavity", "from", "to", "splice", "lead", "connector", "when", "note")
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "'")
MOST_ROWS = 20_000


def export_csv(plan: Plan) -> str:
    """The plan as CSV: UTF-8 text, comma, lines ended by LF. `import_csv` gives an equal plan."""
    rows = list(_rows(plan.model_dump(mode="json", by_alias=True, exclude_defaults=True)))
    columns = [name for name in _FIRST if any(name in row for row in rows)]
    columns += [name for row in rows for name in row if name not in _FIRST]
    columns = list(dict.fromkeys(columns))
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(columns)
    for row in rows:
        writer.writerow([row.get(name, "") for name in columns])
    return out.getvalue()


def _rows(data: dict[str, Any]) -> Iterator[dict[str, str]]:
    head = {key: value for key, value in data.items() if key not in (*ROWS, *ONES, "sides")}
    yield {"row": "plan"} | _cells(head)
    for key in ONES[1:]:
        if key in data:
            yield {"row": key} | _cells(data[key])
    for name, side in data.get("sides", {}).items():
        yield {"row": "side", "id": _safe(name)} | _cells(side)
    for key in ROWS:
        for row in data.get(key, []):
            yield {"row": key} | _cells(row)


def _cells(table: Mapping[str, Any]) -> dict[str, str]:
    """Cells of a row. The ends of a wire are spread over columns of their own, such as ``a.cavity``."""
    cells: dict[str, str] = {}
    for key, value in table.items():
        if key in ("a", "b") and isinstance(value, dict):
            cells |= {f"{key}.{inner}": _cell(one) for inner, one in value.items()}
        elif value is not None:
            cells[key] = _cell(value)
    return cells


def _cell(value: Any) -> str:
    if isinstance(value, dict | list):
        return str(tomlkit.item(as_toml(value, wide=False)).as_string())
    if isinstance(value, bool):
        return "true" if value else "false"
    return _safe(value) if isinstance(value, str) else repr(value)


def _safe(text: str) -> str:
    return "'" + text if text.startswith(_FORMULA) or (text[:1] in "[{" and _parsed(text) is not None) else text


def _parsed(text: str) -> Any:
    """The list or table in a cell, None if it is neither."""
    try:
        found = tomllib.loads(f"v = {text}\n")
    except (tomllib.TOMLDecodeError, RecursionError):
        return None
    return found["v"] if set(found) == {"v"} and isinstance(found["v"], dict | list) else None


def import_csv(data: bytes | str, name: str) -> Plan:
    """The plan in a spreadsheet file: comma, semicolon or tab between cells. Raises InputError with its line."""
    tables, lines = _tables(decode(data, name), name)
    plan = checked(Plan, tables, name, lines)
    found = wrongs(plan)
    if found:
        path, words = found[0]
        raise InputError(f"{where(name, lines, path, tables)}: {words}")
    return plan


def _tables(text: str, name: str) -> tuple[dict[str, Any], dict[Path, int]]:
    first = text.split("\n", 1)[0]
    mark = max(",;\t", key=first.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=mark, strict=True)
    tables: dict[str, Any] = {}
    lines: dict[Path, int] = {}
    columns: list[str] = []
    try:
        for number, row in enumerate(reader):
            if number > MOST_ROWS:
                raise InputError(f"{name}: more than {MOST_ROWS} rows; is it the right file?")
            if not columns:
                columns = [cell.strip() for cell in row]
                _check_head(columns, name)
            elif any(cell.strip() for cell in row):
                _add(tables, lines, dict(zip(columns, row, strict=False)), name, reader.line_num)
    except csv.Error as wrong:
        raise InputError(f"{name}, line {reader.line_num}: not a spreadsheet row: {wrong}") from None
    if not columns:
        _check_head([], name)
    return tables, lines


def _check_head(columns: list[str], name: str) -> None:
    if "row" not in columns:
        raise InputError(
            f'{name}, line 1: names the columns, and one of them must be "row"; found {", ".join(columns)[:200]}',
            "Export any plan to see the columns.",
        )
    twice = next((one for one in columns if one and columns.count(one) > 1), None)
    if twice is not None:
        raise InputError(f'{name}, line 1: the column "{twice}" is there twice')


def _add(tables: dict[str, Any], lines: dict[Path, int], row: dict[str, str], name: str, line: int) -> None:
    kind = row.pop("row", "").strip()
    table = _table(row)
    if kind in ROWS:
        rows = tables.setdefault(kind, [])
        lines[kind, len(rows)] = line
        rows.append(table)
    elif kind == "plan":
        _once(lines, (), kind, name, line)
        strange = next((key for key in table if key in (*ROWS, *ONES, "sides")), None)
        if strange is not None:
            raise InputError(f'{name}, line {line}: the row "plan" has nothing in column "{strange}"; empty that cell')
        tables |= table
    elif kind in ONES:
        _once(lines, (kind,), kind, name, line)
        tables[kind] = table
    elif kind == "side":
        side = str(table.pop("id", ""))
        _once(lines, ("sides", side), f"side {side}", name, line)
        tables.setdefault("sides", {})[side] = table
    else:
        kinds = (*ONES, "side", *ROWS)
        raise InputError(f'{name}, line {line}: "{kind}" in column row; one of {", ".join(kinds)}{near(kind, kinds)}')


def _once(lines: dict[Path, int], path: Path, kind: str, name: str, line: int) -> None:
    """Note the line of a row that may stand once. A second one would replace the first, a hazard with it."""
    if path in lines:
        raise InputError(
            f'{name}, line {line}: the row "{kind}" is in line {lines[path]} already; make one row of them'
        )
    lines[path] = line


def _table(row: Mapping[str, str]) -> dict[str, Any]:
    table: dict[str, Any] = {}
    for key, cell in row.items():
        if cell == "" or not key:
            continue
        value: Any = cell[1:] if cell.startswith("'") else cell
        if cell[:1] in "[{":
            parsed = _parsed(cell)
            value = parsed if parsed is not None else cell
        end, dot, inner = key.partition(".")
        if dot and end in ("a", "b"):
            spread = table.get(end)
            table[end] = (spread if isinstance(spread, dict) else {}) | {inner: value}
        else:
            table[key] = int(value) if key == "format" and value == "1" else value
    return table
