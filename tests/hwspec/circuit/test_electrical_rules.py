"""The electrical rules hold for every board, and each rule finds the mistake that it is there for."""

from collections.abc import Callable
from dataclasses import replace

import pytest

from hwspec.circuit import kinds as k
from hwspec.circuit.card import card
from hwspec.circuit.main import main_board
from hwspec.circuit.model import OPEN, Circuit, CircuitError, Part, connect
from hwspec.circuit.rules import check
from hwspec.circuit.stack import full_build
from hwspec.circuit.starter import starter


def rewired(board: Circuit, ref: str, **nets: str) -> Circuit:
    """The board with some pins of one part (by pin number: ``_3="GND"``) on other nets."""
    changed = {number.removeprefix("_"): net for number, net in nets.items()}
    parts = [replace(p, nets={**p.nets, **changed}) if p.ref == ref else p for p in board.parts]
    return Circuit(board.name, board.title, parts)


def without(board: Circuit, *refs: str) -> Circuit:
    return Circuit(board.name, board.title, [p for p in board.parts if p.ref not in refs])


def plus(board: Circuit, part: Part) -> Circuit:
    return Circuit(board.name, board.title, [*board.parts, part])


@pytest.mark.parametrize("make", [card, main_board, starter, lambda: full_build(1), lambda: full_build(4)])
def test_the_rules_hold_for_each_board_and_for_the_whole_stack(make: Callable[[], Circuit]) -> None:
    assert check(make()) == []


MISTAKES: dict[str, tuple[Callable[[], Circuit], str]] = {
    "pin forgotten": (
        lambda: Circuit("c", "c", [replace(p, nets={"1": "TP01"}) if p.ref == "R101" else p for p in card().parts]),
        "R101 pin 2 (2) is neither joined nor marked open",
    ),
    "net with one end": (lambda: rewired(card(), "R56", _2="NOWHERE"), "net NOWHERE ends at R56"),
    "two outputs": (lambda: rewired(main_board(), "U31", _6="ARM_N"), "net ARM_N has several outputs"),
    "three-state outputs where it is not meant": (
        lambda: rewired(card(), "U52", _4="B_SCK"),
        "net B_SCK has several outputs",
    ),
    "input without a driver": (lambda: rewired(card(), "U41", _14="ADRIFT", _13="ADRIFT"), "net ADRIFT has inputs"),
    "no capacitor": (lambda: without(card(), "C12"), "U12 has no capacitor of its own"),
    "capacitor across nothing": (lambda: rewired(card(), "C12", _1="GND"), "U12 has no capacitor of its own"),
    "supply pin on a signal": (lambda: rewired(card(), "U12", _24="VPU"), "U12 pin VCC is on VPU"),
    "ground pin on a signal": (lambda: rewired(card(), "U2", _10="VPU"), "U2 pin VSS is on VPU"),
    "no series resistor": (lambda: without(card(), "R117"), "(TP17) has 0 series resistors"),
    "series resistor bridged": (
        lambda: plus(card(), Part("X1", k.R_0805, "0", {"1": "TP17", "2": "N17"}, "bridge")),
        "(TP17) goes straight to X1",
    ),
    "expander behind the series resistor alone": (lambda: rewired(card(), "R217", _2="N17"), "reaches no pin"),
    "no clamp": (lambda: without(card(), "D117"), "N17 is clamped to []"),
    "clamp turned round": (lambda: rewired(card(), "D117", _1="VDD", _2="GND"), "the wrong way round"),
    "no pull-up": (lambda: without(card(), "R317"), "N17 has no pull-up"),
    "pull-up to the fixed supply": (lambda: rewired(card(), "R317", _1="VDD"), "N17 has no pull-up to the rail"),
    "sense tap on one tree only": (lambda: rewired(card(), "U22", _9="SPARE"), "its sense tap reaches"),
    "no discharge protection": (lambda: without(card(), "D209"), "(TP17) has no discharge protection"),
    "two expanders with one address": (lambda: rewired(card(), "U2", _15="GND"), "share chip select"),
    "clock straight into a register": (
        lambda: rewired(full_build(1), "c0.U41", _11="SCK"),
        "line SCK reaches c0.U41 pin SHCP without a resistor",
    ),
    "starter diode turned round": (lambda: rewired(starter(), "D107", _1="N07", _2="VDD"), "the wrong way round"),
    "starter channel without its resistor": (lambda: without(starter(), "R107"), "(TP07) has 0 series resistors"),
}


@pytest.mark.parametrize("name", MISTAKES)
def test_each_mistake_in_the_circuit_is_found(name: str) -> None:
    broken, says = MISTAKES[name]
    findings = check(broken())
    assert any(says in finding for finding in findings), findings


def test_four_cards_with_equal_jumpers_are_found_to_share_addresses() -> None:
    whole = full_build(2)
    same = Circuit(
        "full",
        "full",
        [
            replace(p, nets={**p.nets, "17": "GND"}) if p.role == "expander" and p.ref.startswith("c1.") else p
            for p in whole.parts
        ],
    )
    assert sum("share chip select" in finding for finding in check(same)) == 4


def test_a_part_may_not_be_there_twice() -> None:
    board = card()
    with pytest.raises(CircuitError, match="R101 is there twice"):
        board.add(board.part("R101"))


def test_every_pin_of_a_chip_must_be_named_when_it_is_joined() -> None:
    with pytest.raises(CircuitError, match=r"missing pins \['K'\]"):
        connect(k.BAV99, {"A": "GND", "COM": "N01"})
    with pytest.raises(CircuitError, match=r"unknown pins \['Z'\]"):
        connect(k.BAV99, {"A": "GND", "COM": "N01", "K": "VDD", "Z": OPEN})
