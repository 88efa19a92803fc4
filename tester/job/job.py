"""One job: every fact goes into the log as an event, every question is answered from the state folded over them."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from functools import cached_property
from typing import Any

from tester.board.client import Board
from tester.errors import BoardError, InputError, LoomwrightError, StoreError
from tester.harness.cavity import in_order
from tester.harness.expected import Expected
from tester.harness.leads import LeadMap, load_leads
from tester.harness.reading import Measured
from tester.harness.verdict import Verdict
from tester.job.eventlog import JobEvents
from tester.job.judging import agrees, facts_of, moved_leads, pairs_to_measure
from tester.job.leadsets import TERM, TOUCHED, key_of, keys_at, past, wet_before
from tester.job.measure import NextRound, OnRow, Progress, ScanRun, VoltagePresent, isolation_of, reduced, take_scan
from tester.job.safety import Caution, cautions, reasons_not_to_drive
from tester.job.scanfile import load_scan, measured_object, parse_json, rounds_object
from tester.job.steps import StepView, variant_of, views
from tester.job.stored import leads_of, reading_of, rounds_of, watch_object
from tester.job.verdicts import verdict_object
from tester.job.wet import refusal_facts, soiled
from tester.judge import Dropout, JudgeFacts, WatchResult, judge
from tester.plan.expect import expectation
from tester.plan.hazards import check_hazards, check_leads
from tester.plan.load import load_plan
from tester.plan.models import Plan
from tester.plan.resolve import Oddity, Question, Resolved, oddities, resolve
from tester.plan.sides import for_side
from tester.records.store import Store
from tester.records.usual import earlier_scans, unusual
from tester.words import listed

AS_FOUND, AS_LEFT = "as found", "as left"
NamedText = tuple[str, str]


class Job(JobEvents):
    """An open job on a log. Each action is one event, on disk when the call returns."""

    # Opening

    @classmethod
    def start(
        cls,
        log: Store,
        *,
        plan: NamedText,
        leads: Sequence[NamedText],
        intake: Mapping[str, Any] | None = None,
        keep_going: bool = False,
    ) -> Job:
        """Open a new job: intake, plan and lead maps as (file name, text). Raises InputError for a bad file."""
        loaded = load_plan(plan[1], plan[0])
        maps = [load_leads(text, name) for name, text in leads]
        facts = dict(intake or {})
        side = for_side(loaded, facts.get("side") or None)
        check_hazards(side, maps, real_board=False)
        check_leads(side, maps)
        terms = {
            "plan": loaded.id,
            "revision": loaded.revision,
            "harness": loaded.vehicle or loaded.title or loaded.id,
            "tag": str(facts.get("tag", "")),
            "side": str(facts.get("side", "") or ""),
            "order": str(facts.get("job", "")),
        }
        lost: StoreError | None = None
        try:
            record = cls._first_events(log, facts, loaded, plan, leads, terms)
        except StoreError as error:
            if not keep_going:
                raise
            lost, log = error, Store.in_memory()
            record = cls._first_events(log, facts, loaded, plan, leads, terms)
        job = cls(log, record, log.read(record), keep_going=keep_going)
        job.store_error = lost
        return job

    @staticmethod
    def _first_events(
        log: Store,
        facts: Mapping[str, Any],
        loaded: Plan,
        plan: NamedText,
        leads: Sequence[NamedText],
        terms: Mapping[str, str],
    ) -> str:
        with log.together():
            record = log.new_job(facts, terms={k: v for k, v in terms.items() if v})
            log.append(record, "plan", {"name": plan[0], "text": plan[1], "id": loaded.id, "revision": loaded.revision})
            log.append(record, "leads", {"maps": [{"name": name, "text": text} for name, text in leads]})
            for facts in wet_before(log, [text for _, text in leads]):
                log.append(record, "lead-unproven", facts, terms={TERM: facts["sets"]})
        return record

    @classmethod
    def take_up(cls, log: Store, record: str, *, keep_going: bool = False) -> Job:
        """Open a job that is in the log, at the place where it was left. Raises InputError when there is none."""
        number = log.job(record)
        return cls(log, number, log.read(number), keep_going=keep_going)

    # What is known

    @property
    def plan(self) -> Plan:
        """The plan, for the side of this job."""
        return for_side(self.whole_plan, self.side)

    @cached_property
    def whole_plan(self) -> Plan:
        """The plan as written."""
        return load_plan(self.state.plan, self.state.plan_name)

    @property
    def side(self) -> str | None:
        """Side given at intake."""
        return self.state.opened.get("side") or None

    @property
    def leads(self) -> tuple[LeadMap, ...]:
        """Lead maps, one a round."""
        return tuple(load_leads(text, name) for name, text in self.state.leads)

    @property
    def as_found(self) -> Measured | None:
        """The newest as-found reading, decoded from its frames."""
        return self._reading(AS_FOUND)

    @property
    def as_left(self) -> Measured | None:
        """The newest as-left reading."""
        return self._reading(AS_LEFT)

    def _reading(self, purpose: str) -> Measured | None:
        entry = self.state.newest_scan(purpose)
        return None if entry is None else reading_of(entry, f"record {self.record}", self.state.proven)

    @property
    def answers(self) -> dict[str, bool]:
        """Answers by eye: question id -> yes or no."""
        return {question: answer == "yes" for question, answer in self.state.answers.items()}

    def resolved(self) -> Resolved:
        """The plan decided for this harness."""
        return resolve(self.whole_plan, self.as_found, self.answers, self.side)

    def questions(self) -> tuple[Question, ...]:
        """What still has to be answered by eye."""
        return self.resolved().questions

    def oddities(self) -> list[Oddity]:
        """What is odd about the harness as found; shown before the first terminal is pulled."""
        found = self.as_found
        return [] if found is None else oddities(self.whole_plan, found, self.answers, self.side)

    def steps(self) -> list[StepView]:
        """The steps that this harness gets, each with its state."""
        return views(self.resolved(), {step: tick.how for step, tick in self.state.ticks.items()})

    def expected(self) -> Expected:
        """What the finished harness must be. Raises InputError while questions are open."""
        found = expectation(self.whole_plan, self.as_found, self.answers, self.side)
        celsius = self.state.opened.get("celsius")
        return found if celsius is None else replace(found, limits={**found.limits, "celsius": float(celsius)})

    # Leads and cautions

    def cautions(self) -> list[Caution]:
        """What must be acknowledged before the board drives."""
        return cautions(self.plan, self.leads, self.state.cautions)

    def acknowledge(self, caution: str, by: str = "") -> None:
        """A person has read this caution and says that it is met."""
        self._append("caution", {"caution": caution, "by": by})

    def may_drive(self, virtual: bool = False) -> list[str]:
        """Why the board must not drive yet, in sentences; empty when it may. A virtual board hurts nobody."""
        return [] if virtual else reasons_not_to_drive(self.plan, self.leads, self.cautions())

    def change_leads(self, leads: Sequence[NamedText]) -> None:
        """Use other lead maps from here on."""
        maps = [load_leads(text, name) for name, text in leads]
        check_hazards(self.plan, maps, real_board=False)
        check_leads(self.plan, maps)
        self._append("leads", {"maps": [{"name": name, "text": text} for name, text in leads]})
        for facts in wet_before(self._log, [text for _, text in leads]):
            self._append("lead-unproven", facts, terms={TERM: facts["sets"]})

    def prove(self, cavities: Iterable[str], how: str = TOUCHED, at: int | None = None) -> None:
        """These leads were seen to answer for their own cavity. `at`: which of the lead sets, if that is known."""
        names = sorted(cavities)
        texts, maps = [text for _, text in self.state.leads], self.leads
        sets = keys_at(texts, maps, names) if at is None else [key_of(texts[at])]
        self._append("lead-proven", {"cavities": names, "how": how, "sets": sets}, terms={TERM: sets})

    def count_earlier_proof(self, at: int, now: datetime | None = None) -> list[str]:
        """A lead set was just known by its identity jumpers: proofs of earlier jobs count. The records they are from.

        Only those of this day on this board, none from before the set was on a wet harness (`leadsets`).
        """
        text, board = self.state.leads[at][1], str(self.state.board.get("serial", ""))
        known = past(self._log, text, board=board, now=now or datetime.now(UTC), besides=self.record)
        fresh = set(known.proven) - self.state.proven - self.state.unclean
        sources = sorted({known.proven[name] for name in fresh})
        if fresh:
            self.prove(fresh, f"touched in {listed(sources)}", at)
        return sources

    def leads_done(self) -> None:
        """The leads stage is over."""
        self._append("leads-done")

    # Scans

    def scan(
        self,
        board: Board,
        purpose: str,
        *,
        progress: Progress | None = None,
        next_round: NextRound | None = None,
        stop: Callable[[], bool] | None = None,
        on_row: OnRow | None = None,
        recording: Callable[[], str] | None = None,
        leave_out: Iterable[str] = (),
    ) -> ScanRun:
        """Full scan, stored with its frames; a run that breaks off is stored as aborted. Raises BoardError.

        `leave_out`: cavities that are not to be driven, see `keep_left_out`.
        """
        wet = sorted(set(leave_out))
        maps = self.keep_left_out(wet, purpose) if wet else self.leads
        try:
            run = take_scan(
                board, maps, progress=progress, next_round=next_round, stop=stop, on_row=on_row,
                also=self.links_to_measure(purpose),
            )  # fmt: skip
        except LoomwrightError as error:
            if isinstance(error, VoltagePresent):
                error.leave_out(wet)
            self.keep_abort(purpose, error, recording() if recording else "", wet)
            raise
        self.keep_scan(purpose, run, recording() if recording else "", wet)
        return run

    def keep_left_out(self, cavities: Iterable[str], purpose: str, by: str = "") -> tuple[LeadMap, ...]:
        """Acknowledged: these are possibly wet. Their lead sets count as unproven; returns the maps without them.

        Whoever scans with these maps hands the cavities to `keep_scan`.
        """
        maps, wet = self.leads, in_order(set(cavities))
        facts = {"cavities": wet, "why": "possibly wet", "purpose": purpose, "by": by, "unproven": soiled(maps, wet)}
        facts["sets"] = keys_at([text for _, text in self.state.leads], maps, wet)
        self._append("left-out", facts, terms={TERM: facts["sets"]})
        return reduced(maps, wet)

    def links_to_measure(self, purpose: str) -> tuple[tuple[str, str], ...]:
        """Pairs of cavities whose resistance the plan wants judged, once the expectation is known."""
        if purpose != AS_LEFT:
            return ()
        return pairs_to_measure(self.expected())

    def keep_scan(self, purpose: str, run: ScanRun, recording: str = "", wet: Sequence[str] = ()) -> None:
        """Store a finished scan. `recording`: every byte on the line meanwhile; `wet`: see `keep_left_out`."""
        blobs = {"rounds": json.dumps(rounds_object(run.rounds)).encode()}
        if recording:
            blobs["recording"] = recording.encode()
        left_out = {"left_out": list(wet)} if wet else {}
        self._keep(purpose, run.measured, {"source": "board", **left_out}, blobs)

    def _keep(self, purpose: str, measured: Measured, facts: dict[str, Any], blobs: dict[str, bytes]) -> None:
        nets = [list(circuit) for circuit in measured.netlist]
        terms = {}
        if purpose == AS_FOUND:
            terms = {"variant": variant_of(resolve(self.whole_plan, measured, self.answers, self.side))}
        self._append("scan", {"purpose": purpose, "nets": nets, **facts}, blobs, terms)

    def unusual(self) -> list[str]:
        """How this as-found scan differs from earlier ones of the same plan and variant. Counts, never a verdict."""
        found = self.as_found
        if found is None:
            return []
        variant = variant_of(self.resolved())
        earlier = earlier_scans(self._log, self.whole_plan.id, variant, besides=self.record)
        return [one.says() for one in unusual(found.netlist, earlier)]

    def keep_scan_file(self, purpose: str, text: str, name: str) -> None:
        """Take a scan that was saved earlier into the record. Raises InputError when it is damaged."""
        reading = load_scan(text, name)
        content = parse_json(text, name)
        blobs = {"reading": json.dumps(measured_object(reading)).encode()}
        if content.get("rounds"):
            blobs = {"rounds": json.dumps(content["rounds"]).encode()}
        about = content.get("about") if isinstance(content.get("about"), dict) else {}
        self._keep(purpose, reading, {"source": "file", "name": name, "about": about}, blobs)

    def keep_abort(self, purpose: str, error: LoomwrightError, recording: str = "", wet: Sequence[str] = ()) -> None:
        """Store that a run broke off; no cavity of it counts."""
        blobs = {"recording": recording.encode()} if recording else {}
        code = error.code if isinstance(error, BoardError) else "input"
        facts = {"purpose": purpose, "kind": code, "message": error.message, "hint": error.hint}
        self._append("aborted", facts | refusal_facts(error, wet), blobs, terms={"verdict": "aborted"})

    # Work

    def answer(self, question: str, answer: bool) -> None:
        """Answer a question by eye."""
        self._append("answer", {"question": question, "answer": "yes" if answer else "no"})

    def accept(self, what: str) -> None:
        """An oddity is known and accepted before the work begins."""
        self._append("accepted", {"what": what})

    def tick(self, step: str, how: str = "hand", by: str = "") -> None:
        """A step is done. Raises InputError for a step that this harness does not get."""
        if step not in {one.id for one in self.steps()}:
            raise InputError(f"this harness has no step {step}", "loomwright plan sheet shows its steps.")
        self._append("tick", {"step": step, "how": how, "by": by})

    def tick_all(self, how: str = "hand", by: str = "") -> None:
        """Every open step is done."""
        for one in self.steps():
            if one.state == "open":
                self._append("tick", {"step": one.id, "how": how, "by": by})

    def undo(self, step: str) -> None:
        """Take a tick back."""
        if step not in self.state.ticks:
            raise InputError(f"step {step} is not ticked, there is nothing to undo")
        self._append("undo", {"step": step})

    def touched(self, cavities: Iterable[str] = (), why: str = "rework") -> None:
        """The harness was handled again: an earlier scan no longer counts."""
        self._append("touched", {"cavities": sorted(cavities), "why": why})

    # Verdict

    def facts(self, resolved: Resolved | None = None) -> JudgeFacts:
        """How the job stands, as judge needs it. `resolved`: by another plan than the job's own."""
        entry = self.state.newest_scan(AS_LEFT)
        rounds = rounds_of(entry, f"record {self.record}") if entry else ()
        found = leads_of(self.state.newest_scan(AS_FOUND), f"record {self.record}")
        steps = tuple(todo.id for todo in (resolved or self.resolved()).todo)
        moved = moved_leads(found, [one.leads for one in rounds])
        return facts_of(self.state, self.leads, steps, isolation_of(rounds), moved)

    def judged(self) -> Verdict:
        """The verdict on the newest as-left scan, without storing it. Raises InputError when there is no scan."""
        measured = self.as_left
        if measured is None:
            raise InputError("there is no as-left scan to judge", "Scan after the last step.")
        return judge(self.expected(), measured, self.facts())

    def judge(self) -> Verdict:
        """The verdict on the newest as-left scan, stored."""
        verdict = self.judged()
        faults = verdict.faults
        terms = {
            "verdict": verdict.verdict,
            "fault": sorted({f.kind for f in faults}),
            "fault-cavity": sorted({c for f in faults for c in f.cavities}),
            "fault-step": sorted({s for f in faults for s in f.steps}),
            "cavity": sorted(self.expected().edited | {c for f in faults for c in f.cavities}),
        }
        self._append("verdict", verdict_object(verdict), terms={k: v for k, v in terms.items() if v})
        return verdict

    def agrees(self, cavity: str, partners: Iterable[str]) -> bool | None:
        """Whether what one cavity is joined to is what the finished harness must have; None when not known.

        `partners`: what read low while this cavity was driven, so what lies behind a known diode may be among them.
        """
        try:
            return agrees(self.expected(), cavity, partners)
        except InputError:
            return None

    def dropout_keeper(self) -> Callable[[Dropout], None]:
        """To be handed each dropout of one watch while it runs. The first is kept: no older verdict outlives it."""
        kept: list[Dropout] = []

        def keep(dropout: Dropout) -> None:
            if not kept:
                kept.append(dropout)
                self.keep_wiggle(WatchResult((dropout,), seconds=dropout.at_ms / 1000, complete=False))

        return keep

    def keep_wiggle(self, result: WatchResult) -> Verdict | None:
        """Store what the dropout watch saw; judges again, stored too, where a fresh as-left scan is there to judge."""
        self._append("wiggle", watch_object(result))
        return self.judge() if self.state.scan_is_fresh else None
