"""`demo`: one whole job on the virtual board, told to a newcomer in under 60 lines."""

from __future__ import annotations

import argparse
import shlex
import textwrap
from pathlib import Path

from tester.board.client import Board
from tester.board.opening import VIRTUAL, open_board
from tester.cli.common import open_log
from tester.cli.output import say, show, show_json
from tester.cli.scan import about_board
from tester.harness.verdict import PASS, Verdict
from tester.job.files import read_text
from tester.job.job import AS_FOUND, AS_LEFT, Job
from tester.job.steps import sheet_numbers
from tester.job.verdicts import verdict_object
from tester.shipped import shipped
from tester.words import counted, fault_lines, headline, lone_line

PLAN = ("plans", "side-door.toml")
LEADS = ("leads", "side-door-leads.toml")
BEFORE, WRONG, AFTER = (f"side-door-heater-{state}.toml" for state in ("before", "wrong", "after"))


def run(options: argparse.Namespace) -> int:
    """Play the job and tell it. Exit status 0 when it ended as it should: FAIL, rework, PASS, stored."""
    tell = _Teller(quiet=options.json)
    log, log_error = open_log(options.log)
    with log:
        plan, leads = _shipped(*PLAN), _shipped(*LEADS)
        job = Job.start(
            log,
            plan=(plan.name, read_text(plan, "plan")),
            leads=[(leads.name, read_text(leads, "lead map"))],
            intake={"tag": "FEN-0412", "side": "left", "by": "demo", "note": "rehearsal on the virtual board"},
            keep_going=True,
        )
        with open_board(f"{VIRTUAL}{_shipped('harnesses', BEFORE)}", leads) as board:
            job.use_board(about_board(board)["board"])
            _as_found(job, board, tell)
            _work(job, tell)
            wrong = _as_left(job, board, WRONG, tell)
            tell.rework()
            job.touched(why="rework: the two terminals put where they belong")
            right = _as_left(job, board, AFTER, tell)
        trouble = job.store_error or log_error
        if options.json:
            verdicts = [verdict_object(wrong), verdict_object(right)]
            show_json({"record": job.record if job.stored else None, "verdicts": verdicts})
        else:
            tell.end(job, options.log)
    if trouble:
        say(f"Not stored: {trouble}")
        return trouble.exit_status
    return 0 if (wrong.verdict, right.verdict) == ("FAIL", "PASS") else 5


def _shipped(*parts: str) -> Path:
    return shipped("fixtures", *parts)


def _as_found(job: Job, board: Board, tell: _Teller) -> None:
    for caution in job.cautions():
        job.acknowledge(caution.id, "demo")
    job.leads_done()
    tell.intake(job, board)
    job.scan(board, AS_FOUND)
    tell.as_found(job)


def _work(job: Job, tell: _Teller) -> None:
    tell.sheet(job)
    job.tick_all(by="demo")


def _as_left(job: Job, board: Board, harness: str, tell: _Teller) -> Verdict:
    board.plug(_shipped("harnesses", harness))
    job.scan(board, AS_LEFT)
    verdict = job.judge()
    tell.verdict(verdict, sheet_numbers(job.steps()))
    return verdict


class _Teller:
    """Says what happens, a stage a paragraph."""

    def __init__(self, quiet: bool) -> None:
        self._quiet = quiet

    def _say(self, text: str, indent: str = "") -> None:
        if not self._quiet:
            show(textwrap.fill(text, 79, initial_indent=indent, subsequent_indent=indent))

    def _head(self, stage: str) -> None:
        if not self._quiet:
            show(f"\n{stage.upper()}")

    def intake(self, job: Job, board: Board) -> None:
        info = board.info
        self._say(
            f"A door harness lies on the bench, tag {job.state.opened['tag']}, {job.side} side. Plan "
            f"{job.whole_plan.id}, revision {job.whole_plan.revision}: {job.whole_plan.title}. "
            f"Board: {info.model} (virtual, firmware {info.firmware}), {len(job.leads[0].channels)} cavities on leads. "
            "On a real harness: battery disconnected, harness out of the vehicle, service manual first."
        )

    def as_found(self, job: Job) -> None:
        self._head("As found, before anything is touched")
        found = job.as_found
        assert found is not None
        home = found.netlist.circuit_of
        one_way = len({(home(a), home(b)) for a, b in found.directed})
        circuits = [c for c in found.netlist if len(c) > 1]
        self._say(
            f"{len(found.netlist.cavities)} cavities: {len(circuits)} circuits of two or more, "
            f"{len(found.netlist.lone())} cavities joined to nothing, {counted(one_way, 'one-way part')}."
        )
        partners = " and ".join(found.netlist.partners("D-13"))
        self._say(f"D-13 is joined to {partners}: on this harness a terminal sits there and must come out.")

    def sheet(self, job: Job) -> None:
        self._head("Work sheet for this harness")
        for step in job.steps():
            self._say(textwrap.shorten(f"{step.number}. {step.says}", 79, placeholder=" ..."))
        skipped = len(job.resolved().skipped)
        self._say(f"{skipped} steps of the plan are not needed here. All are done and ticked - or so it seems.")

    def verdict(self, verdict: Verdict, numbers: dict[str, int]) -> None:
        self._head("As left, full scan after the last step")
        self._say(headline(verdict))
        for line in fault_lines(verdict, numbers=numbers):
            self._say(line, "  ")
        if verdict.verdict == PASS:
            self._say(lone_line(verdict))

    def rework(self) -> None:
        self._head("Rework")
        self._say("The two terminals are put where they belong. The old scan no longer counts: scan again.")

    def end(self, job: Job, log: str | None) -> None:
        if job.stored:
            where = ""
            if log:  # an address may hold a password
                where = " --log ADDRESS" if "://" in log else f" --log {shlex.quote(log)}"
            show("")
            self._say(f"Record {job.record}: plan, frames, ticks, both verdicts.")
            show(f"Next: loomwright records show {job.record}{where}")
            show(f"      loomwright records replay {job.record}{where}")
        show(f"      loomwright plan sheet {_shipped(*PLAN)}")
        show("      loomwright scan --help")
