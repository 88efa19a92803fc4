"""`wiggle` and `find`: the harness moved, and the probe touched, while the board looks."""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable
from dataclasses import asdict

from tester.board.client import Board
from tester.board.recording import Recorder
from tester.cli.common import (
    MovedLeads,
    left_out,
    open_log,
    opened_board,
    read_leads,
    refuse_to_drive,
    refuse_uncautioned,
)
from tester.cli.output import Progress, ring, say, show, show_json
from tester.cli.scan import about_board
from tester.errors import InputError
from tester.harness.leads import LeadMap
from tester.harness.reading import Measured
from tester.job.files import read_text
from tester.job.job import AS_LEFT, Job
from tester.job.measure import reduced, take_scan
from tester.job.scanfile import load_scan
from tester.job.stored import watch_object, watch_words
from tester.job.touch import Touch
from tester.job.wiggle import watch
from tester.judge import Dropout, WatchResult
from tester.words import listed
from tester.words.changes import dropout_line


def wiggle(options: argparse.Namespace) -> int:
    """Scan, watch, tell; status 1 when something dropped out."""
    if not options.resume and not options.leads:
        raise InputError("wiggle needs --leads, or --resume RECORD", "See: loomwright wiggle --help")
    if options.resume:
        return _wiggle_job(options)
    rounds = read_leads(options.leads)
    if len(rounds) > 1:
        raise InputError("the dropout watch takes one lead map", "Name the one that is plugged in now.")
    (leads,) = reduced(rounds, left_out(options, rounds))
    with opened_board(options) as board:
        refuse_uncautioned(board, options.accept_cautions)
        say("scanning first ...")
        measured = take_scan(board, [leads]).measured
        result = _watch(board, leads, measured, options.seconds)
    return _told(result, options.json, None)


def _wiggle_job(options: argparse.Namespace) -> int:
    log, log_error = open_log(options.log)
    if log_error:
        raise log_error
    with log:
        job = Job.take_up(log, options.resume)
        if options.accept_cautions:
            for caution in job.cautions():
                job.acknowledge(caution.id)
        recorder = Recorder()
        with opened_board(options, recorder) as board:
            job.use_board(about_board(board)["board"])
            refuse_to_drive(job, board)
            moved = MovedLeads(board, options.leads or [])
            without = left_out(options, job.leads)
            run = job.scan(board, AS_LEFT, next_round=moved, recording=recorder.text, leave_out=without)
            leads = reduced(job.leads, without)[-1]
            result = _watch(board, leads, run.measured, options.seconds, job.dropout_keeper())
        job.keep_wiggle(result)
        return _told(result, options.json, job.record)


def _watch(
    board: Board,
    leads: LeadMap,
    measured: Measured,
    seconds: float,
    keep: Callable[[Dropout], None] = lambda _: None,
) -> WatchResult:
    def dropped(drop: Dropout) -> None:
        _say(drop)
        keep(drop)

    say(f"move every part of the harness for {seconds:g} s ...")
    progress = Progress("watching, second")
    try:
        return watch(
            board, leads, measured, seconds, on_dropout=dropped, on_turn=lambda at: progress(int(at), int(seconds))
        )  # fmt: skip
    finally:
        progress.end()


def _say(drop: Dropout) -> None:
    ring()
    say(dropout_line(drop.kind, drop.cavities, drop.at_ms, drop.lasted_ms))


def _told(result: WatchResult, as_json: bool, record: str | None) -> int:
    line = watch_words(result)
    if as_json:
        told = watch_object(result)
        show_json({"dropouts": told["dropouts"], "complete": result.complete, "says": line, "record": record})
    else:
        for drop in result.dropouts:
            show(dropout_line(drop.kind, drop.cavities, drop.at_ms, drop.lasted_ms))
        show(f"{'No dropout seen. ' if not result.dropouts else ''}{line}.")
    return 1 if result.dropouts else (0 if result.complete else 2)


def find(options: argparse.Namespace) -> int:
    """Say what the probe touches, until Ctrl-C."""
    leads = read_leads(options.leads)[0]
    netlist = load_scan(read_text(options.scan, "scan"), options.scan).netlist if options.scan else None
    touch = Touch(leads, netlist)
    last = None
    with opened_board(options) as board:
        refuse_uncautioned(board, options.accept_cautions)
        say("touch the probe to a terminal; Ctrl-C ends")
        try:
            while True:
                touched = touch.turn(board)
                if touched != last and touched is not None:
                    if options.json:
                        show_json({**asdict(touched), "circuit": list(touched.circuit)})
                    elif touched.firm:
                        others = [name for name in touched.circuit if name != touched.cavity]
                        show(
                            f"{touched.cavity} (channel {touched.channel})"
                            + (f", circuit with {listed(others)}" if others else "")
                        )
                    else:
                        say(f"{touched.kind} contact near {touched.cavity}: touch metal to metal")
                    sys.stdout.flush()
                    if options.once and touched.firm:
                        return 0
                last = touched
                time.sleep(0.05)
        except KeyboardInterrupt:
            return 0
