"""protocol.md, the firmware's tables and the vectors say the same."""

from __future__ import annotations

import json
import math
import re
import tomllib
from pathlib import Path

from hwspec.firmware import app, block, calibrate, installer, limits, measure, parser, resistance, selftest, watch
from hwspec.firmware.errors import QUEUE_LENGTH, TEXTS
from hwspec.firmware.guard import _HALF_US, _LOST_US
from hwspec.firmware.programme import COST_READ_US, COST_WAIT_US, COST_WRITE_US, SIZE
from hwspec.firmware.scan import COST_BIT_US, COST_BYTE_US
from hwspec.firmware.table import COMMANDS
from hwspec.firmware.version import PROTOCOL_MAJOR, PROTOCOL_MINOR
from tester.board.client import UPDATE_S
from tester.board.exchange import BYTES_PER_S, REPLY_S
from tester.board.ports import USB_IDS
from tester.board.session import LEASE_MS

HWSPEC = Path(__file__).resolve().parents[3] / "hwspec"
PAGE = (HWSPEC / "protocol.md").read_text()
SHARED = tomllib.loads((HWSPEC / "limits.toml").read_text())["limits"]


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


def test_times_of_the_page_are_computed_from_the_firmware_and_the_limits() -> None:
    slices = f"{limits.DRIVE_SLICE_MS} + {limits.LEASE_MAX_MS} ms by firmware"
    longest = block.PREFIX + block.HEAD + block.BODY_MAX + 4 + 1
    arming = limits.ARM_MS + 10
    for sentence in (
        f"| Longest reply at 115200 baud | {math.ceil(longest / BYTES_PER_S * 1000)} ms |",
        f"| {REPLY_S * 1000:.0f} ms, then ask again |",
        f"UPDate queries (flash is slow) | up to {UPDATE_S / 3:.0f} s each |",
        f"| Lease | {limits.LEASE_MIN_MS} to {limits.LEASE_MAX_MS} ms of silence",
        f"{limits.DEADMAN_MIN_MS} to {SHARED['deadman_max_ms']['value']} ms later |",
        f"at most {slices}; {SHARED['deadman_max_ms']['value']} ms after the last pump edge by hardware",
        f"toggles every {_HALF_US / 1000:g} to {1000 / (2 * SHARED['pump_min_hz']['value']):g} ms",
        f"a gap of {_LOST_US // 1000} ms counts as a pause",
        f"the pump paused for more than {_LOST_US // 1000} ms while it measured",
        f"`OUTPut:OFF?` | {arming} ms more for arming |",
        f"arms the board (up to {arming} ms)",
        f"arms again, about {limits.ARM_MS} ms",
        f"| Unfinished line dropped | {app.LINE_GAP_MS} ms |",
        f"`SYSTem:LEASe? seq,nonce,{LEASE_MS}`",
        f"*release* (at most {limits.RELEASE_LONG_US} µs here)",
    ):
        assert sentence in PAGE, sentence


def test_estimates_of_the_page_are_sums_of_the_firmware_s_costs() -> None:
    """A channel of WALK: two writes to drive and let go, two more for its latch, two waits, one read of each chip."""
    write, read, wait = COST_WRITE_US, COST_READ_US, COST_WAIT_US
    for sentence in (
        f"cost of one row: {COST_BYTE_US} for each byte of it that holds eight channels",
        f"else {COST_BIT_US} for each channel of that byte",
        f"ndrive × ({4 * write + 2 * wait} + {read} c + release + fall + r)",
        f"{2 * wait} + {6 * write} d + {read} c + release + fall + r",
        f"DRIVer: n × ({4 * write + 2 * read + 2 * wait} + release + fall)",
    ):
        assert sentence in PAGE, sentence


def test_bounds_and_measuring_figures_of_the_page_are_those_of_the_firmware() -> None:
    for sentence in (
        f"Beyond ±{parser.NUMBER_MOST}: −222",
        f"at most {parser.CHANNELS_MAX} channels",
        f"at most {installer._FILES_MOST} files of {installer._SIZE_MOST} bytes, names of {installer._NAME_MOST} char",
        f"6 × n, n at most {selftest._MOST} ",
        f"reads under −{-limits.VOLTAGE_LOW_MV} mV or over +{limits.FLOATING_HIGH_MV} mV with the rail low",
        f"less than {limits.HELD_DIFFERENCE_MV} mV",
        f"reads over +{limits.VOLTAGE_HIGH_MV} mV with the rail low",
        f"Ix = 1.00097 I − {limits.PULLUP_CURRENT_NA / 1000:.1f} µA",
        f"carries {SHARED['point_to_point_ma']['value']} mA for *release*",
        f"at most {SHARED['point_to_ground_ma']['value']} mA (limits)",
        f"milliohm of the {limits.REFERENCE_CELL_MOHM // 1000} Ω cell",
    ):
        assert sentence in PAGE, sentence
    piece = re.search(r"Base64 of at most (\d+) bytes a query", PAGE)
    assert piece and 4 * math.ceil(int(piece[1]) / 3) + installer._NAME_MOST + 40 < app.LINE_MAX


def test_notes_on_ports_name_the_times_and_the_port_of_the_board() -> None:
    ports = (HWSPEC / "ports.md").read_text()
    firmware, hardware = limits.DRIVE_SLICE_MS + limits.LEASE_MAX_MS, SHARED["deadman_max_ms"]["value"]
    words = f"at most {firmware} ms later by its firmware and {hardware} ms after the last pump edge by hardware"
    assert words in " ".join(ports.split())
    numbers = re.search(r'idVendor\}=="(\w+)", ATTRS\{idProduct\}=="(\w+)"', ports)
    assert numbers and (int(numbers[1], 16), int(numbers[2], 16)) in USB_IDS


def test_vectors_hold_every_kind_of_reply() -> None:
    vectors = json.loads((HWSPEC / "vectors" / "exchanges.json").read_text())
    assert {vector["kind"] for vector in vectors} == {kind for _, kind, *_ in COMMANDS if kind} | {"E"}


def test_worked_example_shows_the_bytes_of_the_vectors() -> None:
    sync = json.loads((HWSPEC / "vectors" / "exchanges.json").read_text())[0]
    shown = re.search(r"< #40026, then (.+), then LF", PAGE)
    assert shown and f"> {sync['request']}\n" in PAGE
    assert bytes.fromhex(shown[1]) == bytes.fromhex(sync["reply"])[6:-1]
