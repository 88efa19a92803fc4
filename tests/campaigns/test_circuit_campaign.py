"""The circuit in full: every SPICE deck run again, the card's netlist read by an independent parser."""

import pytest

from hwspec.circuit.decks import __main__ as decks
from tests.schematics.test_netlist_is_read_back import pytestmark as quiet
from tests.schematics.test_netlist_is_read_back import read_back_equals_source
from tests.support.tools import need_program

pytestmark = [pytest.mark.campaign, quiet]


def test_every_deck_gives_the_committed_table() -> None:
    """About forty seconds of one core; prints what each deck took."""
    need_program("ngspice")
    assert decks.main(["--check"]) == 0


@pytest.mark.parametrize("name", ["card", "starter"])
def test_a_netlist_read_back_is_the_source(name: str) -> None:
    """431 and 111 parts take the parser some fifteen seconds."""
    read_back_equals_source(name)
