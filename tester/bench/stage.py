"""Base of every screen that is a stage of the job: strip above, keys below, news of the board handed in."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, ClassVar, cast

from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Vertical
from textual.screen import Screen

from tester.bench.face import FaceView
from tester.bench.keyrail import KeyRail
from tester.bench.messages import BoardNews, WorkDone, WorkFailed, WorkTold
from tester.bench.strip import StripState, TopStrip
from tester.bench.text import fold, plain

if TYPE_CHECKING:
    from tester.bench.app import BenchApp


class StageScreen(Screen[None]):
    """One stage. Subclasses give `body`, `next_words`, and what they do with news."""

    STAGE: ClassVar[str] = ""
    ABOUT: ClassVar[str] = ""
    BINDINGS: ClassVar[list[BindingType]] = []

    def __init__(self) -> None:
        super().__init__()
        self.note = ""
        self.source = ""
        self.when = ""
        self.built = False

    @property
    def bench(self) -> BenchApp:
        """The app, typed."""
        return cast("BenchApp", self.app)

    def compose(self) -> ComposeResult:
        yield TopStrip()
        with Vertical(id="body"):
            yield from self.body()
        yield KeyRail()

    def body(self) -> ComposeResult:
        """The widgets between strip and keys."""
        yield from ()

    def on_mount(self) -> None:
        if self in self.app.screen_stack:  # another stage may have taken its place before it was built
            self.built = True
            self.begin()

    def begin(self) -> None:
        """The widgets are there: fill them for the first time."""
        self.state_changed()

    def on_screen_resume(self) -> None:
        if self.built:
            self.state_changed()

    def next_words(self) -> str:
        """What to do next, one sentence with the key to press."""
        return ""

    def state_changed(self) -> None:
        """The job changed, or the screen came back: draw what is shown anew."""
        self.draw()
        self.show_strip()
        self.refresh_bindings()

    def draw(self) -> None:
        """Draw the body from the job. Overridden."""

    def show_strip(self) -> None:
        """Bring the strip up to date."""
        if self.built:
            self.query_one(TopStrip).show(self.bench.strip_state(self))

    def say(self, note: str) -> None:
        """Show a refusal or a failure in place of the next step, until something else happens."""
        self.note = note
        self.show_strip()
        if len(fold(plain(note), max(20, self.size.width - 4))) > 2:  # the strip has two lines: all of it, aside
            self.notify(plain(note), timeout=12, markup=False)

    def board_changed(self, news: BoardNews) -> None:
        """The board came, went, or began to drive."""
        self.show_strip()

    def told(self, message: WorkTold) -> None:
        """News from work that this screen asked for."""

    def work_done(self, message: WorkDone) -> None:
        """Work that this screen asked for ended."""

    def work_failed(self, message: WorkFailed) -> None:
        """Work that this screen asked for failed; told, and left to be asked for again."""
        self.say(str(message.error))

    def on_first_leads(self, then: Callable[[], None]) -> None:
        """Do this on the first lead set; with several of them the person is asked to plug it in first."""
        job = self.bench.session.job
        assert job is not None
        if len(job.leads) == 1:
            then()
            return
        from tester.bench.dialogs import YesNo

        self.app.push_screen(
            YesNo("Which leads are plugged in?", f"Plug in lead set {job.leads[0].id}, then press y."),
            lambda answer: then() if answer == "yes" else None,
        )

    def leaving(self) -> str:
        """Why leaving now needs a second thought, "" when it does not."""
        return ""

    def faces(self) -> list[FaceView]:
        """Faces that stand on this screen now, for the flip key."""
        return [face for face in self.query(FaceView) if face.display and face.plans]

    def idle_keys(self) -> tuple[str, ...]:
        """Ids of bindings that have nothing to do on this screen now."""
        return () if self.faces() else ("flip",)

    def action_flip(self) -> None:
        faces = self.faces()
        for face in faces:
            face.flip()
        if not faces:
            self.notify("no connector face stands here: there is nothing to flip", timeout=3)

    def strip_parts(self) -> StripState:
        """What only this screen knows of the strip."""
        return StripState(stage=self.STAGE, next=self.next_words(), note=self.note, source=self.source, when=self.when)
