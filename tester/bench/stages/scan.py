"""What as found, as left and the comeback share: a full scan shown cavity by cavity as it happens."""

from __future__ import annotations

import math
import time
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical

from tester.bench.cavities import CavityList
from tester.bench.dialogs import YesNo
from tester.bench.face import FaceView
from tester.bench.harness_view import cavity_lines, face_plans, reading_fields, reading_marks
from tester.bench.lineview import Lines
from tester.bench.marks import Mark
from tester.bench.messages import BoardNews, WorkDone, WorkFailed, WorkTold
from tester.bench.picks import PickList
from tester.bench.scanning import MoveLeads, Row, Step, full_scan
from tester.bench.stage import StageScreen
from tester.bench.wet import WetGuide
from tester.errors import InputError
from tester.harness.reading import Measured

if TYPE_CHECKING:
    from tester.board.recording import Recorder
    from tester.harness.leads import LeadMap


class Pace:
    """How far a walk is, and how long it still takes at the pace so far; begins anew when the count does."""

    def __init__(self) -> None:
        self._began = time.monotonic()
        self._last = 0

    def words(self, done: int, total: int) -> str:
        """Such as ``12 of 50, about 3 s to go``."""
        if done < self._last:
            self._began = time.monotonic()
        self._last = done
        left = (time.monotonic() - self._began) / max(done, 1) * (total - done)
        return f"{done} of {total}" + (f", about {math.ceil(left)} s to go" if done < total else "")


