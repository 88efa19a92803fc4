"""The virtual board as a process: port, commands, exit status, both firmwares, the golden vectors through its port."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
import serial

from hwspec.virtual.micropython import find_micropython
from tests.hwspec.virtual.served import HARNESS, LEADS, ROOT, Served, ask, lease
from tests.support.tools import need

VECTORS = ROOT / "hwspec" / "vectors"


@pytest.fixture(params=["cpython", "micropython"])
def board(request, tmp_path):
    if request.param == "micropython":
        need("MicroPython", find_micropython())
    with Served(tmp_path, "--firmware", request.param) as served:
        yield served


@pytest.fixture
def cpython(tmp_path):
    with Served(tmp_path) as served:
        yield served


def test_the_first_line_names_the_port_and_the_board_ends_with_its_input(board):
    assert list(board.first) == ["port"]
    assert Path(board.port).is_char_device()
    assert board.end() == (0, "")


def test_the_port_may_be_closed_and_opened_again(board):
    for _ in range(3):
        with board.open() as port:
            assert ask(port, "*IDN?").startswith(b"Loomwright,Scanboard Full,")


def test_a_second_opening_is_refused_and_leaves_the_first_unharmed(cpython):
    with cpython.open() as port:
        with pytest.raises(serial.SerialException):
            cpython.open()
        assert ask(port, "SYST:VERS?") == b"1999.0"


def test_the_golden_dialogue_is_answered_through_the_port(board):
    with board.open() as port:
        for turn in json.loads((VECTORS / "dialogue.json").read_text()):
            if turn["answer"] is None:
                port.write(turn["send"].encode() + b"\n")
            else:
                assert ask(port, turn["send"]) == turn["answer"].encode(), turn["send"]


def test_golden_requests_and_channel_lists_are_read_through_the_port_as_the_vectors_say(cpython):
    with cpython.open() as port:
        ask(port, "SYST:SYNC? 1,77")
        for vector in json.loads((VECTORS / "channel_lists.json").read_text()):
            ask(port, "*CLS;*OPC?")
            payload = ask(port, f"DIAG:DRIV? 5,{vector['text']}")
            assert payload[1:2] == b"E"
            number = int.from_bytes(payload[16:18], "little", signed=True)
            wanted = {-221, -222} if "channels" in vector else {vector["error"]}
            assert number in wanted, vector["text"]


def test_an_exchange_of_the_vectors_sent_through_the_port_gets_a_reply_of_its_kind_sequence_and_request_check(board):
    import zlib

    with board.open() as port:
        for vector in json.loads((VECTORS / "exchanges.json").read_text()):
            ask(port, f"SYST:SYNC? 0,{vector['nonce']}")
            payload = ask(port, vector["request"])
            check = zlib.crc32(vector["nonce"].to_bytes(4, "little") + vector["request"].encode())
            assert payload[1:2] in (vector["kind"].encode(), b"E")
            assert int.from_bytes(payload[2:4], "little") == vector["seq"]
            assert int.from_bytes(payload[4:8], "little") == check
            assert zlib.crc32(payload[:-4]) == int.from_bytes(payload[-4:], "little")


def test_probe_harness_and_leads_change_while_it_runs(cpython, tmp_path):
    def low_beside_9(port):
        payload = ask(port, "SCAN:WALK? 6,(@9),(@1:16)")
        row = int.from_bytes(payload[20:22], "little")
        return {c + 1 for c in range(16) if row >> c & 1} - {9}

    (tmp_path / "other.toml").write_text('format = 1\n[[link]]\na = "D-2"\nb = "H-1"\n')
    (tmp_path / "moved.toml").write_text(LEADS.replace('1 = "D-1"', '3 = "D-1"', 1))
    with cpython.open() as port:
        lease(port)
        assert low_beside_9(port) == {1}
        assert cpython.tell("touch H-1 H-2") == {"done": "touch"}
        assert low_beside_9(port) == {1, 2, 10, 11}
        assert cpython.tell("release") == {"done": "release"}
        assert cpython.tell(f"leads {tmp_path / 'moved.toml'}") == {"done": "leads"}
        assert low_beside_9(port) == {3}
        assert cpython.tell(f"harness {tmp_path / 'other.toml'}") == {"done": "harness"}
        assert low_beside_9(port) == {2}


def test_a_touch_without_a_second_cavity_pulls_to_the_probe_channel_or_to_ground(tmp_path):
    def lows(port):
        payload = ask(port, "SCAN:PATT? 6,(@1:16),(@16)")
        row = int.from_bytes(payload[20:22], "little")
        return {c + 1 for c in range(16) if row >> c & 1}

    with Served(tmp_path) as board, board.open() as port:
        lease(port)
        board.tell("touch D-2")
        assert lows(port) == {2, 10, 11, 16}
    with Served(tmp_path, leads=LEADS.replace("[channels]", "probe = 16\n[channels]")) as board, board.open() as port:
        lease(port)
        board.tell("touch D-2")
        assert lows(port) == {2, 10, 11, 16}
        board.tell("release")
        assert lows(port) == {16}


def test_mistakes_on_standard_input_are_answered_and_harm_nothing(cpython, tmp_path):
    for command, words in [
        ("frobnicate", "is not a command; known are"),
        ("touch elsewhere", "is not a cavity"),
        (f"harness {tmp_path / 'none.toml'}", "no such file"),
        ('touch "D-1', "quotation"),
    ]:
        assert words in cpython.tell(command)["error"]
    with cpython.open() as port:
        assert ask(port, "*OPC?") == b"1"


def test_unplugged_the_port_vanishes_everything_is_released_and_replugged_it_starts_afresh(board):
    with board.open() as port:
        lease(port)
        assert board.tell("unplug") == {"done": "unplug"}
        with pytest.raises(serial.SerialException):
            port.read(1)
    state = board.tell("state")
    assert (state["armed"], state["powered"], state["driven"]) == (False, False, [])
    board.port = board.tell("replug")["port"]
    assert board.line() == {"done": "replug"}
    with board.open() as port:
        assert ask(port, "*ESR?") == b"128"


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_asked_to_end_by_a_signal_it_leaves_nothing_behind(tmp_path, number):
    with Served(tmp_path, "--link", str(tmp_path / "port")) as board:
        board.tell("state")
        board.process.send_signal(number)
        assert board.process.wait(5) == 0
        assert board.process.stderr is not None
        assert board.process.stderr.read() == b""
    assert not os.path.lexists(tmp_path / "port")


def test_a_link_keeps_the_ports_name_over_unplugging(tmp_path):
    with Served(tmp_path, "--link", str(tmp_path / "port")) as board:
        assert board.port == str(tmp_path / "port")
        board.tell("unplug")
        board.tell("replug")
        board.line()
        with board.open() as port:
            assert ask(port, "*OPC?") == b"1"
        board.end()
        assert not os.path.lexists(tmp_path / "port")


def test_a_hung_processor_loses_its_expanders_within_156_ms_and_a_restart_brings_it_back(tmp_path):
    with Served(tmp_path, "--trace", str(tmp_path / "trace")) as board, board.open() as port:
        lease(port)
        assert board.tell("state")["armed"]
        board.tell("hang")
        hung = board.tell("state")["us"]
        time.sleep(0.4)
        assert not board.tell("state")["armed"]
        board.tell("restart")
        assert ask(port, "*OPC?") == b"1"
        board.end()
    events = [json.loads(line) for line in (tmp_path / "trace").read_text().splitlines()]
    dropped = [event["ns"] / 1000 for event in events if event["kind"] == "reset" and event["state"] == "low"]
    assert 0 < dropped[-1] - hung + 2000 < 158_000


@pytest.mark.parametrize(
    ("options", "harness", "leads", "words"),
    [
        ((), "format = 1\n[[lnk]]", LEADS, 'unknown key "lnk"; did you mean "link"?'),
        (
            (),
            HARNESS,
            "format = 1\n[channels]\n400 = 'D-1'",
            '"400" is not a channel; this board has channels 1 to 256',
        ),
        (("--build", "starter"), HARNESS, "format = 1\n[channels]\n21 = 'D-1'", "this board has channels 1 to 20"),
        (("--cards", "9"), HARNESS, LEADS, "--cards 9: a board has 1 to 4 cards"),
        (("--wired-by", "/nowhere.toml"), HARNESS, LEADS, "/nowhere.toml: cannot be read: no such file"),
        (("--trace", "/nowhere/trace"), HARNESS, LEADS, "/nowhere/trace: cannot be written: no such file"),
        (("--frobnicate",), HARNESS, LEADS, "unrecognized arguments: --frobnicate"),
    ],
)
def test_a_bad_file_or_option_is_one_message_and_status_3(tmp_path, options, harness, leads, words):
    board = Served(tmp_path, *options, harness=harness, leads=leads)
    assert board.first == {}
    status, talk = board.end()
    assert status == 3
    assert words in talk
    assert "Traceback" not in talk


def test_wired_by_another_lead_map_a_wrong_lead_set_is_rehearsed(tmp_path):
    (tmp_path / "wrong.toml").write_text(LEADS.replace('9 = "H-1"', '12 = "H-1"'))
    with Served(tmp_path, "--wired-by", str(tmp_path / "wrong.toml")) as board, board.open() as port:
        lease(port)
        payload = ask(port, "SCAN:WALK? 6,(@1),(@1:16)")
        assert int.from_bytes(payload[20:22], "little") == 1 | 1 << 11


def test_an_electrical_fault_ends_the_board_with_a_message_and_status_4(tmp_path):
    """The firmware never causes one, so this board gets a processor that does: HAEN is not set, a register is read."""
    script = (
        f"import sys; sys.argv[1:] = ['--harness', r'{tmp_path}/harness.toml', '--leads', r'{tmp_path}/leads.toml']\n"
        "from hwspec.firmware.app import App\n"
        "def poll(self):\n"
        "    [(self.hal.wait_us(500), self.hal.arm(n & 1)) for n in range(100)]\n"
        "    self.hal.spi(0, bytes([0x41, 0x12, 0, 0]), bytearray(4))\n"
        "App.poll = poll\n"
        "from hwspec.virtual.__main__ import main\n"
        "sys.exit(main())\n"
    )
    (tmp_path / "harness.toml").write_text(HARNESS)
    (tmp_path / "leads.toml").write_text(LEADS)
    done = subprocess.run(
        [sys.executable, "-c", script],
        cwd=ROOT,
        stdin=subprocess.PIPE,
        capture_output=True,
        text=True,
        check=False,
        timeout=20,
    )
    assert done.returncode == 4
    assert '"fault": "AddressModeUnset"' in done.stdout
    assert "electrical fault: AddressModeUnset: register 0x12 read" in done.stderr


HOST = """
import sys, time
sys.path.insert(0, {root!r})
import serial
from tests.hwspec.virtual.served import ask, lease
port = serial.Serial(sys.argv[1], timeout=5, exclusive=True)
lease(port)
print("driving", flush=True)
while True:
    ask(port, "SCAN:WALK? 6,(@1:64),(@1:64)")
