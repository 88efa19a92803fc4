"""Replies of the firmware against readers and rules from outside: IEEE 488.2 blocks, CRC-32, SCPI-99 names."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest
from pyvisa import util as visa

from hwspec.firmware.errors import TEXTS
from hwspec.firmware.status import event_bit
from tests.hwspec.firmware.talk import FULL_LEADS, Talk

VECTORS = Path(__file__).resolve().parents[2] / "hwspec" / "vectors"


def vectors(name: str) -> list[dict[str, Any]]:
    loaded: list[dict[str, Any]] = json.loads((VECTORS / name).read_text())
    return loaded


def crc32_bit_by_bit(data: bytes) -> int:
    """CRC-32/ISO-HDLC from its parameters: polynomial 0x04C11DB7 reflected, start and final xor all ones.

    Parameters from memory; check value 0xCBF43926 of `123456789` seen in docs.rs wire-codec 1.2.0 `crc32`.
    """
    crc = 0xFFFFFFFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = crc >> 1 ^ (0xEDB88320 if crc & 1 else 0)
    return crc ^ 0xFFFFFFFF


def test_bit_by_bit_check_sum_gives_the_published_value() -> None:
    assert crc32_bit_by_bit(b"123456789") == 0xCBF43926


@pytest.mark.parametrize("vector", vectors("exchanges.json"), ids=lambda v: v["name"])
def test_check_sums_of_the_vectors_follow_from_the_polynomial(vector: dict[str, Any]) -> None:
    payload = bytes.fromhex(vector["reply"])[6:-1]
    assert crc32_bit_by_bit(payload[:-4]) == int.from_bytes(payload[-4:], "little")
    salted = vector["nonce"].to_bytes(4, "little") + vector["request"].encode()
    assert crc32_bit_by_bit(salted) == int.from_bytes(payload[4:8], "little")


@pytest.mark.parametrize("vector", [v for v in vectors("blocks.json") if v["payload"]], ids=lambda v: v["name"])
def test_pyvisa_reads_the_same_payload_from_each_block(vector: dict[str, Any]) -> None:
    """PyVISA's IEEE 488.2 block reader is the outside reader here."""
    offset, length = visa.parse_ieee_block_header(bytes.fromhex(vector["bytes"]))[:2]
    assert bytes.fromhex(vector["bytes"])[offset : offset + length].hex() == vector["payload"]


def test_pyvisa_reads_a_block_of_the_firmware() -> None:
    talk = Talk({"link": [{"a": "D-1", "b": "H-1"}]}, FULL_LEADS).begin()
    block = talk.ask("SCAN:WALK? 900,(@1:64),(@1:64)")
    payload = bytes(visa.from_ieee_block(block, datatype="B", container=bytes))
    assert payload == block[6:-1] and len(payload) == 16 + 4 + 512 + 4
    assert crc32_bit_by_bit(payload[:-4]) == int.from_bytes(payload[-4:], "little")


def test_event_bits_are_those_of_ieee_488_2() -> None:
    """Bits: cnblogs.com/ybqjymy/p/13385279. Which hundred sets which bit: SCPI-99 volume 2, chapter 21 (memory)."""
    assert {number: event_bit(number) for number in (-113, -222, -310, -363, -410)} == {
        -113: 32,
        -222: 16,
        -310: 8,
        -363: 8,
        -410: 4,
    }


def test_error_numbers_and_texts_are_standard_ones() -> None:
    """github.com/j123b567/scpi-parser `libscpi/inc/scpi/error.h` @23d91ad; docs.rs scpi 0.4.3."""
    standard = {
        0: "No error",
        -100: "Command error",
        -102: "Syntax error",
        -104: "Data type error",
        -108: "Parameter not allowed",
        -109: "Missing parameter",
        -113: "Undefined header",
        -114: "Header suffix out of range",
        -161: "Invalid block data",
        -171: "Invalid expression",
        -200: "Execution error",
        -220: "Parameter error",
        -221: "Settings conflict",
        -222: "Data out of range",
        -224: "Illegal parameter value",
        -240: "Hardware error",
        -310: "System error",
        -330: "Self-test failed",
        -350: "Queue overflow",
        -363: "Input buffer overrun",
        -365: "Time out error",
    }
    assert standard == TEXTS


def test_error_reply_has_the_form_of_scpi_99() -> None:
    """`<number>,"<text>[;<detail>]"`, at most 255 characters (SCPI-99 volume 2, 21.8; from memory)."""
    talk = Talk()
    for line in ("FOO?", "*ESE 1e99", "MEAS:VOLT? 1,(@1:2:3)", "SCAN:WALK? 2,(@" + "9" * 300 + "),(@1)", 'X"Y'):
        talk.write(line.encode() + b"\n")
        talk.run(0.01)
        talk.line.to_host.clear()
        answer = talk.ask("SYST:ERR?")
        assert re.fullmatch(rb'-\d+,"[^"]{1,250}"\n', answer), answer


def test_keyword_rule_accepts_only_the_short_and_the_long_form() -> None:
    """`MEAS` or `MEASURE`, any case; `MEASU` is an error (docs.rs scpi 0.4.3; last clause from memory)."""
    talk = Talk()
    for keyword, known in (("MEAS", True), ("measure", True), ("MeAsUrE", True), ("MEASU", False), ("MEA", False)):
        talk.write(f"*CLS;{keyword}:VOLT? 1,(@1)\n".encode())
        talk.run(0.01)
        talk.line.to_host.clear()
        assert talk.ask("SYST:ERR?").startswith(b"-221," if known else b"-113,"), keyword
