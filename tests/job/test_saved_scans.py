"""Scans saved long ago: their frames still give the reading told beside them and the verdict of that day."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from tester.harness.verdict import FAIL, PASS
from tester.job.scanfile import load_scan
from tester.shipped import shipped
from tests.support.saved_scans import CASES, SCANS, VERDICTS, reading, verdict

THEN = json.loads(shipped("fixtures", "scans", VERDICTS).read_text("utf-8"))


@pytest.mark.parametrize("name", SCANS)
def test_the_frames_of_a_saved_scan_say_what_is_told_beside_them(name):
    stored = json.loads(shipped("fixtures", "scans", f"{name}.json").read_text("utf-8"))
    told = load_scan(json.dumps(stored | {"rounds": []}), name)
    seen = reading(name)
    assert replace(told, parts=(), ohms={}) == replace(seen, parts=(), ohms={})
    assert [(part.a, part.b) for part in told.parts] == [(part.a, part.b) for part in seen.parts]
    for pair, one in told.ohms.items():
        assert seen.ohms[pair].ohms == pytest.approx(one.ohms, abs=1e-9)


@pytest.mark.parametrize("name", CASES)
def test_a_saved_scan_judged_from_its_frames_gives_the_verdict_of_then(name):
    assert verdict(name) == THEN[name]


def test_the_saved_scans_hold_right_harnesses_and_wrong_ones():
    assert {name: THEN[name]["verdict"] for name in CASES} == {
        name: PASS if name.endswith("after") else FAIL for name in CASES
    }