"""


def test_after_kill_9_of_the_driving_host_every_channel_is_released_within_the_lease_and_156_ms(tmp_path):
    trace = tmp_path / "trace"
    with Served(tmp_path, "--trace", str(trace)) as served:
        host = subprocess.Popen(
            [sys.executable, "-c", HOST.format(root=str(ROOT)), served.port], stdout=subprocess.PIPE, cwd=ROOT
        )
        assert host.stdout is not None
        host.stdout.readline()
        time.sleep(0.3)
        host.send_signal(signal.SIGKILL)
        host.wait()
        host.stdout.close()
        killed = served.tell("state")["us"]
        time.sleep(1.2)
        after = served.tell("state")
        served.end()
    assert (after["driven"], after["armed"]) == ([], False)
    events = [json.loads(line) for line in trace.read_text().splitlines()]
    dropped = [event["ns"] for event in events if event["kind"] == "reset" and event["state"] == "low"]
    driven: dict[int, str] = {}
    for event in events:
        if event["kind"] == "pin":
            driven[event["what"]] = event["state"]
            last = event["ns"]
    assert set(driven.values()) == {"z"}
    assert len(driven) == 64
    # the command that was running when the host died may still end: at most one slice of 250 ms
    limit_us = 250_000 + 500_000 + 156_000
    assert last / 1000 - killed < limit_us
    assert dropped[-1] / 1000 - killed < limit_us


def test_the_firmware_stores_what_it_is_told_to_keep_in_a_folder(tmp_path):
    from hwspec.virtual.store import FolderStore

    store = FolderStore(tmp_path / "store")
    assert store.get("cal") is None
    store["cal"] = b"\x01\x02"
    store["cal"] = b"\x03"
    assert (store.get("cal"), list(store), len(store)) == (b"\x03", ["cal"], 1)
    del store["cal"]
    assert "cal" not in store


def test_nothing_outside_the_standard_library_and_hwspec_is_loaded():
    script = (
        "import sys, hwspec.virtual.__main__, hwspec.firmware.app\n"
        "print([m for m in sys.modules if m.split('.')[0] in ('tester', 'numpy', 'serial', 'pydantic', 'tomlkit')])"
    )
    done = subprocess.run([sys.executable, "-c", script], cwd=ROOT, capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
    assert shutil.which(sys.executable)
