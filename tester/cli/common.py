"""What several verbs share: options turned into boards, lead maps and logs."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path

from tester.board.client import Board
from tester.board.opening import VIRTUAL, open_board
from tester.board.ports import list_ports
from tester.board.recording import Recorder
from tester.cli.output import say
from tester.errors import BoardError, InputError, LoomwrightError, StoreError
from tester.harness.cavity import parse_cavity
from tester.harness.leads import LeadMap, load_leads
from tester.job.files import read_bytes, write_whole
from tester.job.job import Job
from tester.job.safety import open_cautions
from tester.records.place import default_log
from tester.records.store import Store


def read_leads(paths: list[str]) -> list[LeadMap]:
    """The lead maps of --leads, one a round, in order."""
    return [load_leads(read_bytes(path, "lead map"), path) for path in paths]


def board_address(given: str | None) -> str:
    """The address of --board, or the only likely board on this machine."""
    if given:
        return given
    likely = [port.path for port in list_ports() if port.likely]
    if len(likely) == 1:
        return likely[0]
    found = f"found {len(likely)}: {', '.join(likely)}" if likely else "no board found on a serial port"
    raise BoardError(
        f"which board? {found}",
        "Say --board PORT (loomwright board list), or try --board virtual:HARNESS.toml.",
        code="port",
    )


VIRTUAL_SERIAL = "56420000"  # "VB", then a small seed: hwspec/virtual/README.md


def left_out(options: argparse.Namespace, rounds: Iterable[LeadMap]) -> list[str]:
    """The cavities of --leave-out. Raises InputError for one that no lead goes to."""
    known = {cavity for leads in rounds for cavity in leads.channels.values()}
    cavities = []
    for text in options.leave_out:
        try:
            cavity = parse_cavity(text)
        except ValueError as error:
            raise InputError(f"--leave-out: {error}") from None
        if cavity not in known:
            raise InputError(f"--leave-out {cavity}: no lead goes there, so it is left out already")
        cavities.append(cavity)
    return cavities


def is_virtual(board: Board) -> bool:
    """True for a virtual board, by its address or by the serial number that it tells: it can hurt nobody."""
    return board.address.startswith(VIRTUAL) or board.info.serial.startswith(VIRTUAL_SERIAL)


def refuse_uncautioned(board: Board, accepted: bool) -> None:
    """Before a real board drives without a plan: the usual cautions must be accepted. Raises InputError."""
    if not accepted and not is_virtual(board):
        raise InputError("the cautions come first:\n" + open_cautions(), "When each is met, add --accept-cautions.")


@contextmanager
def opened_board(options: argparse.Namespace, recorder: Recorder | None = None) -> Iterator[Board]:
    """The board of --board, wired by the first --leads.

    `recorder` keeps every byte on the line; --recording writes them into a file, whole or not at all.
    """
    leads = getattr(options, "leads", None)
    wired_by = getattr(options, "wired_by", None)
    file = getattr(options, "recording", None)
    recorder = recorder or (Recorder() if file else None)
    try:
        with open_board(
            board_address(options.board),
            Path(leads[0]) if leads else None,
            Path(wired_by) if wired_by else None,
            recorder=recorder,
        ) as board:
            yield board
    except BaseException:  # what went over the line is wanted most when it broke off, and why it did still more
        try:
            _keep_recording(file, recorder)
        except LoomwrightError as trouble:
            say(str(trouble))
        raise
    _keep_recording(file, recorder)


def _keep_recording(file: str | None, recorder: Recorder | None) -> None:
    if file and recorder and recorder.text():
        write_whole(file, recorder.text())
        say(f"recording: {file}")


def open_log(where: str | None) -> tuple[Store, StoreError | None]:
    """The log of --log. When it cannot be used, one in memory and the reason: a verdict is still worth having."""
    try:
        return Store.open(where or default_log(), waiting=_waiting), None
    except StoreError as error:
        return Store.in_memory(), error


def reading_log(where: str | None) -> Store:
    """The log of --log, for looking only. Raises StoreError."""
    return Store.open(where or default_log(), read_only=True, waiting=_waiting)


def writing_log(where: str | None) -> Store:
    """The log of --log, to add to. Raises StoreError."""
    return Store.open(where or default_log(), waiting=_waiting)


def _waiting(seconds: float) -> None:
    if seconds >= 1:
        say(f"another program is writing to the log, waiting ({seconds:.0f} s) ...")


def parse_answers(given: list[str]) -> dict[str, bool]:
    """The --answer options: question -> yes or no. Raises InputError."""
    answers: dict[str, bool] = {}
    for text in given:
        question, equals, answer = text.rpartition("=")
        word = answer.strip().lower()
        if not equals or word not in ("yes", "no", "y", "n"):
            raise InputError(f"--answer {text!r}: write QUESTION=yes or QUESTION=no, such as 'occupied D-13=yes'")
        answers[question.strip()] = word in ("yes", "y")
    return answers


def refuse_to_drive(job: Job, board: Board) -> None:
    """Before a board drives for a job: cautions and hazards. Raises InputError."""
    virtual = is_virtual(board)
    reasons = job.may_drive(virtual)
    if reasons:
        open_ones = "\n".join(f"  {c.id}: {c.says}" for c in job.cautions() if not c.acknowledged)
        raise InputError(
            "the board must not drive yet:\n  "
            + "\n  ".join(reasons)
            + (f"\nThe cautions:\n{open_ones}" if open_ones else ""),
            "When each caution is met, add --accept-cautions.",
        )
    if virtual and job.plan.hazards.undeclared:
        say("warning: the plan does not declare its hazards; a real board refuses it until [hazards] is filled in")


class MovedLeads:
    """Called before round two and later; returns when the harness is wired by that lead map."""

    def __init__(self, board: Board, paths: list[str]) -> None:
        self._board = board
        self._paths = paths

    def __call__(self, index: int, leads: LeadMap) -> None:
        if index < len(self._paths) and self._board.rewire(Path(self._paths[index])):
            say(f"round {index + 1}: the virtual board is wired by {leads.id}")
            return
        if not sys.stdin.isatty():
            raise InputError(
                f"round {index + 1} needs the leads moved to {leads.id}, and nobody is here to do it",
                "Run this from a terminal when a job has several rounds.",
            )
        say(f"Round {index + 1}: move the leads to {leads.id}, then press Enter.")
        if not sys.stdin.readline():
            raise InputError("stopped before the leads were moved")
