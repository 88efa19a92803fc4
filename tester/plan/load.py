"""Plan files: text in, plan out, and back."""

from __future__ import annotations

from typing import Any

import tomlkit
from tomlkit.items import AoT, InlineTable, Table

from tester.errors import InputError
from tester.harness.tables import checked, read_toml, where
from tester.plan.crosscheck import wrongs
from tester.plan.models import Plan

_TABLES = frozenset({"hazards", "sides", "limits", "advice", "expected"})
_ROWS = frozenset({"connector", "wire", "fact", "step", "limit", "function", "part"})


def load_plan(data: bytes | str, name: str) -> Plan:
    """The plan in a file. `name` is the file's name for messages. Raises InputError for the first thing wrong."""
    tables, text = read_toml(data, name)
    plan = checked(Plan, tables, name, text)
    found = wrongs(plan)
    if found:
        path, words = found[0]
        more = f"({len(found) - 1} more after this one.)" if len(found) > 1 else ""
        raise InputError(f"{where(name, text, path, tables)}: {words}", more)
    return plan


def plan_schema() -> dict[str, Any]:
    """JSON Schema of a plan, for editors, with descriptions and units."""
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", "title": "Plan"} | Plan.model_json_schema(
        by_alias=True
    )


def write_plan(plan: Plan, heading: str = "") -> str:
    """File text of a plan; `load_plan` reads it back to an equal one. `heading` becomes comment lines."""
    doc = tomlkit.document()
    for line in heading.splitlines():
        doc.add(tomlkit.comment(line) if line else tomlkit.nl())
    data = plan.model_dump(mode="json", by_alias=True, exclude_defaults=True)
    _fill(doc, data, top=True)
    return tomlkit.dumps(doc)


def _fill(into: Any, data: dict[str, Any], top: bool = False) -> None:
    later: dict[str, Any] = {}
    for key, value in _as_people_write(data).items():
        if value is None:
            continue
        if (top and key in _TABLES) or (key in _ROWS and isinstance(value, list)):
            later[key] = value
        else:
            into.add(key, as_toml(value))
    for key, value in later.items():
        into.add(key, _rows(value) if isinstance(value, list) else _table(key, value))


def _as_people_write(data: dict[str, Any]) -> dict[str, Any]:
    """A step with what it does first, its condition and remarks last."""
    if "do" not in data or "id" not in data:
        return data
    last = [key for key in ("when", "note", "caution", "photo") if key in data]
    first = {key: data[key] for key in ("id", "do")}
    return first | {key: data[key] for key in data if key not in last} | {key: data[key] for key in last}


def _table(key: str, data: dict[str, Any]) -> Table:
    table = tomlkit.table(is_super_table=key == "sides")
    if key == "sides":
        for name, side in data.items():
            inner = tomlkit.table()
            _fill(inner, side)
            table.add(name, inner)
    else:
        _fill(table, data)
    return table


def _rows(rows: list[dict[str, Any]]) -> AoT:
    found = tomlkit.aot()
    for row in rows:
        table = tomlkit.table()
        _fill(table, row)
        found.append(table)
    return found


def as_toml(value: Any, wide: bool = True) -> Any:
    """A list or table as the library's own; long lists over several lines if `wide`."""
    if isinstance(value, dict):
        inline: InlineTable = tomlkit.inline_table()
        for key, one in value.items():
            if one is not None:
                inline.add(key, as_toml(one, wide=False))
        return inline
    if isinstance(value, list):
        array = tomlkit.array()
        for one in value:
            array.append(as_toml(one, wide=False))
        return array.multiline(True) if wide and len(tomlkit.dumps({"k": value})) > 100 else array
    return value
