"""The host codec against the golden vectors that firmware and virtual board are tested against too (hwspec/vectors)."""

import json
import re
from pathlib import Path
from typing import Any

import pytest

from tester.board import client, codec, requests
from tester.board.frames import StateFrame
from tester.board.reader import Block, ReplyReader
from tester.shipped import shipped


def vectors(name: str) -> list[dict[str, Any]]:
    return json.loads(shipped("hwspec", "vectors", f"{name}.json").read_text(encoding="utf-8"))


def events(data: bytes, check: Any) -> list[object]:
    reader = ReplyReader(check)
    reader.block_most = 2084
    reader.receive(data)
    found = []
    while True:
        event = reader.next_event() or reader.give_up()
        if event is None:
            return found
        found.append(event)


def plain(value: object) -> object:
    """Tuples as lists and records as their values, as JSON has them."""
    if isinstance(value, (tuple, list)):
        return [plain(item) for item in value]
    return [plain(item) for item in vars(value).values()] if hasattr(value, "__dict__") else value


@pytest.mark.parametrize("vector", vectors("exchanges"), ids=lambda vector: vector["name"])
def test_each_exchange_is_read_as_the_vectors_say(vector):
    unit = vector["request"].encode("ascii")
    (block,) = events(bytes.fromhex(vector["reply"]), codec.check)
    assert isinstance(block, Block)
    head = codec.head(block.payload)
    assert (head.kind, head.seq, head.ms, head.state) == tuple(vector[key] for key in ("kind", "seq", "ms", "state"))
    assert head.body.hex() == vector["body"]
    frame = codec.decode(block.payload, unit, vector["nonce"])
    values = dict(vector["values"])
    if isinstance(frame, StateFrame):
        assert dict(frame.fields) == dict(part.split("=") for part in values.pop("text").split(";"))
    for name, value in values.items():
        got = getattr(frame, name)
        if name in ("read", "others", "patterns") and isinstance(value, int) and not isinstance(got, int):
            got = len(got)
        assert plain(got) == value, name


@pytest.mark.parametrize("vector", vectors("damaged"), ids=lambda vector: vector["name"])
def test_each_damaged_reply_is_no_answer_and_each_hidden_one_is_found(vector):
    request = requests.Request(vector["seq"], vector["request"].encode("ascii"))
    believed = []
    for event in events(bytes.fromhex(vector["reply"]), codec.check):
        if isinstance(event, Block):
            try:
                if codec.answers(codec.head(event.payload), request, vector["nonce"]):
                    believed.append(event.payload.hex())
            except codec.Damaged as damaged:
                assert vector["wrong"] == "version", damaged
    assert believed == ([vector["payload"]] if vector["wrong"] is None else [])


@pytest.mark.parametrize("vector", vectors("blocks"), ids=lambda vector: vector["name"])
def test_each_block_is_read_or_waited_for(vector):
    reader = ReplyReader()
    reader.receive(bytes.fromhex(vector["bytes"]))
    event = reader.next_event()
    assert event == (None if vector["payload"] is None else Block(bytes.fromhex(vector["payload"])))


def test_check_sums_and_channel_lists():
    for vector in vectors("crc"):
        assert requests.crc32(bytes.fromhex(vector["data"])) == vector["crc"]
    for vector in vectors("channel_lists"):
        if "channels" in vector:
            assert list(requests.read_channel_list(vector["text"])) == vector["channels"]
        else:
            with pytest.raises(ValueError, match="channel"):
                requests.read_channel_list(vector["text"])


def test_every_query_that_this_program_sends_stands_on_the_protocol_page():
    written = {
        found
        for path in Path(client.__file__).parent.glob("*.py")
        for found in re.findall(r'"([A-Z]{3,4}:[A-Z]{3,4}\?)"', path.read_text(encoding="utf-8"))
    }
    assert len(written) > 20
    page = shipped("hwspec", "protocol.md").read_text(encoding="utf-8")
    normative = {
        "".join(letter for letter in header if not letter.islower())
        for header in re.findall(r"`([A-Z]{3,}[A-Za-z]*:[A-Z]+[a-z]*\?)", page)
    }
    assert written <= normative
