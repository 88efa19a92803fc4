"""The full scan as a piece of work for the worker: progress, rows as they come, moved leads, cancel."""

from __future__ import annotations

import threading
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tester.bench.worker import Stopped, Talk, Work

if TYPE_CHECKING:
    from tester.board.recording import Recorder
    from tester.harness.leads import LeadMap


@dataclass(frozen=True)
class Row:
    """One driven channel has answered: its cavity, and those joined to it."""

    cavity: str
    joined: tuple[str, ...]


@dataclass(frozen=True)
class Step:
    """How far the walk is, in channels."""

    done: int
    total: int


@dataclass
class MoveLeads:
    """The person must move the leads to this map; `moved` is set when it is done."""

    index: int
    leads: LeadMap
    moved: threading.Event


def full_scan(
    maps: Sequence[LeadMap],
    paths: Sequence[Path],
    also: Iterable[tuple[str, str]] = (),
    recorder: Recorder | None = None,
) -> Work:
    """Work that ends with a ScanRun. Tells Row, Step and MoveLeads.

    `paths`: files of the lead maps, for a virtual board to be wired anew; `also`: links to be measured in any case;
    `recorder`: gets every byte on the line, and belongs to the worker until the work has ended.
    """

    def work(talk: Talk) -> Any:
        from tester.errors import BoardError
        from tester.job.measure import take_scan

        def next_round(index: int, leads: LeadMap) -> None:
            if talk.board.rewire(paths[index]):
                return
            wait_for_leads(talk, index, leads)

        if len(maps) > 1:
            talk.board.rewire(paths[0])
        if recorder is not None:
            talk.board.record(recorder)
        try:
            return take_scan(
                talk.board,
                maps,
                progress=lambda done, total: talk.tell(Step(done, total)),
                next_round=next_round,
                stop=lambda: talk.stopped,
                also=tuple(also),
                on_row=lambda cavity, joined: talk.tell(Row(cavity, joined)),
            )
        except BoardError as error:
            if error.code == "cancelled":
                raise Stopped from error
            raise
        finally:
            talk.board.record(None)

    return work


def wait_for_leads(talk: Talk, index: int, leads: LeadMap) -> None:
    """Ask the person to move the leads, and wait. Raises Stopped."""
    moved = threading.Event()
    talk.tell(MoveLeads(index, leads, moved))
    while not moved.wait(0.1):
        talk.check()


def check_first(maps: Sequence[LeadMap]) -> Work:
    """Work that looks for voltages and tries the board's own drivers, on the first lead map."""

    def work(talk: Talk) -> Any:
        from tester.job.measure import check_channels, check_drivers, check_voltage

        for leads in maps:
            check_channels(talk.board, leads)
        if "voltage" in talk.board.info.can:
            check_voltage(talk.board, maps[0])
        check_drivers(talk.board, maps[0])
        return "voltage" in talk.board.info.can

    return work
