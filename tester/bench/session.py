"""What the app holds besides its screens: the log, the job, how the board is opened. No rule of a job lives here."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from tester.errors import BoardError, InputError, StoreError

if TYPE_CHECKING:
    from tester.bench.worker import BoardWorker
    from tester.board.client import Board
    from tester.harness.expected import Expected
    from tester.harness.leads import LeadMap
    from tester.harness.reading import Measured
    from tester.job.comeback import ChangeRow
    from tester.job.job import Job
    from tester.job.state import ScanEntry
    from tester.job.steps import StepView
    from tester.plan.models import Plan
    from tester.plan.resolve import Oddity, Resolved
    from tester.records.store import Store

T = TypeVar("T")
VIRTUAL = "virtual:"
MOST_JOBS = 100
LARGEST_PHOTO = 20 * 1024 * 1024


def only_board() -> str:
    """Port of the only likely board on this machine. Raises BoardError."""
    from tester.board.ports import list_ports

    likely = [port.path for port in list_ports() if port.likely]
    if len(likely) == 1:
        return likely[0]
    if not likely:
        raise BoardError("No board on any port: plug it in, it is found by itself.", code="port")
    raise BoardError(f"Which board? {', '.join(likely)}", "Start again with --board PORT.", code="port")


class Options:
    """The command line of `bench`, with a value for everything that was left out."""

    def __init__(self, given: object = None, **more: Any) -> None:
        def take(name: str, default: Any = None) -> Any:
            value = more.get(name, getattr(given, name, None))
            return default if value is None else value

        self.board: str = take("board", "")
        self.leads: list[str] = list(take("leads", []))
        self.wired_by: str = take("wired_by", "")
        self.plan: str = take("plan", "")
        self.log: str = take("log", "")
        self.record: str = take("record", "")
        self.side: str = take("side", "")
        self.sound: bool = not take("no_sound", False)

    @property
    def virtual(self) -> bool:
        """True when the board is a virtual one."""
        return self.board.startswith(VIRTUAL)


@dataclass(frozen=True)
class LogRow:
    """One record in the list: when it changed, and the newest terms that it is found by."""

    record: str
    changed: datetime
    terms: Mapping[str, str]


class Session:
    """Log and job. Views of the job are computed once for each event in it, since screens ask often."""

    def __init__(self, options: Options) -> None:
        self.options = options
        self.log: Store | None = None
        self.job: Job | None = None
        self.trouble = ""
        self._written: dict[tuple[str, tuple[str, ...]], list[Path]] = {}
        self._folder: tempfile.TemporaryDirectory[str] | None = None
        self._views: dict[str, tuple[tuple[str, int], Any]] = {}

    # Log and job

    def open_log(self) -> Store:
        """The log; in memory, with the trouble kept to be shown, when it cannot be opened."""
        if self.log is None:
            from tester.records.place import default_log
            from tester.records.store import Store

            try:
                self.log = Store.open(self.options.log or default_log())
            except StoreError as error:
                self.trouble = str(error)
                self.log = Store.in_memory()
        return self.log

    def start(self, plan: str, leads: Sequence[str], intake: Mapping[str, str]) -> Job:
        """Open a new job from files. Raises InputError, StoreError."""
        from tester.job.files import read_text
        from tester.job.job import Job

        self.job = Job.start(
            self.open_log(),
            plan=(plan, read_text(plan, "plan")),
            leads=[(path, read_text(path, "lead map")) for path in leads],
            intake=dict(intake),
            keep_going=True,
        )
        self._views.clear()
        return self.job

    def take_up(self, record: str) -> Job:
        """Go on with a job of the log. Raises InputError, StoreError."""
        from tester.job.job import Job

        self.job = Job.take_up(self.open_log(), record)
        self._views.clear()
        return self.job

    def jobs(self, text: str) -> list[LogRow]:
        """Records of the log that fit what was typed, newest first. The whole list needs none of the job's modules."""
        log = self.open_log()
        if not text.strip():
            from tester.records.search import Query

            return [
                LogRow(one.job, one.changed, {name: one.term(name) for name in one.terms})
                for one in log.jobs(Query(limit=MOST_JOBS))
            ]
        from tester.job.comeback import find_jobs

        return [LogRow(one.record, one.changed, one.terms) for one in find_jobs(log, text)]

    def close(self) -> None:
        """Close the log, and take away what was written out."""
        if self._folder is not None:
            self._folder.cleanup()
            self._folder = None
            self._written.clear()
        if self.log is not None:
            self.log.close()
            self.log = None

    # Views

    def _view(self, name: str, make: Callable[[Job], T]) -> T:
        assert self.job is not None, "a stage screen is shown only with a job"
        at = (self.job.record, self.job.state.place)
        held = self._views.get(name)
        if held is None or held[0] != at:
            held = (at, make(self.job))
            self._views[name] = held
        value: T = held[1]
        return value

    @property
    def plan(self) -> Plan:
        """The plan for the side of this job."""
        assert self.job is not None
        held = self._views.get("plan")
        if held is None:
            held = ((self.job.record, 0), self.job.plan)
            self._views["plan"] = held
        plan: Plan = held[1]
        return plan

    def steps(self) -> list[StepView]:
        """Steps of this harness."""
        return self._view("steps", lambda job: job.steps())

    def sheet_numbers(self) -> dict[str, int]:
        """Step id -> its number on the work sheet, as every sentence at the bench names it."""
        from tester.job.steps import sheet_numbers

        return sheet_numbers(self.steps())

    def verdict_lines(self, stored: dict[str, Any]) -> list[str]:
        """Everything that a person reads about a stored verdict, steps told by their numbers."""
        from tester.job.verdicts import verdict_of
        from tester.words import verdict_lines

        return verdict_lines(verdict_of(stored), self.sheet_numbers())

    def stale_words(self) -> str:
        """Why the verdicts given so far no longer count, "" while the newest does or none was given."""
        assert self.job is not None
        state = self.job.state
        if not state.stale:
            return ""
        if state.unjudged:
            return "NOT TESTED: not judged since the last change. Judge again at as left (g)."
        return "NOT TESTED: the harness was handled after the last scan. Test again at as left (g)."

    def resolved(self) -> Resolved:
        """The plan decided for this harness."""
        return self._view("resolved", lambda job: job.resolved())

    def oddities(self) -> list[Oddity]:
        """What is odd as found."""
        return self._view("oddities", lambda job: job.oddities())

    def as_found(self) -> Measured | None:
        """The as-found reading."""
        return self._view("as found", lambda job: job.as_found)

    def as_left(self) -> Measured | None:
        """The newest as-left reading."""
        return self._view("as left", lambda job: job.as_left)

    def reading(self, entry: ScanEntry) -> Measured:
        """The reading of any stored scan."""
        from tester.job.stored import reading_of

        return self._view(f"scan {entry.place}", lambda job: reading_of(entry, f"record {job.record}"))

    def comeback_reading(self) -> Measured | None:
        """The newest reading of the harness that came back."""
        assert self.job is not None
        entry = self.job.state.newest_scan("comeback")
        return None if entry is None else self.reading(entry)

    def comeback_changes(self) -> list[ChangeRow]:
        """What changed between as left and the newest scan of the harness that came back."""
        later = self.comeback_reading()
        if later is None:
            return []

        def make(job: Job) -> list[ChangeRow]:
            from tester.job.comeback import changes

            return changes(job, later)

        return self._view("changes", make)

    def expected(self) -> Expected | None:
        """The expectation, None while it cannot be told yet."""

        def make(job: Job) -> Expected | None:
            try:
                return job.expected()
            except InputError:
                return None

        return self._view("expected", make)

    # Board

    def opener(self) -> Callable[[], Board] | None:
        """What opens the board, for the worker; None for a virtual board that no lead map wires yet.

        Without --board the only likely port is taken, as on the command line.
        """
        leads = self.leads_paths()
        wired_by = Path(self.options.wired_by) if self.options.wired_by else None
        if self.options.virtual and not leads and wired_by is None:
            return None

        def opening() -> Board:
            from tester.board.opening import open_board

            return open_board(self.options.board or only_board(), leads[0] if leads else None, wired_by)

        return opening

    def rehearse(self, worker: BoardWorker, command: str) -> None:
        """A command to the virtual bench. Another harness stays plugged in when the board is opened anew."""
        import shlex

        try:
            words = shlex.split(command)
        except ValueError as error:
            raise InputError(f"{command}: {error}") from None
        if words[:1] in (["harness"], ["leads"]) and len(words) == 2:
            words[1] = str(Path(words[1]).expanduser().absolute())
        try:
            told = worker.tell_virtual(*words)
        except BoardError:
            if words[0] != "unplug":  # the worker may end an unplugged board before it has answered
                raise
            return
        if told and words[0] == "harness":
            self.options.board = VIRTUAL + words[1]

    def leads_in_use(self) -> tuple[LeadMap, ...]:
        """Lead maps without the cavities that the newest look left out, possibly wet."""
        from tester.job.measure import reduced

        assert self.job is not None, "a stage screen is shown only with a job"
        return reduced(self.job.leads, self.job.state.left_out)

    def leads_paths(self) -> list[Path]:
        """Files of the lead maps in use; written out anew where only the record still holds them."""
        if self.options.leads and (self.job is None or len(self.options.leads) == len(self.job.state.leads)):
            return [Path(path) for path in self.options.leads]
        if self.job is None:
            return []
        key = (self.job.record, tuple(text for _, text in self.job.state.leads))
        if key not in self._written:
            if self._folder is None:
                self._folder = tempfile.TemporaryDirectory(prefix="loomwright-")
            paths = []
            for index, text in enumerate(key[1]):
                path = Path(self._folder.name) / f"{len(self._written)}-leads-{index + 1}.toml"
                path.write_text(text, encoding="utf-8")
                paths.append(path)
            self._written[key] = paths
        return self._written[key]

    def first_leads(self) -> Path | None:
        """File of the first lead map where there are several, None where one is always plugged in."""
        paths = self.leads_paths()
        return paths[0] if len(paths) > 1 else None

    def read_photo(self, path: str) -> bytes:
        """Content of a photo's file. Raises InputError."""
        from tester.job.files import read_bytes

        return read_bytes(Path(path).expanduser(), "photo", LARGEST_PHOTO)
