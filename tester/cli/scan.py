"""`scan`: a full scan, printed or saved."""

from __future__ import annotations

import argparse
import json
from datetime import UTC, datetime
from typing import Any

from tester.board.client import Board
from tester.cli.common import MovedLeads, left_out, opened_board, read_leads, refuse_uncautioned
from tester.cli.output import Progress, say, show, show_json
from tester.job.files import write_whole
from tester.job.measure import reduced, take_scan
from tester.job.scanfile import scan_object
from tester.words import reading_lines


def run(options: argparse.Namespace) -> int:
    """Scan what is plugged in; print every circuit, save the scan where asked."""
    rounds = read_leads(options.leads)
    progress = Progress("driving channel")
    try:
        with opened_board(options) as board:
            refuse_uncautioned(board, options.accept_cautions)
            run_ = take_scan(
                board,
                reduced(rounds, left_out(options, rounds)),
                progress=progress,
                next_round=MovedLeads(board, options.leads),
            )
            about = about_board(board) | {"at": datetime.now(UTC).isoformat(timespec="seconds")}
    finally:
        progress.end()
    result = scan_object(run_, about)
    if options.save:
        write_whole(options.save, json.dumps(result, ensure_ascii=False, indent=1) + "\n")
        say(f"saved: {options.save}")
    if options.json:
        show_json(result)
    else:
        for line in reading_lines(run_.measured):
            show(line)
    return 0


def about_board(board: Board) -> dict[str, Any]:
    """The board as it stands in scans and records."""
    info = board.info
    return {
        "board": {
            "model": info.model,
            "serial": info.serial,
            "firmware": info.firmware,
            "protocol": info.protocol,
            "build": info.build,
            "channels": info.channels,
            "can": sorted(info.can),
            "limits": info.limits,
        },
    }
