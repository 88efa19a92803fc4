"""protocol.md, the firmware's tables and the vectors say the same."""

from __future__ import annotations

import json
import re
from pathlib import Path

from hwspec.firmware import app, block, calibrate, limits, measure, resistance, watch
from hwspec.firmware.errors import QUEUE_LENGTH, TEXTS
from hwspec.firmware.programme import SIZE
from hwspec.firmware.table import COMMANDS
from hwspec.firmware.version import PROTOCOL_MAJOR, PROTOCOL_MINOR

HWSPEC = Path(__file__).resolve().parents[3] / "hwspec"
PAGE = (HWSPEC / "protocol.md").read_text()


def queries_of_the_page() -> dict[str, tuple[str, str]]:
    """Header -> kind and needs, from the table of section 3."""
    rows = re.findall(r"^\| `([A-Za-z:]+\?) seq[^|]*` \| (\w) \| ([^|]+) \| [^|]+ \|$", PAGE, re.MULTILINE)
    return {header: (kind, needs) for header, kind, needs in rows}


def test_page_lists_exactly_the_product_queries_of_the_firmware() -> None:
    page = queries_of_the_page()
    mine = {notation: kind for notation, kind, *_ in COMMANDS if kind}
    assert {header: kind for header, (kind, _) in page.items()} == mine


def test_page_and_firmware_agree_on_who_needs_the_lease() -> None:
    page = queries_of_the_page()
    for notation, kind, _, _, needs in COMMANDS:
        if kind:
            assert ("L" in needs) == page[notation][1].startswith("L"), notation


def test_page_names_every_text_command() -> None:
    section = PAGE[PAGE.index("## 2.") : PAGE.index("## 3.")]
    for notation, kind, *_ in COMMANDS:
        if not kind:
            assert f"`{notation}" in section, notation


def test_page_explains_each_kind_of_reply() -> None:
    explained = set(re.findall(r"^### (.+?):", PAGE, re.MULTILINE))
    kinds = {kind for _, kind, *_ in COMMANDS if kind} | {"E"}
    single = {letter for heading in explained for letter in re.findall(r"\b[A-Z]\b", heading)}
    assert kinds - single <= {"C"} and "### C: calibration" in PAGE


def test_page_lists_the_error_numbers_of_the_firmware_with_their_texts() -> None:
    rows = re.findall(r"^\| −(\d+) \| ([^|]+) \|", PAGE, re.MULTILINE)
    listed = {-int(number): text.strip() for number, text in rows}
    unused = {-int(n) for n in re.findall(r"−(\d+)", PAGE[PAGE.index("−100, −200") :].split("\n")[0].split(" are ")[0])}
    assert listed == {number: text for number, text in TEXTS.items() if number and number not in unused}
    raised = {
        int(number)
        for path in (HWSPEC / "firmware").glob("*.py")
        for number in re.findall(r"ScpiError\((-\d+)", path.read_text())
    }
    assert raised <= set(listed)
    assert not raised & unused


def test_numbers_of_the_page_are_those_of_the_firmware() -> None:
    for sentence in (
        f"# Wire protocol, version {PROTOCOL_MAJOR}.{PROTOCOL_MINOR}",
        f"at most {app.LINE_MAX} bytes with the LF",
        f"dropped when nothing came for {app.LINE_GAP_MS} ms",
        f"length n of the body, at most {block.BODY_MAX} |",
        f"(20 to {block.BODY_MAX + block.HEAD + 4})",
        f"The queue holds {QUEUE_LENGTH};",
        f"of silence: {limits.LEASE_MIN_MS} to {limits.LEASE_MAX_MS}, or 0",
        f"({limits.WAIT_MIN_US} to {limits.WAIT_MAX_US} µs each)",
        f"Power-on: {limits.RELEASE_US} and {limits.FALL_US}.",
        f"At most {measure.VOLTAGE_CHANNELS_MAX} channels.",
        f"*samples* 1 to {resistance.SAMPLES_MAX}, default 2",
        f"at most {watch.EVENTS_MAX} events",
        f"events in this reply, at most {watch.EVENTS_A_REPLY} |",
        f"up to {watch.PATTERNS_MAX - 1} *coded* patterns",
        f"ZERO ({calibrate.PLUG_CHANNELS_MIN} to {calibrate.PLUG_CHANNELS_MAX} channels",
        f"at most {calibrate.BASELINE_CHANNELS_MAX} in *list*; beyond ±{limits.BASELINE_MOST_NA} nA −240",
        f"exceeds {limits.SLICE_ESTIMATE_MS} ms",
        f"may hold {SIZE} bytes",
        f"at most {limits.DRIVE_SLICE_MS} ms, arming included",
    ):
        assert sentence in PAGE, sentence


def test_vectors_hold_every_kind_of_reply() -> None:
    vectors = json.loads((HWSPEC / "vectors" / "exchanges.json").read_text())
    assert {vector["kind"] for vector in vectors} == {kind for _, kind, *_ in COMMANDS if kind} | {"E"}


def test_worked_example_shows_the_bytes_of_the_vectors() -> None:
    sync = json.loads((HWSPEC / "vectors" / "exchanges.json").read_text())[0]
    shown = re.search(r"< #40026, then (.+), then LF", PAGE)
    assert shown and f"> {sync['request']}\n" in PAGE
    assert bytes.fromhex(shown[1]) == bytes.fromhex(sync["reply"])[6:-1]
