"""Lines in, text out: framing, limits, errors, status registers. The hardware below is a stand-in without chips."""

from __future__ import annotations

import random

import pytest

from hwspec.firmware.app import App
from hwspec.firmware.errors import TEXTS, ErrorQueue, ScpiError
from hwspec.firmware.hal import Hal
from hwspec.firmware.parser import short_form
from hwspec.firmware.table import COMMANDS

COMMON = sum(notation.startswith("*") for notation, *_ in COMMANDS)


class Chipless(Hal):
    """A starter board without anything connected: every pin reads high. Time moves a millisecond each idle turn."""

    build = "starter"
    cards = 0
    pins = 20
    root = ""

    def __init__(self) -> None:
        self.arrived = bytearray()
        self.sent = bytearray()
        self.us = 0
        self.pulled = 0

    def ticks_us(self) -> int:
        self.us += 1
        return self.us & 0x3FFFFFFF

    def ticks_diff(self, later: int, earlier: int) -> int:
        return ((later - earlier + 0x20000000) & 0x3FFFFFFF) - 0x20000000

    def wait_us(self, us: int) -> None:
        self.us += us

    def serial_read(self, buf: bytearray) -> int:
        piece = self.arrived[: len(buf)]
        buf[: len(piece)] = piece
        del self.arrived[: len(piece)]
        return len(piece)

    def serial_write(self, data: bytes | bytearray | memoryview) -> None:
        self.sent += data

    def idle(self) -> None:
        self.us += 1000

    def unique_id(self) -> bytes:
        return b"\x01\x02\x03\x04\xa5\xff\x00\x10"

    def arm(self, level: int) -> None:
        pass

    def rail(self, state: int) -> None:
        self.pulled = state

    def gpio_set(self, oe: int, out: int) -> None:
        pass

    def gpio_get(self) -> int:
        return 0xFFFFF if self.pulled == 1 else 0


class Console:
    """Bytes to an App and back."""

    def __init__(self) -> None:
        self.hal = Chipless()
        self.app = App(self.hal)

    def say(self, data: bytes, turns: int = 30) -> bytes:
        self.hal.arrived += data
        while self.hal.arrived:
            self.app.poll()
        for _ in range(turns):
            self.app.poll()
        heard = bytes(self.hal.sent)
        self.hal.sent.clear()
        return heard


@pytest.fixture
def console() -> Console:
    return Console()


def test_identity_names_maker_model_serial_and_version(console: Console) -> None:
    assert console.say(b"*IDN?\n") == b"Loomwright,Scanboard Starter,01020304A5FF0010,1.1.2\n"


def test_carriage_return_before_the_line_end_is_ignored(console: Console) -> None:
    assert console.say(b"SYST:VERS?\r\n") == b"1999.0\n"


def test_line_may_arrive_byte_by_byte(console: Console) -> None:
    heard = b"".join(console.say(bytes((byte,)), turns=2) for byte in b"*OPC?\n")
    assert heard + console.say(b"") == b"1\n"


def test_several_lines_in_one_burst_are_answered_in_order(console: Console) -> None:
    assert console.say(b"*OPC?\nSYST:VERS?\n*ESE?\n") == b"1\n1999.0\n0\n"


def test_answers_of_one_line_are_joined_by_semicolons(console: Console) -> None:
    assert console.say(b"*OPC?;*CLS;SYST:VERS?;:SYST:ERR:COUN?\n") == b"1;1999.0;0\n"


def test_first_error_ends_the_line(console: Console) -> None:
    assert console.say(b"*OPC?;NONSENSE;SYST:VERS?\n") == b"1\n"
    assert console.say(b"SYST:ERR?\n") == b'-113,"Undefined header;NONSENSE"\n'


def test_longest_line_is_4096_bytes_with_its_line_end(console: Console) -> None:
    fits = b"*OPC?" + b" " * (4096 - 6) + b"\n"
    assert len(fits) == 4096
    assert console.say(fits) == b"1\n"
    assert console.say(b"*OPC?" + b" " * (4097 - 6) + b"\n") == b""
    assert console.say(b"SYST:ERR?\n") == b'-363,"Input buffer overrun;line longer than 4096 bytes"\n'


def test_an_endless_line_is_dropped_up_to_its_end_and_the_next_one_is_heard(console: Console) -> None:
    assert console.say(b"x" * 100_000 + b"\n*OPC?\n") == b"1\n"
    assert console.say(b"SYST:ERR:COUN?\n") == b"1\n"


def test_unfinished_line_is_dropped_after_half_a_second_of_silence(console: Console) -> None:
    console.say(b"AT+GMM", turns=600)
    assert console.say(b"*OPC?\n") == b"1\n"
    assert console.say(b"SYST:ERR?\n") == b'-365,"Time out error;line not finished"\n'


def test_a_pause_under_half_a_second_does_not_break_a_line(console: Console) -> None:
    console.say(b"*OP", turns=400)
    assert console.say(b"C?\n") == b"1\n"


def test_query_without_readable_sequence_number_is_not_answered(console: Console) -> None:
    for line in (b"SYST:STAT?\n", b"SYST:STAT? x\n", b"SYST:STAT? 65536\n", b"SYST:STAT? -1\n"):
        assert console.say(line) == b"", line
    assert console.say(b"SYST:ERR:COUN?\n") == b"4\n"


