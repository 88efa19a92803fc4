"""The stripboard of the starter board, hole by hole, joins exactly the nets of the circuit."""

import pytest

from hwspec.circuit import strip
from hwspec.circuit.generate import ROOT
from hwspec.circuit.starter import starter

BOARD = starter()


def test_holes_cuts_and_wires_give_the_circuit_and_nothing_else() -> None:
    assert strip.check(BOARD, strip.places(), strip.cuts()) == []


@pytest.mark.parametrize("cut", sorted(strip.cuts()))
def test_every_cut_is_needed_and_a_forgotten_one_is_found(cut: strip.Hole) -> None:
    findings = strip.check(BOARD, strip.places(), strip.cuts() - {cut})
    assert findings, f"the cut at column {cut[0]}, row {cut[1]} is needless"


@pytest.mark.parametrize(
    ("ref", "pin", "leg", "says"),
    [
        ("R101", "1", (4, 2), "share the hole in column 4, row 2"),
        ("R101", "1", (5, 2), "joined: "),
        ("R101", "1", (6, 1), "in a hole that is cut"),
        ("R101", "1", (60, 1), "off the board"),
        ("D105", "1", "left GND", "joined: GND, VDD"),
        ("R305", "1", (9, 21), "net VPU is in 2 pieces"),
    ],
)
def test_a_leg_in_the_wrong_place_is_found(ref: str, pin: str, leg: strip.Leg, says: str) -> None:
    placed = strip.places()
    placed[ref] = {**placed[ref], pin: leg}
    assert any(says in finding for finding in strip.check(BOARD, placed, strip.cuts()))


def test_a_forgotten_part_is_found() -> None:
    placed = strip.places()
    del placed["R212"]
    assert "R212 pin 1 has no place" in strip.check(BOARD, placed, strip.cuts())


def test_the_table_names_every_part_and_the_picture_every_test_point() -> None:
    lines = strip.table().splitlines()
    for part in BOARD.parts:
        assert any(line.startswith(f"{part.ref} ") for line in lines), part.ref
    picture = (ROOT / "schematics" / "starter-strip.svg").read_text(encoding="utf-8")
    assert all(f">TP{channel:02}<" in picture for channel in range(1, 21))
