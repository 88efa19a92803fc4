"""`wiggle` and `find` on the virtual board: a contact that opens for moments, a probe that touches."""

import json
import threading
import time
from pathlib import Path

import pytest

from tester.board.virtual import VirtualBoard
from tester.cli.main import main
from tester.shipped import shipped

LEADS = """format = 1
id = "watch-leads"
probe = 9
[channels]
1 = "D-1"
2 = "D-2"
3 = "D-3"
5 = "H-1"
6 = "H-2"
7 = "H-3"
"""
GOOD = """format = 1
[[link]]
a = "D-1"
b = "H-1"
ohms = 0.08
[[diode]]
anode = "D-1"
cathode = "D-2"
drop_v = 0.6
"""
LOOSE = GOOD + '[[dropout]]\na = "D-3"\nb = "H-3"\nevery_ms = 400\nopen_ms = 5\n'


@pytest.fixture
def leads(tmp_path: Path) -> Path:
    place = tmp_path / "leads.toml"
    place.write_text(LEADS)
    return place


def wiggled(
    tmp_path: Path, leads: Path, harness: str, capsys: pytest.CaptureFixture[str], *more: str
) -> tuple[int, dict[str, object]]:
    place = tmp_path / "harness.toml"
    place.write_text(harness)
    capsys.readouterr()
    begin = ["wiggle", "--leads", str(leads), "--board", f"virtual:{place}", "--seconds", "1.5", "--json"]
    status = main([*begin, *more])
    return status, json.loads(capsys.readouterr().out)


def test_a_harness_that_holds_still_passes_though_it_has_a_diode(
    tmp_path: Path, leads: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    status, told = wiggled(tmp_path, leads, GOOD, capsys)
    assert (status, told["dropouts"], told["complete"]) == (0, [], True)


def test_a_contact_that_opens_for_five_milliseconds_is_named_with_its_length(
    tmp_path: Path, leads: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    status, told = wiggled(tmp_path, leads, LOOSE, capsys)
    drops = told["dropouts"]
    assert status == 1 and isinstance(drops, list) and len(drops) >= 2
    assert {frozenset(drop["cavities"]) for drop in drops} == {frozenset({"D-3", "H-3"})}
    assert all(drop["kind"] == "open" and 2 <= drop["lasted_ms"] <= 9 for drop in drops)


def test_a_possibly_wet_cavity_is_refused_and_the_rest_is_watched_without_it(
    tmp_path: Path, leads: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    wet = LOOSE + '[[voltage]]\nat = "D-1"\nvolts = 0.6\nohms = 8000\n'
    place = tmp_path / "wet.toml"
    place.write_text(wet)
    assert main(["wiggle", "--leads", str(leads), "--board", f"virtual:{place}", "--seconds", "1"]) == 4
    assert "--leave-out" in capsys.readouterr().err
    out = ("--leave-out", "D-1", "--leave-out", "H-1")
    status, told = wiggled(tmp_path, leads, wet, capsys, *out)
    drops = told["dropouts"]
    assert status == 1 and isinstance(drops, list)
    assert {frozenset(drop["cavities"]) for drop in drops} == {frozenset({"D-3", "H-3"})}


def test_the_probe_names_cavity_and_circuit(tmp_path: Path, leads: Path, capsys: pytest.CaptureFixture[str]) -> None:
    harness, scan = tmp_path / "harness.toml", tmp_path / "scan.json"
    harness.write_text(GOOD)
    assert main(["scan", "--leads", str(leads), "--board", f"virtual:{harness}", "--save", str(scan)]) == 0
    with VirtualBoard(harness, leads) as board:
        touch = threading.Timer(1.0, lambda: board.tell("touch", "H-1"))
        touch.start()
        capsys.readouterr()
        begin = time.monotonic()
        status = main(["find", "--leads", str(leads), "--scan", str(scan), "--once", "--json", "--board", board.port])
        touch.join()
    told = json.loads(capsys.readouterr().out.splitlines()[-1])
    assert status == 0 and time.monotonic() - begin < 60
    assert set(told["circuit"]) == {"D-1", "H-1"} and told["firm"]


def test_a_lead_map_without_a_probe_is_one_message(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    bare = tmp_path / "bare.toml"
    bare.write_text(LEADS.replace("probe = 9\n", ""))
    harness = shipped("fixtures", "harnesses", "side-door-plain-before.toml")
    assert main(["find", "--leads", str(bare), "--board", f"virtual:{harness}"]) == 3
    assert "names no probe lead" in capsys.readouterr().err
