"""Rooms keep to their layer at run time too: a static contract cannot see whether a deferred import defers."""

import subprocess
import sys

import pytest

HEAVY = ("textual", "serial", "sqlite3", "sqlalchemy", "psycopg")
PURE = ["tester.harness", "tester.plan", "tester.scan", "tester.judge", "tester.words"]


def loaded_after(code: str, names: tuple[str, ...]) -> list[str]:
    """Which of `names` are in sys.modules after a fresh interpreter ran `code`."""
    script = f"import sys\n{code}\nprint(*[n for n in {names!r} if n in sys.modules])"
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, timeout=60, check=True)
    return done.stdout.splitlines()[-1].split()


def test_the_probe_sees_what_is_loaded() -> None:
    assert loaded_after("import sqlite3", HEAVY) == ["sqlite3"]


@pytest.mark.parametrize("room", PURE)
def test_a_pure_room_with_all_its_modules_loads_no_screen_port_or_database(room: str) -> None:
    walk = (
        f"import importlib, pkgutil, {room}\n"
        f"for m in pkgutil.walk_packages({room}.__path__, '{room}.'): importlib.import_module(m.name)\n"
    )
    assert loaded_after(walk, HEAVY) == []


@pytest.mark.parametrize(
    "arguments",
    [
        ["--help"],
        ["--version"],
        ["test", "--help"],
        ["records", "list", "--help"],
        ["no-such-verb"],
        ["scan", "--wrong"],
    ],
    ids=" ".join,
)
def test_help_version_and_usage_errors_load_nothing_heavy(arguments: list[str]) -> None:
    code = (
        "import contextlib, io\nfrom tester.cli.main import main\n"
        "with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):\n"
        f"    main({arguments!r})"
    )
    assert loaded_after(code, (*HEAVY, "pydantic", "tomlkit", "asyncio")) == []