@pytest.mark.parametrize(
    ("number", "error"),
    [
        (b"4294967296", -222),
        (b"-4294967296", -222),
        (b"99999999999999999999", -222),
        (b"4.5e9", -222),
        (b"1e38", -222),
        (b"#H100000000", -222),
        (b"#H" + b"F" * 60, -222),
        (b"#H" + b"F" * 80, -104),
        (b"#B" + b"1" * 80, -104),
    ],
)
def test_a_number_larger_than_any_parameter_is_refused_before_anything_computes_with_it(
    console: Console, number: bytes, error: int
) -> None:
    for command in (b"*ESE ", b"SYST:STAT? ", b"SYST:LEAS? "):
        assert console.say(command + number + b"\n") == b""
        assert console.say(b"SYST:ERR?\n").startswith(b"%d," % error), command


def test_full_error_queue_ends_with_overflow(console: Console) -> None:
    console.say(b"FOO\n" * 20)
    heard = [console.say(b"SYST:ERR?\n") for _ in range(17)]
    assert heard[0] == b'-113,"Undefined header;FOO"\n'
    assert heard[15] == b'-350,"Queue overflow"\n'
    assert heard[16] == b'0,"No error"\n'


def test_quotes_in_an_error_detail_cannot_end_its_string() -> None:
    queue = ErrorQueue()
    queue.push(ScpiError(-104, 'a"b'))
    assert queue.pop() == '-104,"Data type error;a\'b"'


def test_texts_are_those_of_scpi_99() -> None:
    """Names as in github.com/j123b567/scpi-parser libscpi/inc/scpi/error.h @23d91ad and docs.rs scpi 0.4.3."""
    assert TEXTS[-113] == "Undefined header"
    assert TEXTS[-222] == "Data out of range"
    assert TEXTS[-363] == "Input buffer overrun"
    assert all(-500 < number <= 0 for number in TEXTS)


def test_event_register_tells_the_class_of_an_error(console: Console) -> None:
    """Bits: 16 execution, 32 command error, 128 power on (IEEE 488.2; cnblogs.com/ybqjymy/p/13385279)."""
    assert console.say(b"*ESR?\n") == b"128\n"
    console.say(b"FOO\n")
    assert console.say(b"*ESR?\n") == b"32\n"
    console.say(b"*ESE 999\n")
    assert console.say(b"*ESR?\n") == b"16\n"
    console.say(b"y" * 5000 + b"\n")
    assert console.say(b"*ESR?\n") == b"8\n"


def test_mandatory_common_commands_of_ieee_488_2_are_all_known(console: Console) -> None:
    """List: docs.rs scpi 0.4.3 `ieee488::commands`."""
    mandatory = "*CLS *ESE *ESE? *ESR? *IDN? *OPC *OPC? *RST *SRE *SRE? *STB? *TST? *WAI"
    for header in mandatory.split():
        line = header + (" 0" if header in ("*ESE", "*SRE") else "")
        console.say(line.encode() + b"\n")
        assert console.say(b"SYST:ERR?\n") == b'0,"No error"\n', header


def test_short_forms_follow_the_four_letter_rule() -> None:
    """First four letters, three when the fourth is a vowel, all of four or fewer (SCPI-99 volume 1, from memory)."""
    for notation, *_ in COMMANDS[COMMON:]:
        for word in notation.rstrip("?").replace("[", "").replace("]", "").split(":"):
            upper = word.upper()
            rule = upper if len(upper) <= 4 else upper[:3] if upper[3] in "AEIOU" else upper[:4]
            assert short_form(word) == rule, word


def test_board_without_a_converter_says_that_it_cannot_measure(console: Console) -> None:
    assert b"this board cannot measure" in console.say(b"MEAS:VOLT? 1,(@1)\n")
    assert b"can=scan,watch;" in console.say(b"SYST:STAT? 2\n")


def test_a_mistake_in_a_text_command_is_queued_and_does_not_stop_the_firmware(console: Console) -> None:
    def mistaken() -> str:
        raise MemoryError

    console.app.board.identity = mistaken  # type: ignore[method-assign]
    assert console.say(b"*IDN?\n") == b""
    assert console.say(b"SYST:ERR?\n") == b'-310,"System error;MemoryError"\n'


@pytest.mark.parametrize("seed", range(6))
def test_noise_on_the_line_never_stops_the_firmware(console: Console, seed: int) -> None:
    rng = random.Random(seed)
    words = [b"*IDN?", b"SCAN:WALK?", b"SYST:ERR?", b" ", b",", b";", b"(@", b")", b"1", b"#12", b'"', b":", b"\xff"]
    for _ in range(150):
        if rng.random() < 0.5:
            line = bytes(rng.randrange(256) for _ in range(rng.randrange(40)))
        else:
            line = b"".join(rng.choice(words) for _ in range(rng.randrange(12)))
        console.say(line + b"\n", turns=2)
    console.say(b"\n*CLS\n")
    assert console.say(b"*OPC?\n") == b"1\n"
