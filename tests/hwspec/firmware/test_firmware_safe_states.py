"""Whatever goes wrong between two steps, no channel stays driven beyond what protocol.md section 5 grants."""

from __future__ import annotations

import pytest

from hwspec.virtual.expander import IODIRA, Expander
from tests.hwspec.firmware.talk import FULL_LEADS, Refused, Talk
from tests.support.pauses import pausing

WIRE = {"link": [{"a": "D-1", "b": "H-1", "ohms": 1.0}, {"a": "D-2", "b": "H-2"}]}


def driven(talk: Talk) -> set[int]:
    return set(talk.board.trace.driven())


@pytest.mark.parametrize("how", [0, 1])
@pytest.mark.parametrize("after", [2, 5])
def test_a_watch_that_could_not_be_started_does_not_run(after: int, how: int) -> None:
    talk = Talk(WIRE, FULL_LEADS).begin()
    talk.ask_body("WATC:LOAD?", "(@1:64)", "(@1,2,34)", "(@1)", "(@2)")
    pausing(talk, after, 20)
    with pytest.raises(Refused, match="paused") as refused:
        talk.ask_body("WATC:STAR?", 0, how)
    assert refused.value.number == -240
    talk.run(0.05)
    assert not talk.app.board.watch.running and not driven(talk)
    talk.ask_body("SYST:STAT?")
    assert not talk.state & 4


def test_what_a_reset_of_the_processor_left_driven_is_let_go_before_the_pump_runs_again() -> None:
    """The hardware would let go; arming for the next host must not keep alive what the last one drove."""
    talk = Talk(WIRE, FULL_LEADS).begin()
    talk.ask_body("WATC:LOAD?", "(@1:64)", "(@1,2)")
    talk.ask_body("WATC:STAR?")
    assert driven(talk) == {1, 2}
    talk.restart()
    held: list[set[int]] = []
    edge = talk.board.arm_pin

    def seen(level: int) -> None:
        held.append(driven(talk))
        edge(level)

    talk.board.arm_pin = seen  # type: ignore[method-assign]
    talk.begin()
    assert held and not any(held)


def deaf(chip: Expander, register: int) -> None:
    """The chip hears no more writes to this register."""
    real = chip.write

    def write(at: int, data: bytes) -> None:
        if at != register:
            real(at, data)

    chip.write = write  # type: ignore[method-assign]


def test_an_expander_that_cannot_be_released_stops_the_pump_at_once() -> None:
    talk = Talk(WIRE, FULL_LEADS).begin()
    talk.ask_body("WATC:LOAD?", "(@1:64)", "(@1,2)")
    talk.ask_body("WATC:STAR?")
    deaf(talk.board.expanders[0], IODIRA)
    talk.ask_body("WATC:STOP?")
    assert driven(talk) == {1, 2}
    with pytest.raises(Refused, match="expander 1 does not answer"):
        talk.walk([33], range(1, 65))
    stopped = talk.board.clock.now
    while talk.board.pump.armed and talk.board.clock.now - stopped < 1_000_000_000:
        talk.app.poll()
    assert not driven(talk)
    assert talk.board.clock.now - stopped < 180_000_000


def slow_host(talk: Talk, ms: int) -> list[tuple[set[int], bool]]:
    """Each write takes so long. Returns what was driven, and whether the lease was held, when each began."""
    seen: list[tuple[set[int], bool]] = []
    real = talk.hal.serial_write

    def write(data: bytes | bytearray | memoryview) -> None:
        seen.append((driven(talk), talk.app.board.guard.held))
        for _ in range(ms):
            talk.hal.wait_us(1000)
        real(data)

    talk.hal.serial_write = write  # type: ignore[method-assign]
    return seen


@pytest.mark.parametrize("build", ["full", "starter"])
def test_the_lease_ends_in_the_middle_of_a_reply_that_the_host_does_not_take(build: str) -> None:
    leads = FULL_LEADS if build == "full" else {1: "D-1", 2: "D-2", 3: "H-1", 4: "H-2"}
    talk = Talk(WIRE, leads, build=build).begin()
    talk.ask_body("WATC:LOAD?", "(@1:4)", "(@1,2)")
    talk.ask_body("WATC:STAR?")
    talk.lease(100)
    seen = slow_host(talk, 60)
    talk.ask_body("SYST:STAT?")
    assert seen[0] == ({1, 2}, True)
    assert all(state == (set(), False) for state in seen[2:]) and len(seen) > 3


