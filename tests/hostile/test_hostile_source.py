"""What the source must not hold: code made from data, shells, SQL made from data. Read from the syntax trees."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
FILES = sorted([*ROOT.glob("tester/**/*.py"), *ROOT.glob("hwspec/**/*.py")])
CODE_FROM_DATA = {"eval", "exec", "compile", "__import__"}
MODULES = {"pickle", "cPickle", "marshal", "shelve", "dill"}
SHELLS = {("os", "system"), ("os", "popen"), ("subprocess", "getoutput"), ("subprocess", "getstatusoutput")}

ALLOWED_CODE = {
    # Names of MicroPython's own modules as constants, which CPython's checkers would miss.
    ("hwspec/firmware/hal_rp2040.py", "__import__", "machine"),
    ("hwspec/firmware/hal_rp2040.py", "__import__", "micropython"),
    ("hwspec/firmware/hal_rp2040.py", "__import__", "rp2"),
    ("hwspec/firmware/compat.py", "__import__", "micropython"),
    # The loader starts the newest complete slot: "a" or "b", nothing else.
    ("hwspec/firmware/loader.py", "__import__", ""),
}
# What may be put into the text of SQL: clauses that the modules wrote themselves, with marks for every value; names of
# tables and columns from constants; numbers. Never a value that somebody typed. By module, as it stands in the braces.
SQL_PARTS = {
    "tester/records/figures.py": {"also", "group", "name", "plan", "self.only", "self.where", "where"},
    "tester/records/index.py": {"sets"},
    "tester/records/postgres.py": {"_WRITER", "int(TURN_S * 1000)", "table"},
    "tester/records/reading.py": {"chosen"},
    "tester/records/search.py": {"limit", "match", "skip", "sql", "int(query.limit)", "int(query.skip)"},
    "tester/records/sqlite.py": {"APPLICATION_ID", "PAGE_SIZE", "table", "verb"},
    "tester/records/verify.py": {"COLUMNS"},
    "tester/records/writing.py": {"COLUMNS", "marks"},
}
SQL_JOINED = {("tester/records/search.py", "' WHERE ' + ' AND '.join(parts)")}
SQL = re.compile(
    r"\b(SELECT|INSERT INTO|UPDATE \w|DELETE FROM|PRAGMA|CREATE (TABLE|INDEX|TRIGGER)|DROP|REINDEX"
    r"|WHERE|LIMIT|OFFSET)\b"
)


def sql_from_parts(tree: ast.AST, name: str) -> Iterator[str]:
    """SQL text that is put together when the program runs, where no exception allows it."""
    for node in ast.walk(tree):
        if isinstance(node, ast.JoinedStr):
            said = "".join(str(part.value) for part in node.values if isinstance(part, ast.Constant))
            parts = {ast.unparse(part.value) for part in node.values if isinstance(part, ast.FormattedValue)}
            if SQL.search(said) and parts - SQL_PARTS.get(name, set()):
                yield f"{name}:{node.lineno} SQL holds {sorted(parts - SQL_PARTS.get(name, set()))}"
        elif isinstance(node, ast.BinOp) and isinstance(node.op, ast.Add | ast.Mod):
            sides = [side for side in (node.left, node.right) if isinstance(side, ast.Constant | ast.JoinedStr)]
            if len(sides) == 1 and SQL.search(ast.unparse(sides[0])) and (name, ast.unparse(node)) not in SQL_JOINED:
                yield f"{name}:{node.lineno} SQL joined: {ast.unparse(node)[:80]}"
        elif isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr == "format":
            said = node.func.value.value if isinstance(node.func.value, ast.Constant) else ""
            if SQL.search(str(said)):
                yield f"{name}:{node.lineno} SQL by format: {ast.unparse(node)[:80]}"


def wrongs_in(path: Path) -> list[str]:
    name = path.relative_to(ROOT).as_posix() if path.is_relative_to(ROOT) else path.name
    tree = ast.parse(path.read_text(encoding="utf-8"))
    found = list(sql_from_parts(tree, name))
    for node in ast.walk(tree):
        imported = [a.name for a in node.names] if isinstance(node, ast.Import) else []
        imported += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
        found += [f"{name}:{node.lineno} imports {one}" for one in imported if one.split(".")[0] in MODULES]  # type: ignore[attr-defined]
    for call in (node for node in ast.walk(tree) if isinstance(node, ast.Call)):
        place = f"{name}:{call.lineno}"
        if isinstance(call.func, ast.Name) and call.func.id in CODE_FROM_DATA:
            first = call.args[0] if call.args else None
            given = str(first.value) if isinstance(first, ast.Constant) else ""
            if (name, call.func.id, given) not in ALLOWED_CODE:
                found.append(f"{place} {call.func.id}({given})")
        if isinstance(call.func, ast.Attribute):
            owner = call.func.value
            if isinstance(owner, ast.Name) and (owner.id, call.func.attr) in SHELLS:
                found.append(f"{place} {owner.id}.{call.func.attr}")
        for keyword in call.keywords:
            if keyword.arg == "shell" and not (isinstance(keyword.value, ast.Constant) and not keyword.value.value):
                found.append(f"{place} shell=")
    return found


def test_no_code_no_shell_and_no_sql_is_made_from_data() -> None:
    assert len(FILES) > 150
    assert [wrong for path in FILES for wrong in wrongs_in(path)] == []


@pytest.mark.parametrize(
    "source",
    [
        "import pickle",
        "from marshal import loads",
        "eval(text)",
        "exec(text)",
        "import subprocess\nsubprocess.run(text, shell=True)",
        "import os\nos.system(text)",
        "db.execute(f'SELECT * FROM jobs WHERE job = {job}')",
        "db.execute('DELETE FROM jobs WHERE job = ' + job)",
        "db.rows('SELECT {}'.format(job))",
    ],
)
def test_such_a_line_would_be_found(tmp_path: Path, source: str) -> None:
    (tmp_path / "bad.py").write_text(source, encoding="utf-8")
    assert wrongs_in(tmp_path / "bad.py")
