"""The drawings show every part of every board, and nothing that the boards do not have."""

import xml.etree.ElementTree as ElementTree

import pytest

from hwspec.circuit.card import card
from hwspec.circuit.decks import catalogue
from hwspec.circuit.draw.pen import Pen
from hwspec.circuit.draw.sheets import sheets
from hwspec.circuit.generate import BOARDS, ROOT
from hwspec.circuit.model import CircuitError

SHEETS = sheets()
SHEETS_OF = {
    "card": [name for name in SHEETS if name.startswith("card") or name == "cell"],
    "main": [name for name in SHEETS if name.startswith("main")],
    "starter": [name for name in SHEETS if name.startswith("starter")],
}


@pytest.mark.parametrize("name", BOARDS)
def test_each_part_is_on_a_sheet_one_channel_standing_for_all(name: str) -> None:
    board = BOARDS[name]()
    drawn = set().union(*(SHEETS[sheet][1] for sheet in SHEETS_OF[name]))
    assert "cell" in drawn or name == "main"
    for part in board.parts:
        if part.channel:
            continue
        assert part.ref in drawn, f"{part.ref} is on no sheet"
    cell_roles = {part.role for part in board.parts if part.channel}
    assert cell_roles == {board.part(ref).role for ref in drawn - {"cell"} if board.part(ref).channel}


@pytest.mark.parametrize("name", sorted(SHEETS))
def test_a_sheet_is_well_formed_and_says_its_title(name: str) -> None:
    tree = ElementTree.fromstring(SHEETS[name][0])
    words = [text.text or "" for text in tree.iter() if text.tag.endswith(("text", "tspan"))]
    assert any(len(word) > 10 for word in words)
    assert (ROOT / "schematics" / f"{name}.svg").is_file()


def test_a_part_between_nets_that_it_is_not_on_cannot_be_drawn() -> None:
    pen = Pen(card(), "wrong")
    with pytest.raises(CircuitError, match="R102 joins TP02 and N02, the drawing says TP02 and N03"):
        pen.two("R102", (0, 0, "TP02"), (2, 0, "N03"))
    with pytest.raises(CircuitError, match="D102 is at N02"):
        pen.clamp("D102", 0, 0, "N05")
    with pytest.raises(CircuitError, match="D201 IO2 is at TP02"):
        pen.suppressor("D201", "IO2", 0, 0, "TP01")


def test_a_chip_with_a_pin_left_out_cannot_be_drawn() -> None:
    pen = Pen(card(), "wrong")
    with pytest.raises(CircuitError, match=r"U52: pins \['1'\] are not on the drawing"):
        pen.chip("U52", 0, 0, ("A", "VCC", "GND"), ("Y",))


def test_a_transistor_and_pump_diodes_are_checked_too() -> None:
    pen = Pen(card(), "wrong")
    with pytest.raises(CircuitError, match="Q81 is not between VDD and GND with its base at N01"):
        pen.pnp("Q81", (0, 0), 1, -1, "N01")
    main = Pen(BOARDS["main"](), "wrong")
    with pytest.raises(CircuitError, match="D31 does not pump"):
        main.pump_diodes("D31", (0, 0), (1, 0), "PUMP_1", "PUMP_DC")


def test_a_wire_between_two_nets_cannot_be_drawn() -> None:
    pen = Pen(card(), "wrong")
    pen.two("R102", (0, 0, "TP02"), (2, 0, "N02"))
    pen.wire((2, 0), (4, 0), (4, 2))
    pen.tag(4, 2, "N02")
    assert "<svg" in pen.svg()
    pen.wire((3, 0), (3, -2))
    pen.tag(3, -2, "TP02")
    with pytest.raises(CircuitError, match="joins TP02 and N02"):
        pen.svg()


def test_the_page_of_the_folder_lists_every_drawing_and_every_deck() -> None:
    page = (ROOT / "schematics" / "README.md").read_text(encoding="utf-8")
    for path in (ROOT / "schematics").glob("*.svg"):
        assert f"({path.name})" in page, path.name
    for deck in catalogue.decks():
        assert f"(spice/results/{deck.name}.txt) | {deck.title} |" in page, deck.name
