"""The bench app: one job on one screen after another, with the board in a thread of its own."""

from __future__ import annotations

import os
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from typing import Any, ClassVar

from textual.app import App, SystemCommand
from textual.binding import BindingType
from textual.screen import Screen

from tester.bench.bindings import EVERYWHERE
from tester.bench.dialogs import AskText, Choose, Help, YesNo
from tester.bench.keyrail import key_name
from tester.bench.messages import BoardNews, WorkDone, WorkFailed, WorkTold
from tester.bench.picks import Pick
from tester.bench.session import Options, Session
from tester.bench.shot import without_outside_fonts
from tester.bench.sounds import Sounds
from tester.bench.stage import StageScreen
from tester.bench.stages import SCREENS, STAGES
from tester.bench.strip import StripState
from tester.bench.theme import DARK, LIGHT, SIXTEEN, THEMES, few_colours
from tester.bench.worker import BoardWorker, Work
from tester.errors import LoomwrightError, StoreError

SETTLE_S = 0.1


class BenchApp(App[int]):
    """`run()` returns the exit status: 0, or 5 when something could not be stored."""

    CSS_PATH = Path(__file__).with_name("bench.tcss")
    TITLE = "Loomwright"
    ENABLE_COMMAND_PALETTE = True
    HORIZONTAL_BREAKPOINTS = [(0, "-narrow"), (110, "-wide")]  # noqa: RUF012 - an instance variable upstream
    VERTICAL_BREAKPOINTS = [(0, "-low"), (34, "-tall")]  # noqa: RUF012
    BINDINGS: ClassVar[list[BindingType]] = EVERYWHERE

    def __init__(self, options: Options, environ: dict[str, str] | None = None) -> None:
        few = few_colours(os.environ if environ is None else environ)
        super().__init__(ansi_color=True if few else None)
        for theme in THEMES:
            self.register_theme(theme)
        self.theme = SIXTEEN.name if few else DARK.name
        self.few_colours = few
        self.session = Session(options)
        self.sounds = Sounds(self.bell, self.set_timer, options.sound)
        self.worker: BoardWorker | None = None
        self.board_state = "none"
        self.board_info: Any = None
        self.board_error = ""
        self.before = ""
        self.step_wanted = ""
        self.after_leads = ""

    # Beginning and end

    def get_default_screen(self) -> Screen[Any]:
        """The first screen: the form of a new job where a plan was named, else the log."""
        options = self.session.options
        return SCREENS["intake" if options.plan and not options.record else "jobs"]()

    def on_mount(self) -> None:
        self.call_after_refresh(self._begin)

    def _begin(self) -> None:
        """After something was painted: loading plans and the log takes a moment."""
        options = self.session.options
        try:
            if options.record:
                self.session.take_up(options.record)
                self.go_on()
        except LoomwrightError as error:
            self.call_later(self.refuse, error)
        if self.session.trouble:
            self.call_later(self.refuse, StoreError(self.session.trouble))
        self.set_timer(SETTLE_S, self.connect)  # so that the board's modules do not hold up the first picture

    def connect(self) -> None:
        """Start to look for the board, if there is one to look for and nobody looks yet."""
        if self.worker is None:
            opener = self.session.opener()
            if opener is not None:
                self.worker = BoardWorker(opener, self.post_message)
                self.board_state = "seeking"
                self.worker.start()

    def on_unmount(self) -> None:
        self.end_worker()
        self.session.close()

    def end_worker(self) -> None:
        """Let go of the board; waits half a second at most."""
        if self.worker is not None:
            self.worker.close()
            self.worker = None
            self.board_state, self.board_info = "none", None

    def export_screenshot(self, *, title: str | None = None, simplify: bool = False) -> str:
        """The screen as SVG, without the font server that Textual's pictures name."""
        return without_outside_fonts(super().export_screenshot(title=title, simplify=simplify))

    # Stages

    @property
    def stage(self) -> StageScreen | None:
        """The stage on the screen, below any window."""
        for screen in reversed(self.screen_stack):
            if isinstance(screen, StageScreen):
                return screen
        return None

    def show_stage(self, name: str) -> None:
        """Put a stage on the screen in place of the one that is there."""
        if self.worker is not None:
            self.worker.stop()
        screen = SCREENS[name]()
        if self.stage is not None and self.stage.STAGE not in ("find", ""):
            self.before = self.stage.STAGE
        if isinstance(self.screen, StageScreen) and len(self.screen_stack) > 1:
            self.switch_screen(screen)  # the first screen stays at the bottom: it cannot be taken away
        else:
            self.push_screen(screen)

    def go_on(self) -> None:
        """Show the stage that the job stands at."""
        job = self.session.job
        self.show_stage(job.state.stage if job is not None else "jobs")

    def go_back(self) -> None:
        """Back to the stage that was shown before touch to find."""
        self.show_stage(self.before or "jobs")

    def strip_state(self, screen: StageScreen) -> StripState:
        """Everything that the strip shows."""
        parts = screen.strip_parts()
        job = self.session.job
        gone = self.board_info is not None and self.board_state in ("lost", "seeking")
        lost = self.board_error if gone and not parts.note else ""
        if job is None:
            return replace(parts, stages=STAGES, board=self.board_state, note=parts.note)
        opened = job.state.opened
        about = [str(opened.get(key, "")) for key in ("job", "tag", "side")]
        words = [
            f"tag {text}" if n == 1 else f"{text} side" if n == 2 else text for n, text in enumerate(about) if text
        ]
        note = parts.note or (f"{lost} Plug it in again: the job goes on where it was." if lost else "")
        if job.store_error is not None and not note:
            note = f"Not stored: {job.store_error.message}"
        return replace(
            parts,
            job=job.record,
            about=", ".join([*words, job.plan.title or job.plan.id]),
            stages=STAGES,
            reached=STAGES.index(job.state.stage),
            skipped=self._not_done(),
            board=self.board_state,
            note=note,
        )

    def _not_done(self) -> tuple[str, ...]:
        """Stages before the one that the job stands at whose work does not count."""
        job = self.session.job
        assert job is not None
        stale = ("as left", "finish") if self.session.stale_words() else ()
        return (*stale, *(() if job.state.wiggles and not job.state.watch_is_stale else ("wiggle",)))

    def refuse(self, error: LoomwrightError) -> None:
        """Say on the screen what was refused, in place of the next step."""
        if self.stage is not None:
            self.stage.say(" ".join(str(error).split()))

    # The board

    def do(self, name: str, work: Work, drives: bool = True) -> int:
        """Let the worker do this next; 0 when there is no board."""
        if self.worker is None:
            self.connect()
        if self.worker is None:
            if self.stage is not None:
                self.stage.say("There is no board: start with --board PORT, or --board virtual:HARNESS.toml.")
            return 0
        if self.board_state not in ("rest", "driving"):
            if self.stage is not None:
                why = f" {self.board_error}" if self.board_error else ""
                self.stage.say(f"The board is not here yet: plug it in, then press the key again.{why}")
            return 0
        return self.worker.do(name, work, drives=drives)

    def on_board_news(self, news: BoardNews) -> None:
        self.board_state = news.state
        if news.info is not None:
            self.board_info = news.info
            self._keep_board(news.info)
        self.board_error = news.error.message if news.error is not None else ""
        if self.stage is not None and self.stage.built:
            self.stage.board_changed(news)

    def _keep_board(self, info: Any) -> None:
        job = self.session.job
        if job is not None:
            job.use_board(board_facts(info))

    def on_work_told(self, message: WorkTold) -> None:
        if self.stage is not None and self.stage.built:
            self.stage.told(message)

    def on_work_done(self, message: WorkDone) -> None:
        if self.stage is not None and self.stage.built:
            self.stage.work_done(message)

    def on_work_failed(self, message: WorkFailed) -> None:
        if self.stage is not None and self.stage.built:
            self.stage.work_failed(message)

    # Keys that work everywhere

    def action_help(self) -> None:
        below = self.screen
        about = self.stage.ABOUT if self.stage is not None else ""
        self.push_screen(Help(below, about))

    def action_flip(self) -> None:
        if self.stage is not None:
            self.stage.action_flip()

    def action_sound(self) -> None:
        self.sounds.on = not self.sounds.on
        self.notify("sounds on" if self.sounds.on else "sounds off", timeout=2)

    def action_light(self) -> None:
        if self.few_colours:
            self.notify("this terminal has few colours: they stay as they are", timeout=3)
        else:
            self.theme = LIGHT.name if self.theme == DARK.name else DARK.name

    def action_stages(self) -> None:
        picks = []
        job = self.session.job
        if job is not None:
            reached = STAGES.index(job.state.stage)
            for n, name in enumerate(STAGES):
                sign, role = ("✓", "right") if n < reached else (" ", "strong") if n == reached else (" ", "dim")
                again = name == "as left" and bool(self.session.stale_words())
                if n < reached and name in self._not_done():
                    sign, role = " ", "dim"
                picks.append(Pick(name, name, "!" if again else sign, "doubt" if again else role,
                                  "test again" if again else "here" if n == reached else ""))  # fmt: skip
        picks.append(Pick("jobs", "another job: find it, or begin a new one"))
        if job is not None:
            picks.append(Pick("comeback", "comeback: this job replayed, scanned again, compared"))
        at = self.stage.STAGE if self.stage is not None else ""
        self.push_screen(Choose("Go to", picks, at=at), self._gone_to)

    def _gone_to(self, name: str | None) -> None:
        if name:
            self.show_stage(name)

    def action_find(self) -> None:
        if self.session.job is None:
            self.notify("first open a job: then it is known which channel goes to which cavity", timeout=4)
        else:
            self.show_stage("find")

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        if action == "rehearse":
            return self.session.options.virtual
        if action in ("find", "note", "photo"):
            return self.session.job is not None
        return True

    def action_rehearse(self) -> None:
        text = "What happens at the virtual bench: harness FILE, touch H-11, touch H-11 H-12, release, unplug."
        self.push_screen(AskText("Rehearsal", text), self._rehearsed)

    def _rehearsed(self, command: str | None) -> None:
        if not command or self.worker is None:
            return
        try:
            self.session.rehearse(self.worker, command)
        except LoomwrightError as error:
            self.refuse(error)
        else:
            self.notify(f"virtual bench: {command}", timeout=3, markup=False)

    def action_note(self) -> None:
        if self.session.job is not None:
            self.push_screen(AskText("A note for the record"), self._noted)

    def _noted(self, text: str | None) -> None:
        if text and self.session.job is not None:
            self.session.job.note(text)
            self.notify("the note is in the record", timeout=3)

    def action_photo(self) -> None:
        if self.session.job is not None:
            self.push_screen(AskText("A photo for the record", "File name of the picture."), self._photographed)

    def _photographed(self, path: str | None) -> None:
        job = self.session.job
        if not path or job is None:
            return
        try:
            content = self.session.read_photo(path)
            job.photo(path.rpartition("/")[2], content)
        except LoomwrightError as error:
            self.refuse(error)
        else:
            self.notify("the photo is in the record", timeout=3)

    def action_leave(self) -> None:
        why = self.stage.leaving() if self.stage is not None else ""
        if why:
            self.push_screen(YesNo("Leave?", why), lambda answer: self._leave() if answer == "yes" else None)
        else:
            self._leave()

    async def action_quit(self) -> None:
        self._leave()

    def _leave(self) -> None:
        job = self.session.job
        self.exit(5 if (job is not None and not job.stored) or self.session.trouble else 0)

    def get_system_commands(self, screen: Screen[Any]) -> Iterable[SystemCommand]:
        """Every binding that is active, by its words: the command palette needs no list of its own."""
        below = self.stage or screen
        seen = set()
        for active in below.active_bindings.values():
            binding = active.binding
            words = binding.tooltip or binding.description
            moves = (binding.id or "").startswith("list-")
            if binding.id is None or moves or not active.enabled or binding.action in seen:
                continue
            seen.add(binding.action)
            key = binding.key_display or key_name(binding.key)
            yield SystemCommand(
                binding.description or words, f"{words} ({key})", lambda action=binding.action: self._command(action)
            )

    async def _command(self, action: str) -> None:
        target = self.stage
        await (target or self).run_action(action)


def board_facts(info: Any) -> dict[str, Any]:
    """What the record keeps of a board."""
    return {
        "model": info.model,
        "serial": info.serial,
        "firmware": info.firmware,
        "protocol": info.protocol,
        "build": info.build,
        "channels": info.channels,
        "can": sorted(info.can),
    }


def run_bench(options: object) -> int:
    """Entry of `loomwright bench`: the app, or with --web the same app served on loopback."""
    if getattr(options, "web", False):
        from tester.bench.web import serve

        return serve(options)
    app = BenchApp(Options(options))
    status = app.run()
    return status if status is not None else app.return_code or 0
