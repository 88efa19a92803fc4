"""A saved scan with changed bytes: refused by name, or the same circuits; never other circuits, never a traceback."""

from __future__ import annotations

import json
import random
from collections import Counter
from pathlib import Path

import pytest

from tester.cli.main import main
from tester.errors import InputError
from tester.job.scanfile import load_scan
from tester.shipped import shipped

SCAN = shipped("fixtures", "scans", "side-door-plain-before.json")
SEED, ROUNDS = 20260401, 250


def reading_of(data: bytes) -> object:
    found = load_scan(data.decode("utf-8", "replace"), "s.json")
    return found.netlist, found.doubtful, found.directed, found.not_seen, found.proven, found.grade


def test_no_changed_byte_gives_another_reading() -> None:
    whole, dice, counts = SCAN.read_bytes(), random.Random(SEED), Counter[str]()
    right = reading_of(whole)
    for _ in range(ROUNDS):
        changed = bytearray(whole)
        changed[dice.randrange(len(whole))] = dice.choice(b'0123456789DH-",[]{}\\ \x00\xff')
        try:
            assert reading_of(bytes(changed)) == right
            counts["same"] += 1
        except InputError as refused:
            assert "s.json" in str(refused)
            counts["refused"] += 1
    assert counts["refused"] > ROUNDS / 4, counts


def test_circuits_that_are_not_those_of_the_frames_are_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A plan from such a scan would call the edited circuits right."""
    stored = json.loads(SCAN.read_text("utf-8"))
    stored["nets"][0:2] = [["D-1", "H-2"], ["D-2", "H-1"]]
    place = tmp_path / "edited.json"
    place.write_text(json.dumps(stored))
    assert main(["plan", "from-scan", str(place), "--output", str(tmp_path / "plan.toml")]) == 3
    assert "changed since it was saved" in capsys.readouterr().err
    assert not (tmp_path / "plan.toml").exists()


def test_leads_exchanged_in_the_saved_text_are_refused() -> None:
    stored = json.loads(SCAN.read_text("utf-8"))
    text = stored["rounds"][0]["leads"]
    swapped = text.replace('"D-1"', "@").replace('"D-2"', '"D-1"').replace("@", '"D-2"')
    assert swapped != text
    stored["rounds"][0]["leads"] = swapped
    with pytest.raises(InputError, match="changed since it was saved"):
        load_scan(json.dumps(stored), "s.json")


@pytest.mark.parametrize("nonce", [-1, 2**32, "x", 1.5, None])
def test_a_session_number_that_is_none_is_refused_by_its_place(nonce: object) -> None:
    stored = json.loads(SCAN.read_text("utf-8"))
    stored["rounds"][0]["frames"][0]["nonces"][0] = nonce
    with pytest.raises(InputError, match=r"round 1, frame 1: damaged: session number"):
        load_scan(json.dumps(stored), "s.json")