def test_no_query_of_a_line_drives_by_a_lease_that_ended_while_the_one_before_was_sent() -> None:
    talk = Talk(WIRE, FULL_LEADS).begin()
    talk.lease(100)
    slow_host(talk, 60)
    before = len(talk.board.trace.pins())
    talk.write(b"SYST:STAT? 900;:SCAN:WALK? 901,(@1),(@1:64);:*OPC?\n")
    talk.run(1.0)
    said = bytes(talk.line.to_host)
    assert b"no lease" in said and said.count(b"#4") == 2
    assert len(talk.board.trace.pins()) == before


@pytest.mark.parametrize("build", ["full", "starter"])
def test_driving_again_after_a_rest_is_no_pause_in_the_measurement(build: str) -> None:
    talk = Talk(WIRE, FULL_LEADS if build == "full" else {1: "D-1", 2: "H-1"}, build=build).begin()
    talk.ask_body("OUTP:OFF?")
    talk.run(0.2)
    other = 33 if build == "full" else 2
    assert talk.walk([1], [1, 2, 33] if build == "full" else [1, 2]) == {1: {1, other}}
    assert talk.state & 2


def test_a_line_for_which_there_is_no_memory_ends_what_is_driven_and_not_the_firmware(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    talk = Talk(WIRE, FULL_LEADS).begin()
    talk.ask_body("WATC:LOAD?", "(@1:64)", "(@1,2)")
    talk.ask_body("WATC:STAR?")

    def full(line: memoryview) -> bytes:
        if len(line) > 3000:
            raise MemoryError
        return bytes(line)

    monkeypatch.setattr("hwspec.firmware.app.bytes", full, raising=False)
    talk.app._line[:4000] = b"*OPC?" + b" " * 3995
    talk.app._length = 4000
    talk.write(b"\n")
    talk.run(0.02)
    assert not driven(talk)
    assert talk.ask("SYST:ERR?") == b'-310,"System error;MemoryError"\n'


def test_a_self_test_with_everything_joined_tells_no_more_than_fits_a_reply() -> None:
    """64 x 63 pairs follow each other: collecting all of them would fill the heap of the board."""
    everything = {"link": [{"a": cavity, "b": "~bolt"} for cavity in FULL_LEADS.values()]}
    talk = Talk(everything, FULL_LEADS).begin()
    selftest = talk.app.board.bench().selftest
    kept: list[int] = []
    real = selftest._crosstalk
    selftest._crosstalk = lambda *given: kept.append(len(found := real(*given))) or found  # type: ignore[func-returns-value]
    passed, found = talk.self_test(3, 1)
    assert not passed and len(found) == 300 and kept == [300]


@pytest.mark.parametrize("counts", [(32767, -32768, 1, 0), (-32768, 32767, 1, 0), (32767, -32768, 40, 0)])
def test_a_reference_cell_without_current_is_a_finding_and_no_number_that_does_not_fit(
    counts: tuple[int, int, int, int], monkeypatch: pytest.MonkeyPatch
) -> None:
    talk = Talk(WIRE, FULL_LEADS).begin()
    selftest = talk.app.board.bench().selftest
    sense = iter([counts[0]] * 8 + [counts[1]] * 8)
    reference = iter([counts[2]] * 8 + [counts[3]] * 8)
    monkeypatch.setattr(selftest.converter, "sample", lambda ain, pga: next(reference if ain == 6 else sense))
    assert talk.self_test(2) == (False, [(0, -1)])


@pytest.mark.parametrize("how", [0, 1])
def test_a_watch_whose_first_readings_would_take_too_long_is_not_started(how: int) -> None:
    """Nobody can end the lease meanwhile, so a start is held to the time of every query that drives."""
    talk = Talk(WIRE, FULL_LEADS).begin()
    talk.ask_body("SCAN:TIM?", 5000, 5000)
    talk.ask_body("WATC:LOAD?", "(@1:64)", "(@1:64)", *["(@1:64)"] * 15)
    before = talk.seconds
    with pytest.raises(Refused, match="would take about") as refused:
        talk.ask_body("WATC:STAR?", 0, how)
    assert refused.value.number == -222 and talk.seconds - before < 0.25
    talk.ask_body("SCAN:TIM?", 40, 60)
    talk.ask_body("WATC:STAR?", 0, how)
    assert talk.seconds - before < 0.5
