"""The processor stands still in the middle of a command: nothing stays driven, nothing of it is taken for a reading.

The hardware drops every channel 14.6 to 178 ms after the last edge of the pump; a pause may be shorter or longer.
"""

from __future__ import annotations

from collections.abc import Callable

import pytest

from tests.hwspec.firmware.talk import FULL_LEADS, Refused, Talk
from tests.support.pauses import pausing

WIRE = {"link": [{"a": "D-1", "b": "H-1", "ohms": 1.0}, {"a": "D-2", "b": "H-2"}], "leak": []}
LEAK = {"link": [], "leak": [{"a": "D-1", "b": "D-2", "ohms": 200e3}]}
PAUSES_MS = (13, 40, 200)


COMMANDS: dict[str, Callable[[Talk], object]] = {
    "resistance": lambda talk: talk.ask_body("MEAS:RES?", 1, 33),
    "isolation": lambda talk: talk.ask_body("MEAS:ISOL?", 1, "(@2,33,34)"),
    "walk": lambda talk: talk.walk([1, 2, 33, 34], range(1, 65)),
    "drivers": lambda talk: talk.drivers([1, 2, 33, 34]),
}


@pytest.mark.parametrize("ms", PAUSES_MS)
@pytest.mark.parametrize("name", COMMANDS)
def test_a_pause_in_a_command_is_an_error_and_leaves_nothing_driven(name: str, ms: int) -> None:
    for after in (2, 5, 9):
        talk = Talk(LEAK if name == "isolation" else WIRE, FULL_LEADS).begin()
        waits = pausing(talk, after, ms)
        before = talk.board.trace.driven()
        try:
            COMMANDS[name](talk)
        except Refused as refused:
            assert refused.number == -240 and "paused" in refused.text
        else:
            assert waits[0] < after, f"{name}: {ms} ms at wait {after} of {waits[0]} passed for a reading"
        assert not before and not talk.board.trace.driven()
        del talk.hal.wait_us  # the pause is over
        talk.begin()
        again = COMMANDS[name](talk)
        if name in ("walk", "drivers"):  # what is read with the converter differs from reading to reading
            assert again == COMMANDS[name](Talk(WIRE, FULL_LEADS).begin())


def test_a_product_query_that_fails_ends_its_line() -> None:
    talk = Talk(WIRE, FULL_LEADS)
    talk.ask("SYST:SYNC? 1,7")
    answer = talk.ask("SCAN:WALK? 2,(@1),(@1);*OPC?")
    assert b"no lease" in answer and not answer.endswith(b";1\n")
    assert talk.ask("SYST:VERS?;*OPC?") == b"1999.0;1\n"


def test_nothing_is_written_to_flash_while_a_watch_runs() -> None:
    talk = Talk(WIRE, FULL_LEADS).begin()
    talk.ask_body("WATC:LOAD?", "(@1:64)", "(@1,2)")
    talk.ask_body("WATC:STAR?")
    for query in (("CAL:SAVE?", '"2031-05-17"'), ("CAL:CLE?",)):
        with pytest.raises(Refused, match="watch is running"):
            talk.ask_body(*query)


def late_bus(talk: Talk, after: int, ms: int) -> None:
    """The processor stands still before that call of the bus."""
    calls, real = [0], talk.hal.spi

    def spi(cs: int, out: bytearray, inp: bytearray | None) -> None:
        calls[0] += 1
        if calls[0] == after:
            talk.board.clock.advance(ms * 1_000_000)
        real(cs, out, inp)

    talk.hal.spi = spi


@pytest.mark.parametrize(("ms", "first"), [(13, 1), (40, 2), (200, 3)])
@pytest.mark.parametrize("how", [0, 1])
def test_a_pause_while_a_watch_runs_is_a_long_gap_and_no_opening(how: int, ms: int, first: int) -> None:
    for after in range(first, 16, 3):
        talk = Talk(WIRE, FULL_LEADS).begin()
        talk.ask_body("WATC:LOAD?", "(@1:64)", "(@1,2)", "(@1)", "(@2)")
        talk.ask_body("WATC:STAR?", 1, how)
        late_bus(talk, after, ms)
        talk.run(0.1)
        found = talk.log()
        assert (found["total"], found["running"]) == (0, 1), (after, found)
        assert found["longest_us"] >= ms * 1000
