"""`board`: list, info, check, calibrate, install, virtual."""

from __future__ import annotations

import argparse
import datetime
import json
import sys
from dataclasses import asdict
from pathlib import Path

from tester.board.bench_steps import Dialog
from tester.board.calibrate import calibrate as calibrate_board
from tester.board.check import check as check_board
from tester.board.check import passed
from tester.board.client import Board
from tester.board.install import install as install_firmware
from tester.board.opening import VIRTUAL, open_board
from tester.board.ports import ask_port, list_ports
from tester.board.virtual import VirtualBoard
from tester.cli.common import board_address
from tester.cli.output import Progress, say, show, show_json
from tester.cli.scan import about_board
from tester.errors import BoardError


def list_boards(options: argparse.Namespace) -> int:
    """Serial ports of this machine; those that look like a board are asked."""
    rows = []
    for port in list_ports():
        answer = ask_port(port) if port.likely and not port.holders else None
        rows.append(
            {
                "port": port.path,
                "description": port.description,
                "board": answer.info.model if answer and answer.info else "",
                "serial": answer.info.serial if answer and answer.info else port.usb_serial,
                "in_use_by": list(port.holders),
                "problem": answer.error.message if answer and answer.error else "",
            }
        )
    if options.json:
        show_json({"ports": rows})
        return 0
    if not rows:
        show("no serial port on this machine")
        say("Plug the board in with a data cable, or try: loomwright demo")
    for row in rows:
        state = row["board"] or (f"in use by {', '.join(row['in_use_by'])}" if row["in_use_by"] else row["problem"])
        show(f"{row['port']}  {state or 'not asked: does not look like a board'}  {row['description']}".rstrip())
    return 0


def _open(options: argparse.Namespace) -> Board:
    address = board_address(options.board)
    leads = Path(options.leads) if address.startswith(VIRTUAL) and options.leads else None
    return open_board(address, leads)


def info(options: argparse.Namespace) -> int:
    """What a board is and can do."""
    with _open(options) as board:
        about = about_board(board)["board"]
    if options.json:
        show_json(about)
        return 0
    show(f"{about['model']}, serial {about['serial']}, {about['channels']} channels")
    show(f"firmware {about['firmware']}, protocol {about['protocol']}, limits {about['limits'] or 'not stated'}")
    show(f"can do: {', '.join(about['can'])}")
    return 0


class _Terminal:
    """The person, at a terminal: Enter for done, s to leave a part out."""

    def __init__(self) -> None:
        self._progress: dict[str, Progress] = {}

    def ask(self, what: str) -> bool:
        self._end()
        if not sys.stdin.isatty():
            say(f"{what} (left out: nobody is here to do it)")
            return False
        say(f"{what}\nEnter when it is done, s and Enter to leave it out: ")
        said = sys.stdin.readline()
        return bool(said) and not said.strip().lower().startswith("s")

    def yes(self, question: str) -> bool:
        self._end()
        if not sys.stdin.isatty():
            return False
        say(f"{question} (y/n)")
        return sys.stdin.readline().strip().lower().startswith("y")

    def number(self, what: str) -> float | None:
        self._end()
        while sys.stdin.isatty():
            say(f"{what} (Enter alone leaves it out)")
            text = sys.stdin.readline().strip().replace(",", ".")
            if not text:
                return None
            try:
                value = float(text)
            except ValueError:
                say(f"{text!r} is not a number")
                continue
            if 0 < value < 1e6:
                return value
            say("write a value above 0")
        return None

    def say(self, text: str, done: int, total: int) -> None:
        if total:
            self._progress.setdefault(text, Progress(text))(done, total)
        else:
            self._end()
            say(text)

    def _end(self) -> None:
        for progress in self._progress.values():
            progress.end()
        self._progress.clear()


def check(options: argparse.Namespace) -> int:
    """The guided check: empty board, shorting plug, known resistor. Status 4 when the board is at fault."""
    person = _Terminal()
    with _open(options) as board:
        findings = check_board(board, Dialog(person.ask, person.number, person.say))
    good = passed(findings)
    if options.json:
        show_json({"passed": good, "findings": [asdict(one) for one in findings]})
    else:
        words = {True: "good", False: "AT FAULT", None: "not done"}
        for one in findings:
            show(f"{one.name}: {words[one.passed]}: {'; '.join(one.says)}")
    return 0 if good else (4 if any(one.passed is False for one in findings) else 2)


def calibrate(options: argparse.Namespace) -> int:
    """The guided calibration, stored on the board with today's date."""
    person = _Terminal()
    with _open(options) as board:
        stored = calibrate_board(board, Dialog(person.ask, person.number, person.say), datetime.date.today())
    if options.json:
        show_json(asdict(stored))
    else:
        show(stored.says)
    return 0


def install(options: argparse.Namespace) -> int:
    """Install the firmware that travels with this program; goes on after a break."""
    address = board_address(options.board)
    if address.startswith(VIRTUAL):
        raise BoardError(
            "a virtual board has its firmware already", "Name the serial port of a real one.", code="install"
        )
    person = _Terminal()
    progress = Progress("sent")
    try:
        done = install_firmware(
            address, ask=(lambda question: True) if options.yes else person.yes, progress=progress
        )  # fmt: skip
    finally:
        progress.end()
    if options.json:
        show_json(asdict(done))
    else:
        resumed = ", gone on from a broken attempt" if done.resumed else ""
        show(
            f"{done.address}: firmware {done.firmware}, {done.files} files, "
            f"{done.sent} of {done.size} bytes sent{resumed}"
        )
    return 0


def virtual(options: argparse.Namespace) -> int:
    """Serve the virtual board until standard input closes. The first line printed names the port."""
    extra: tuple[str, ...] = ("--firmware", options.firmware, "--build", options.build)
    if options.trace:
        extra += ("--trace", str(Path(options.trace).absolute()))
    with VirtualBoard(Path(options.harness), Path(options.leads), extra) as board:
        if options.json:
            sys.stdout.write(json.dumps({"port": board.port}) + "\n")
        else:
            show(board.port)
            say("serving; end with Ctrl-D")
        sys.stdout.flush()
        for line in sys.stdin.buffer:
            words = line.decode("utf-8", "replace").split()
            if words:
                board.tell(*words)
    return 0
