"""`board`: list, info, virtual."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path

from tester.board.opening import VIRTUAL, open_board
from tester.board.ports import ask_port, list_ports
from tester.board.virtual import VirtualBoard
from tester.cli.common import board_address
from tester.cli.output import say, show, show_json
from tester.cli.scan import about_board


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


def info(options: argparse.Namespace) -> int:
    """What a board is and can do."""
    address = board_address(options.board)
    leads = options.leads if address.startswith(VIRTUAL) else None
    with open_board(address, Path(leads) if leads else None) as board:
        about = about_board(board)["board"]
    if options.json:
        show_json(about)
        return 0
    show(f"{about['model']}, serial {about['serial']}, {about['channels']} channels")
    show(f"firmware {about['firmware']}, protocol {about['protocol']}, limits {about['limits'] or 'not stated'}")
    show(f"can do: {', '.join(about['can'])}")
    return 0


def virtual(options: argparse.Namespace) -> int:
    """Serve the virtual board until standard input closes. The first line printed names the port."""
    extra: tuple[str, ...] = ("--firmware", options.firmware)
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
            board.tell(line.decode("utf-8", "replace").strip())
    return 0
