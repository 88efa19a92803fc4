"""The firmware against the golden vectors."""

from __future__ import annotations

import json
from binascii import crc32
from pathlib import Path
from typing import Any

import pytest

from hwspec.firmware.block import Reply, unit_crc
from hwspec.firmware.commands import Commands, arguments
from hwspec.firmware.errors import ScpiError
from hwspec.firmware.parser import channel_list, split_line, split_unit
from hwspec.firmware.table import COMMANDS
from hwspec.vectors.build import FILES, text
from tests.support.virtual import VirtualBench

VECTORS = Path(__file__).resolve().parents[3] / "hwspec" / "vectors"


def vectors(name: str) -> list[dict[str, Any]]:
    loaded: list[dict[str, Any]] = json.loads((VECTORS / name).read_text())
    return loaded


@pytest.mark.parametrize("name", sorted(FILES))
def test_committed_vectors_are_what_their_source_builds(name: str) -> None:
    assert (VECTORS / name).read_text() == text(name)


@pytest.mark.parametrize("vector", vectors("crc.json"), ids=lambda v: v["source"])
def test_check_sum_equals_the_published_one(vector: dict[str, Any]) -> None:
    """CRC-32/ISO-HDLC check value 0xCBF43926: docs.rs wire-codec 1.2.0 `crc32`."""
    assert crc32(bytes.fromhex(vector["data"])) & 0xFFFFFFFF == vector["crc"]


@pytest.mark.parametrize("vector", vectors("exchanges.json"), ids=lambda v: v["name"])
def test_reply_is_framed_as_the_vector_says(vector: dict[str, Any]) -> None:
    reply = Reply()
    reply.start()
    reply.raw(bytes.fromhex(vector["body"]))
    crc = unit_crc(vector["nonce"], vector["request"].encode())
    framed = reply.finish(ord(vector["kind"]), vector["seq"], crc, vector["ms"], vector["state"])
    assert bytes(framed) + b"\n" == bytes.fromhex(vector["reply"])


@pytest.mark.parametrize("vector", vectors("channel_lists.json"), ids=lambda v: v["text"])
def test_channel_list_means_what_the_vector_says(vector: dict[str, Any]) -> None:
    if "error" in vector:
        with pytest.raises(ScpiError) as failed:
            channel_list(vector["text"].encode())
        assert failed.value.number == vector["error"]
    else:
        assert channel_list(vector["text"].encode()) == vector["channels"]


def commands() -> Commands:
    bench = VirtualBench()
    found: Commands = bench.app.commands
    return found


def understood(known: Commands, line: bytes) -> tuple[list[tuple[Any, list[Any]]], int]:
    """Units of a line as (what its header stands for, parameters), and the error that ended it."""
    units: list[tuple[Any, list[Any]]] = []
    branch = ""
    try:
        for unit in split_line(line, 0x3B):
            if not unit:
                continue
            header, raw = split_unit(unit)
            found, branch = known.headers.find(header, branch)
            signature = ("i" if COMMANDS[found][1] else "") + COMMANDS[found][2]
            units.append((found, arguments(signature, raw)))
    except ScpiError as error:
        return units, error.number
    return units, 0


@pytest.mark.parametrize("vector", vectors("requests.json"), ids=lambda v: v["line"] or "empty")
def test_line_is_understood_as_the_vector_says(vector: dict[str, Any]) -> None:
    known = commands()
    units, error = understood(known, vector["line"].encode("latin-1"))
    wanted = [(known.headers.find(u["header"], "")[0], u["parameters"]) for u in vector["units"]]
    assert (units, error) == (wanted, vector["error"])


def test_every_exchange_of_the_vectors_is_a_request_that_the_firmware_knows() -> None:
    known = commands()
    for vector in vectors("exchanges.json"):
        units, error = understood(known, vector["request"].encode())
        assert error == 0, vector["request"]
        if vector["kind"] != "E":
            assert COMMANDS[units[0][0]][1] == vector["kind"], vector["request"]


def test_conversation_with_a_fresh_board_goes_as_the_vectors_say() -> None:
    bench = VirtualBench()
    for turn in vectors("dialogue.json"):
        bench.write(turn["send"].encode() + b"\n")
        bench.run(0.01)
        heard = bytes(bench.line.to_host)
        bench.line.to_host.clear()
        assert heard == (b"" if turn["answer"] is None else turn["answer"].encode() + b"\n"), turn["send"]
