"""Wiggle: the harness is moved while the board watches every circuit for dropouts; a time line for each."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from typing import Any, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType

from tester.bench.face import FaceView
from tester.bench.harness_view import face_plans
from tester.bench.lineview import Lines, LineView, said
from tester.bench.marks import Mark
from tester.bench.messages import BoardNews, WorkDone, WorkFailed, WorkTold
from tester.bench.stage import StageScreen
from tester.bench.text import Part, count, fit, pad
from tester.bench.wiggling import wiggle_work
from tester.bench.worker import Work, wired_by
from tester.errors import LoomwrightError

WIGGLE = "wiggle"
SECONDS = 30.0


class TimeLines(LineView):
    """A line a circuit: steady, and where it dropped out. Circuits that dropped stand first."""

    DEFAULT_CSS = "TimeLines { height: 1fr; scrollbar-size: 1 1; }"

    def __init__(self) -> None:
        super().__init__(id="times")
        self.circuits: list[tuple[str, ...]] = []
        self.drops: dict[tuple[str, ...], list[Any]] = {}
        self.now_ms = 0.0
        self.span_ms = SECONDS * 1000

    def show(self, circuits: Sequence[tuple[str, ...]], span_s: float) -> None:
        """Begin with these circuits, on a line of so many seconds."""
        self.circuits, self.drops, self.now_ms, self.span_ms = list(circuits), {}, 0.0, span_s * 1000
        self.all_changed(max(1, len(self.circuits)), 20)

    def advance(self, now_ms: float) -> None:
        """Time has gone on."""
        self.now_ms = now_ms
        self.all_changed()

    def drop(self, dropout: Any) -> None:
        """A circuit dropped out, or two touched."""
        names = set(dropout.cavities)
        key = next((c for c in self.circuits if names & set(c)), tuple(dropout.cavities))
        if key not in self.circuits:
            self.circuits.append(key)
        self.drops.setdefault(key, []).append(dropout)
        self.circuits.sort(key=lambda c: not self.drops.get(c))
        self.all_changed(max(1, len(self.circuits)))

    def line(self, y: int) -> Sequence[Part]:
        if not self.circuits:
            return [(" no circuit of two cavities or more to watch", "dim")]
        circuit = self.circuits[y]
        drops = self.drops.get(circuit, [])
        width = self.size.width
        name = pad(fit(", ".join(circuit), 18), 18)
        tail = f" {len(drops)}x, {max(d.lasted_ms for d in drops):.1f} ms" if drops else " steady"
        room = max(10, width - 22 - 16)
        cells = ["─" if (n + 0.5) / room * self.span_ms <= self.now_ms else "·" for n in range(room)]
        for one in drops:
            cells[min(room - 1, int(one.at_ms / self.span_ms * room))] = "!" if one.kind != "short" else "X"
        role = "wrong" if drops else "plain"
        return [("! " if drops else "  ", role), (name, role), (" ", "plain"), ("".join(cells), "wire"), (tail, role)]


class WiggleScreen(StageScreen):
    """Start, wiggle, read what dropped."""

    STAGE = "wiggle"
    ABOUT = (
        "Move and pull lightly at every branch, connector by connector, while the board watches. A circuit that opens, "
        "or two that touch, is told at once with a sound, with how long it lasted; and what could have been missed."
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter,space", "turn_round", "start/stop", id="wiggle-start", tooltip="start watching, or stop"),
        Binding("s", "on", "go on", id="wiggle-on", tooltip="on: to finish, or back to what is wrong"),
    ]

    def __init__(self) -> None:
        super().__init__()
        self.number = 0
        self.began = 0.0
        self.dropped = 0
        self._keeper: Callable[[Any], None] = lambda _: None

    def body(self) -> ComposeResult:
        yield FaceView(id="faces")
        yield Lines(id="result")
        yield TimeLines()

    @property
    def seconds(self) -> float:
        """How long the plan wants it wiggled."""
        return float(self.bench.session.plan.limits.wiggle_s or SECONDS)

    def begin(self) -> None:
        self.query_one(FaceView).show(face_plans(self.bench.session.plan))
        super().begin()
        self.set_interval(0.2, self._advance)

    def draw(self) -> None:
        if self.number:
            return
        wiggles = self._job().state.wiggles
        times = self.query_one(TimeLines)
        if wiggles and not times.drops:
            from tester.job.stored import watch_of

            newest = watch_of(wiggles[-1])
            times.show(self._circuits(), max(newest.seconds, 1.0))
            for one in newest.dropouts:
                times.drop(one)
            times.advance(newest.seconds * 1000)
            self.source, self.when = "stored", str(wiggles[-1]["at"])[11:16]
            self._say_result(newest)
        elif not wiggles:
            times.show(self._circuits(), self.seconds)

    def next_words(self) -> str:
        if self.number:
            left = max(0.0, self.seconds - (time.monotonic() - self.began))
            more = f"{left:.0f} s to go" if left else "long enough"
            return f"Wiggle every branch now, {more}. {count(self.dropped, 'dropout')} so far. Enter stops."
        if self._job().state.watch_is_stale:
            return "The harness was handled after this watch: it no longer counts. Enter watches again; s goes on."
        if self._job().state.wiggles:
            judged = "The harness is judged with this" if self._job().state.verdict is not None else "Not judged yet"
            return f"{judged}: s goes on. Enter watches again."
        return f"Both ends on their leads. Enter starts the watch; wiggle for {self.seconds:.0f} s."

    def action_turn_round(self) -> None:
        session = self.bench.session
        if self.number:
            if self.bench.worker is not None:
                self.bench.worker.stop()
            return
        job = self._job()
        reasons = [f"Caution not acknowledged: {c.id}." for c in job.cautions() if not c.acknowledged]
        reasons += job.may_drive(session.options.virtual)
        info = self.bench.board_info
        if info is not None and "watch" not in info.can:
            reasons.append("This board cannot watch for dropouts: the check stays NOT TESTED.")
        if reasons:
            self.say(reasons[0])
            return
        reading = session.as_left() or session.as_found()
        if reading is None:
            self.say("There is no circuit to watch yet: scan first (g, as left).")
            return
        work = wired_by(session.first_leads(), wiggle_work(session.leads_in_use()[0], reading, self.seconds))
        self.on_first_leads(lambda: self._watch(work))

    def _watch(self, work: Work) -> None:
        self.note, self.dropped, self.began = "", 0, time.monotonic()
        self._keeper = self._job().dropout_keeper()
        self.query_one(TimeLines).show(self._circuits(), self.seconds)
        self.query_one("#result", Lines).show([])
        self.query_one(FaceView).mark(dict.fromkeys(self._names(), Mark.JOINED))
        self.number = self.bench.do(WIGGLE, work)
        self.source, self.when = "live" if self.number else "", ""
        self.show_strip()

    def action_on(self) -> None:
        verdict = self._job().state.verdict
        passed = verdict is not None and verdict["verdict"] != "FAIL"
        self.bench.show_stage("finish" if passed else "as left")

    def leaving(self) -> str:
        return (
            "The watch is running. It ends here; of what it saw only the first dropout is kept." if self.number else ""
        )

    # News

    def told(self, message: WorkTold) -> None:
        if message.number != self.number:
            return
        self.dropped += 1
        self.bench.sounds.play("dropout")
        self._keep(lambda: self._keeper(message.what))
        self.query_one(TimeLines).drop(message.what)
        face = self.query_one(FaceView)
        face.mark(dict.fromkeys(message.what.cavities, Mark.DROPPED))
        face.choose(message.what.cavities)
        self.show_strip()

    def work_done(self, message: WorkDone) -> None:
        if message.number != self.number:
            return
        self.number = 0
        self.source = ""
        if message.result is not None:
            self._say_result(message.result)
            self._keep(lambda: self._job().keep_wiggle(message.result))
            self.bench.sounds.play("wrong" if message.result.dropouts else "right")
        self.state_changed()

    def _keep(self, keep: Callable[[], object]) -> None:
        try:
            keep()
        except LoomwrightError as error:
            self.say(error.message)

    def work_failed(self, message: WorkFailed) -> None:
        if message.number == self.number:
            self.number = 0
            self.source = ""
            self._job().keep_abort(WIGGLE, message.error)
            super().work_failed(message)

    def board_changed(self, news: BoardNews) -> None:
        if news.state == "rest" and not self.number:
            self.note = ""
        super().board_changed(news)

    def _advance(self) -> None:
        if self.number:
            self.query_one(TimeLines).advance((time.monotonic() - self.began) * 1000)
            self.show_strip()

    def _job(self) -> Any:
        job = self.bench.session.job
        assert job is not None
        return job

    def _circuits(self) -> list[tuple[str, ...]]:
        reading = self.bench.session.as_left() or self.bench.session.as_found()
        return [c for c in reading.netlist if len(c) > 1] if reading is not None else []

    def _names(self) -> list[str]:
        return [name for circuit in self._circuits() for name in circuit]

    def _say_result(self, result: Any) -> None:
        from tester.job.stored import watch_words

        seen = f"{count(len(result.dropouts), 'dropout')} in {result.seconds:.0f} s."
        could = watch_words(result) + "."
        self.query_one("#result", Lines).show([
            *said(seen, "wrong" if result.dropouts else "right", " "), *said(could, "dim", " "),
        ])  # fmt: skip
