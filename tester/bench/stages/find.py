"""Touch to find: the probe lead on a terminal or cavity says which it is, and which circuit."""

from __future__ import annotations

from typing import Any, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical

from tester.bench.face import FaceView
from tester.bench.harness_view import face_plans
from tester.bench.lineview import Big, Block, Lines, said
from tester.bench.marks import Mark
from tester.bench.messages import BoardNews, WorkDone, WorkFailed, WorkTold
from tester.bench.stage import StageScreen
from tester.bench.worker import Talk, Work, wired_by
from tester.errors import LoomwrightError

FIND = "find"
TURN_S = 0.08


class FindScreen(StageScreen):
    """Large: the cavity that answers; below its circuit, on the faces."""

    STAGE = "find"
    ABOUT = (
        "Touch a terminal or a cavity with the probe lead. The cavity that answers stands there large, its circuit is "
        "framed on the faces. A finger on the tip is told from metal."
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape,enter,t", "back", "back to the job", id="find-back", tooltip="back to where you were"),
    ]

    def __init__(self) -> None:
        super().__init__()
        self.number = 0
        self.touched: Any = None

    def body(self) -> ComposeResult:
        with Vertical(id="find"):
            yield Lines(id="found")
            yield FaceView(id="faces")

    def begin(self) -> None:
        session = self.bench.session
        found = session.as_left() or session.as_found()
        self.query_one(FaceView).show(face_plans(session.plan))
        if found is not None:
            self.query_one(FaceView).mark(
                {name: Mark.JOINED if found.netlist.partners(name) else Mark.LONE for name in found.netlist.cavities}
            )
        super().begin()
        self._start()

    def _start(self) -> None:
        from tester.job.touch import Touch

        session = self.bench.session
        job = session.job
        assert job is not None
        open_ones = [one for one in job.cautions() if not one.acknowledged]
        reasons = job.may_drive(session.options.virtual)
        if open_ones or reasons:
            self.say(reasons[0] if reasons else "First acknowledge the cautions of the leads stage (g, leads).")
            return
        reading = session.as_left() or session.as_found()
        try:
            touch = Touch(job.leads[0], reading.netlist if reading is not None else None)
        except LoomwrightError as error:
            self.say(" ".join(str(error).split()))
            return
        self.on_first_leads(lambda: self._look(touch))

    def _look(self, touch: Any) -> None:
        self.number = self.bench.do(FIND, wired_by(self.bench.session.first_leads(), find_work(touch)))
        self.source = "live" if self.number else ""
        self.show_strip()

    def draw(self) -> None:
        lines: list[Block] = []
        cavities: tuple[str, ...] = ()
        if self.touched is None:
            lines += [[], [("  nothing touched", "dim")]]
        else:
            role = "strong" if self.touched.firm else "doubt"
            lines.append(Big(self.touched.cavity, role, "  "))
            others = [name for name in self.touched.circuit if name != self.touched.cavity]
            words = f"channel {self.touched.channel}, " + (
                f"in a circuit with {', '.join(others)}" if others else "joined to nothing else"
            )
            lines += said(words, "plain", "  ")
            if not self.touched.firm:
                lines.append([("  ? the answer is not firm: touch metal to metal, not with a finger", "doubt")])
            cavities = (self.touched.cavity, *others)
        self.query_one("#found", Lines).show(lines)
        self.query_one(FaceView).choose(cavities)

    def next_words(self) -> str:
        return "Touch a terminal or cavity with the probe lead. Esc goes back to the job."

    def action_back(self) -> None:
        self.bench.go_back()

    def action_find(self) -> None:
        self.action_back()

    def told(self, message: WorkTold) -> None:
        if message.number == self.number:
            fresh = message.what
            if fresh is not None and (self.touched is None or fresh.cavity != self.touched.cavity):
                self.bench.sounds.play("found" if fresh.firm else "wrong")
            if fresh is not None:
                self.touched = fresh
                self.draw()

    def work_done(self, message: WorkDone) -> None:
        if message.number == self.number:
            self.source = ""
            self.show_strip()

    def board_changed(self, news: BoardNews) -> None:
        if news.state == "rest" and not self.source:
            self.note = ""
            self._start()
        super().board_changed(news)

    def work_failed(self, message: WorkFailed) -> None:
        self.source = ""
        super().work_failed(message)


def find_work(touch: Any) -> Work:
    """Work that looks where the probe is until it is stopped; tells each change."""

    def work(talk: Talk) -> None:
        last: Any = None
        while not talk.stopped:
            now = touch.turn(talk.board)
            if now != last:
                last = now
                talk.tell(now)
            talk.pause(TURN_S)

    return work
