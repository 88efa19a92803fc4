"""Comeback: the record stepped through, the harness scanned again, what changed since side by side."""

from __future__ import annotations

from typing import Any, ClassVar

from rich.cells import cell_len
from textual.binding import Binding, BindingType

from tester.bench.cavities import CavityList
from tester.bench.face import FaceView
from tester.bench.harness_view import verdict_fields, verdict_marks
from tester.bench.history import SIGNS, event_words
from tester.bench.lineview import Block, Lines, said
from tester.bench.messages import WorkDone
from tester.bench.picks import Pick, PickList
from tester.bench.stages.scan import ScanStage
from tester.bench.text import count, fit, pad
from tester.errors import LoomwrightError
from tester.harness.cavity import in_order
from tester.words.lists import listed

MOST_BESIDE = 6  # cavities of a change that stand side by side
HANDLED = {"circuit edited": ("✗", "wrong"), "connector opened": ("!", "doubt"), "not handled": ("·", "plain")}


class ComebackScreen(ScanStage):
    """Two lists that take turns: the events of the record, and the changes since."""

    STAGE = "comeback"
    PURPOSE = "comeback"
    ABOUT = (
        "The harness came back. First photograph it and measure, before unplugging more or cleaning anything. The "
        "record can be stepped through; after a scan the changes stand side by side, and whether the job had handled "
        "them: circuit edited, connector opened, not handled."
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "on", "changes", id="comeback-on", tooltip="scan, or between record and changes"),
        Binding("r", "record", "record", id="comeback-record", tooltip="step through the record"),
    ]

    def __init__(self) -> None:
        super().__init__()
        self.replaying = True
        self.trouble = ""

    def draw(self) -> None:
        if self.scanning:
            return
        picks = self.query_one(PickList)
        if not self.replaying and self.draw_wet():
            return
        if self.replaying:
            picks.show(self._events())
        else:
            reading = self.bench.session.comeback_reading()
            self.blank()
            if reading is not None:
                self.show_reading(reading)
            picks.show(self._changes())
        picks.focus()
        self._show(picks.key)

    def next_words(self) -> str:
        if self.scanning:
            return self.scan_words()
        if self.wet.found is not None:
            return self.wet.next_words()
        if self._job().state.newest_scan(self.PURPOSE) is None:
            return "Photograph first (p). Step through the record with ↑ ↓; s scans the harness as it came back."
        if self.replaying:
            return "Step through the record with ↑ ↓; Enter shows what changed since, s scans again."
        if self.wet.prove_words():
            return self.wet.prove_words()
        return "What changed stands below, what the job had handled first. r goes back to the record, s scans again."

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        if action in ("on", "record") and self.scanning:
            return False
        return super().check_action(action, parameters)

    def action_on(self) -> None:
        if self._job().state.newest_scan(self.PURPOSE) is None and self.wet.found is None:
            self.action_scan()
        else:
            self.replaying = not self.replaying
            self.state_changed()

    def action_record(self) -> None:
        self.replaying = True
        self.state_changed()

    def finished(self, message: WorkDone) -> None:
        self.replaying = False
        self.bench.sounds.play("found")

    def begin(self) -> None:
        self.replaying = self.wet.found is None and not self.wet.prove_words()
        super().begin()

    def refused(self) -> None:
        self.replaying = False

    def on_pick_list_moved(self, event: PickList.Moved) -> None:
        self._show(event.key)
        self.show_strip()

    def on_pick_list_picked(self, event: PickList.Picked) -> None:
        self.action_on()

    def _job(self) -> Any:
        job = self.bench.session.job
        assert job is not None
        return job

    def _events(self) -> list[Pick]:
        steps = {one.id: one.says for one in self.bench.session.steps()}
        events = self._job().events()
        newest = max((n for n, event in enumerate(events) if event.kind == "verdict"), default=-1)
        picks = []
        for place, event in enumerate(events, 1):
            sign, role = SIGNS.get(event.kind, (" ", "plain"))
            words = event_words(event.kind, event.data, steps)
            if event.kind == "verdict" and (place <= newest or self._job().state.verdict is None):
                words += ", no longer counts"
            picks.append(Pick(f"event {place}", words, sign, role, f"{event.at.astimezone():%H:%M}"))
        return picks

    def _changes(self) -> list[Pick]:
        entry = self._job().state.newest_scan(self.PURPOSE)
        picks = []
        if entry is not None and entry.left_out:
            words = f"Possibly wet, left out: {listed(in_order(entry.left_out))}."
            picks.append(Pick("left out", words, "–", "doubt", "not tested"))
        for n, change in enumerate(self._compared()):
            sign, role = HANDLED.get(change.touched, ("·", "plain"))
            picks.append(Pick(f"change {n}", change.says, sign, role, change.touched))
        return picks

    def _compared(self) -> list[Any]:
        self.trouble = ""
        try:
            return list(self.bench.session.comeback_changes())
        except LoomwrightError as error:
            self.trouble = " ".join(str(error).split())
            return []

    def _show(self, key: str) -> None:
        kind, _, number = key.partition(" ")
        if kind == "event":
            self._show_event(int(number))
        elif kind == "change":
            self.source = "stored"
            change = self._compared()[int(number)]
            self.query_one(FaceView).choose(change.cavities)
            self.query_one(CavityList).choose(change.cavities)
            self.query_one("#result", Lines).show(self._side_by_side(change.cavities))
        elif kind == "left":
            left_out = in_order(self._job().state.newest_scan(self.PURPOSE).left_out)
            self.query_one(FaceView).choose(left_out)
            self.query_one(CavityList).choose(left_out)
            self.query_one("#result", Lines).show(said("NOT TESTED: nothing is said of these cavities.", "doubt"))
        elif kind == "wet":
            pass
        elif self.trouble:
            self.query_one("#result", Lines).show(said(f"Not compared: {self.trouble}", "doubt"))
        elif self.bench.session.comeback_reading() is None:
            self.query_one("#result", Lines).show(said("Not scanned since it came back: s scans.", "doubt"))
        else:
            self.query_one("#result", Lines).show(said(f"Nothing changed since {self._before()}.", "right"))

    def _show_event(self, place: int) -> None:
        """The job as it was after this event: its readings and verdict on the faces."""
        state = self._job().at(place)
        events = self._job().events()
        self.source, self.when = "replayed", f"{place} of {len(events)}"
        verdict = state.verdict
        old = "; the verdict before no longer counts: test again" if state.verdicts and verdict is None else ""
        scan = state.newest_scan("as left") or state.newest_scan("as found")
        lines = said(
            f"Stage {state.stage}; {count(len(state.ticks), 'step')} ticked; "
            + (f"verdict {verdict['verdict']}" if verdict else f"scanned {scan.purpose}" if scan else "not scanned")
            + old,
            "plain",
        )  # fmt: skip
        self.query_one("#result", Lines).show(lines)
        face, cavities = self.query_one(FaceView), self.query_one(CavityList)
        if verdict is not None:
            face.mark(verdict_marks(verdict))
            cavities.update_lines(verdict_fields(verdict))
        elif scan is not None:
            measured = self.bench.session.reading(scan)
            self.show_reading(measured)
        else:
            self.blank()
        event = events[place - 1]
        touched: tuple[str, ...] = ()
        if event.kind in ("tick", "undo"):
            touched = next((s.cavities for s in self.bench.session.steps() if s.id == event.data.get("step")), ())
        else:
            touched = tuple(map(str, event.data.get("cavities", ()) or ()))
            touched = touched if event.kind in ("touched", "lead-proven") else ()
        face.choose(touched)
        cavities.choose(touched)

    def _before(self) -> str:
        """What the harness is compared with; a scan older than the last step is told as such."""
        if self.bench.session.as_left() is None:
            return "as found"
        return "as left" if self._job().state.scan_is_fresh else "as left, before the last step"

    def _side_by_side(self, cavities: tuple[str, ...]) -> list[Block]:
        session = self.bench.session
        before, now = session.as_left() or session.as_found(), session.comeback_reading()
        shown = cavities[:MOST_BESIDE]
        room = max(24, self.query_one("#result", Lines).size.width - 1)
        names = min(max((cell_len(name) for name in shown), default=0) + 1, room // 3)
        column = (room - names) // 2
        lines: list[Block] = [[(pad("", names) + pad(self._before(), column) + "now", "head")]]
        for name in shown:
            cells = []
            for reading in (before, now):
                known = reading is not None and name in reading.netlist
                joined = reading.netlist.partners(name) if known and reading is not None else ()
                cells.append(", ".join(joined) if joined else "nothing" if known else "not seen")
            before_words, now_words = (fit(cell, column - 1) for cell in cells)
            lines.append([(pad(name, names), "strong"), (pad(before_words, column), "plain"), (now_words, "plain")])
        if len(cavities) > len(shown):
            lines.append([(f"and {count(len(cavities) - len(shown), 'more cavity', 'more cavities')}", "dim")])
        return lines