class ScanStage(StageScreen):
    """Faces above; below what there is to say, a list to choose from, and all cavities. Subclasses say what for."""

    PURPOSE: ClassVar[str] = ""
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("s", "scan", "scan", id="scan", tooltip="full scan: each channel driven in turn"),
        Binding("e", "leave_out", "scan the rest", id="scan-rest", tooltip="scan without the wet cavities, never PASS"),
        Binding("c", "prove", "leads clean", id="scan-prove", tooltip="the lead set was cleaned: prove it again"),
        Binding("x", "cancel", "cancel", id="scan-cancel", tooltip="end the scan; the board lets every channel go"),
    ]

    def __init__(self) -> None:
        super().__init__()
        self.number = 0
        self.again = False
        self.progress = ""
        self.wet = WetGuide(self, self.PURPOSE)
        self.left_out: list[str] = []
        self._recorder: Recorder | None = None
        self._pace = Pace()
        self._moving: MoveLeads | None = None

    def body(self) -> ComposeResult:
        yield FaceView(id="faces")
        with Horizontal(id="lower"):
            with Vertical(id="left"):
                yield Lines(id="result")
                yield PickList(id="picks", empty="", lines=12)
            yield CavityList(id="cavities")

    def begin(self) -> None:
        session = self.bench.session
        assert session.job is not None
        self.query_one(FaceView).show(face_plans(session.plan))
        self.query_one(CavityList).show(cavity_lines(session.plan, session.job.leads))
        super().begin()

    @property
    def scanning(self) -> bool:
        """True while the scan runs."""
        return self.number != 0

    def show_reading(self, measured: Measured) -> None:
        """Put a reading on faces and list."""
        self.query_one(FaceView).mark(reading_marks(measured))
        self.query_one(CavityList).update_lines(reading_fields(measured))

    def blank(self) -> None:
        """Nothing is known of any cavity: what a broken scan or an older verdict left there is taken off."""
        job = self.bench.session.job
        assert job is not None
        names = [name for leads in job.leads for name in leads.cavities]
        face, cavities = self.query_one(FaceView), self.query_one(CavityList)
        face.mark(dict.fromkeys(names, Mark.UNKNOWN))
        face.choose(())
        cavities.update_lines({name: {"mark": Mark.UNKNOWN, "joined": None, "note": ""} for name in names})
        cavities.choose(())

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        if action == "cancel":
            return self.scanning
        if action == "scan":
            return not self.scanning
        if action == "leave_out":
            return self.built and not self.scanning and self.wet.found is not None
        if action == "prove":
            return self.built and not self.scanning and self.wet.unclean and self.wet.provable()
        return True

    def draw_wet(self) -> bool:
        """Show the guide for a wet harness instead of a result; False when there is nothing to guide."""
        found = self.wet.found
        if found is None:
            return False
        self.source = self.when = ""
        self.query_one(FaceView).mark(dict.fromkeys(found.cavities, Mark.NOT_TESTED))
        self.query_one(FaceView).choose(found.cavities)
        self.query_one(CavityList).update_lines(
            {name: {"mark": Mark.NOT_TESTED, "note": "possibly wet"} for name in found.cavities}
        )
        self.query_one(CavityList).choose(found.cavities)
        self.query_one("#result", Lines).show(self.wet.lines())
        self.query_one(PickList).show(self.wet.picks())
        return True

    def action_scan(self) -> None:
        """Begin the full scan, unless something must come first."""
        job = self.bench.session.job
        assert job is not None
        if self._may_scan():
            self._scan(job.leads, [])

    def action_leave_out(self) -> None:
        """Scan without the wet cavities, once that is acknowledged."""
        if self._may_scan():
            self.wet.ask(self._scan)

    def action_prove(self) -> None:
        """To the leads stage, where the lead set is proven again."""
        self.wet.prove()

    def _may_scan(self) -> bool:
        session = self.bench.session
        assert session.job is not None
        reasons = [*self.not_yet(), *session.job.may_drive(session.options.virtual)]
        if reasons:
            self.say(reasons[0])
        return not reasons

    def _scan(self, maps: Sequence[LeadMap], left_out: list[str]) -> None:
        from tester.board.recording import Recorder

        session = self.bench.session
        job = session.job
        assert job is not None
        self.left_out, self._recorder = left_out, Recorder()
        self.note = ""
        self.again = False
        self.progress = "voltage check and driver check first"
        self._pace = Pace()
        self.blank()
        self.query_one(Lines).show([])
        self.query_one(PickList).show([])
        self.number = self.bench.do(self.PURPOSE, full_scan(maps, session.leads_paths(), self.also(), self._recorder))
        self.source, self.when = "live" if self.number else "", ""
        if not self.number:
            self.draw()
        self.show_strip()
        self.refresh_bindings()

    def also(self) -> Iterable[tuple[str, str]]:
        """Links that the board should measure in any case."""
        job = self.bench.session.job
        assert job is not None
        return job.links_to_measure(self.PURPOSE)

    def not_yet(self) -> list[str]:
        """Why this scan must wait, in sentences."""
        return []

    def action_cancel(self) -> None:
        if self.scanning and self.bench.worker is not None:
            self.bench.worker.stop()
            self.progress = "cancelling"
            self.show_strip()

    def leaving(self) -> str:
        return "A scan is running. It is cancelled, and nothing of it counts." if self.scanning else ""

    def scan_words(self) -> str:
        """What the strip says while the scan runs."""
        return f"Scanning, {self.progress}. Do not touch the harness. x cancels."

    # News

    def told(self, message: WorkTold) -> None:
        if message.number != self.number:
            return
        what = message.what
        if isinstance(what, Row):
            self._show_row(what)
        elif isinstance(what, Step):
            self.progress = self._pace.words(what.done, what.total)
            self.show_strip()
        elif isinstance(what, MoveLeads):
            self._moving = what
            job = self.bench.session.job
            assert job is not None
            self.app.push_screen(
                YesNo(
                    f"Round {what.index + 1} of {len(job.leads)}: move the leads",
                    f"Plug in lead set {what.leads.id}, then press y. With n the scan is cancelled.",
                ),
                self._moved,
            )

    def _moved(self, answer: str | None) -> None:
        moving, self._moving = self._moving, None
        if answer == "yes" and moving is not None:
            moving.moved.set()
        else:
            self.action_cancel()

    def _show_row(self, row: Row) -> None:
        job = self.bench.session.job
        assert job is not None
        mark = self.row_mark(row)
        face = self.query_one(FaceView)
        face.mark({row.cavity: mark})
        self.query_one(CavityList).update_lines({row.cavity: {"mark": mark, "joined": tuple(row.joined)}})

    def row_mark(self, row: Row) -> Mark:
        """Mark of a cavity whose channel has just answered."""
        return Mark.JOINED if row.joined else Mark.LONE

    def work_done(self, message: WorkDone) -> None:
        if message.number != self.number:
            return
        self.number = 0
        job = self.bench.session.job
        assert job is not None
        if message.stopped:
            self.source = ""
            job.keep_abort(self.PURPOSE, InputError("cancelled by hand"))
            self.state_changed()
            self.say("The scan was cancelled, the board has let every channel go. Nothing of it counts.")
            return
        job.keep_scan(self.PURPOSE, message.result, self._recorded(), self.left_out)
        self.source = ""
        self.finished(message)
        self.state_changed()

    def finished(self, message: WorkDone) -> None:
        """The scan is stored: go on from it."""

    def work_failed(self, message: WorkFailed) -> None:
        if message.number != self.number:
            return
        self.number = 0
        self.source = ""
        self.again = message.lost
        job = self.bench.session.job
        assert job is not None
        job.keep_abort(self.PURPOSE, message.error, self._recorded(), self.left_out)
        self.refused()
        self.state_changed()
        if self.wet.found is None:
            self.say(" ".join(str(message.error).split()))
        else:
            self.bench.sounds.play("wrong")

    def _recorded(self) -> str:
        """Every byte of the scan that has just ended."""
        recorder, self._recorder = self._recorder, None
        return recorder.text() if recorder is not None else ""

    def refused(self) -> None:
        """The scan failed, and that is stored; shown next."""

    def board_changed(self, news: BoardNews) -> None:
        if news.state == "rest" and self.again and not self.scanning:
            self.say("The board is back. Nothing of the broken scan counts: press s to scan again.")
            return
        super().board_changed(news)
