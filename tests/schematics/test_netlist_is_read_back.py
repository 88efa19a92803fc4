"""The KiCad netlists, read by an independent parser (kinparse), hold the parts, pins and nets of the source."""

import kinparse
import pytest

from hwspec.circuit.generate import BOARDS, ROOT
from hwspec.circuit.kicad import connected_pins, lib_name

pytestmark = pytest.mark.filterwarnings("ignore::pyparsing.warnings.PyparsingDeprecationWarning")


def read_back_equals_source(name: str) -> None:
    """Compare a committed netlist, as the parser reads it, with the description of the board."""
    board = BOARDS[name]()
    found = kinparse.parse_netlist(str(ROOT / "schematics" / "kicad" / f"{name}.net"))
    assert {(p.ref, p.value, p.footprint) for p in found.parts} == {
        (p.ref, p.value, p.kind.footprint) for p in board.parts
    }
    assert len(found.parts) == len(board.parts)
    nets = {net.name: {(pin.ref, pin.num) for pin in net.pins} for net in found.nets}
    assert nets == connected_pins(board)
    kinds = {kind.name: {(p.num, p.name) for p in kind.pins} for kind in found.libparts}
    for part in board.parts:
        assert {(pin.number, pin.name) for pin in part.kind.pins} == kinds[lib_name(part.kind)]


@pytest.mark.campaign
def test_the_main_board_read_back_is_the_source() -> None:
    """Card and starter, which take the parser long, are read in tests/campaigns."""
    read_back_equals_source("main")
