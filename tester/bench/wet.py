"""The guide for a harness that may be wet: photograph, measure, dry, measure again; meanwhile the rest without PASS.

One for every screen whose look at the harness can be refused for a voltage. What it shows is read from the record, so
it stands there again after the job was left, or after a crash.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from tester.bench.dialogs import YesNo
from tester.bench.lineview import Block, said
from tester.bench.picks import Pick
from tester.words.wet import leave_out_question, measure_again, order_of_work, prove_again, wet_lines

if TYPE_CHECKING:
    from tester.bench.stage import StageScreen
    from tester.harness.leads import LeadMap
    from tester.job.job import Job
    from tester.job.wet import Refusal

ROLES = {"✓": "right", "!": "doubt", "–": "plain"}


class WetGuide:
    """What to do when a voltage check found weak sources, and afterwards. `purpose`: as the record names the look."""

    def __init__(self, screen: StageScreen, purpose: str) -> None:
        self.screen = screen
        self.purpose = purpose

    def _job(self) -> Job:
        job = self.screen.bench.session.job
        assert job is not None, "a stage screen is shown only with a job"
        return job

    @property
    def found(self) -> Refusal | None:
        """The refusal that this stage stands at, if the rest may be scanned; a real voltage leaves nothing to offer."""
        from tester.job.wet import refusal

        found = refusal(self._job().state, self.purpose) if self.screen.bench.session.job is not None else None
        return found if found is not None and found.wet else None

    def lines(self) -> list[Block]:
        """What was found, for the place of the result."""
        found = self.found
        return [] if found is None else [block for line in wet_lines(found.sources) for block in said(line, "doubt")]

    def picks(self) -> list[Pick]:
        """What to do, in order, as entries of a list."""
        found = self.found
        if found is None:
            return []
        orders = order_of_work(found.cavities, self._photographed())
        return [Pick(f"wet {n}", says, sign, ROLES[sign], tail) for n, (sign, says, tail) in enumerate(orders)]

    def next_words(self, key: str = "s") -> str:
        """What to do next, "" when nothing was refused. `key`: measures again."""
        found = self.found
        return "" if found is None else measure_again(found.cavities, key, self._photographed())

    def _photographed(self) -> bool:
        from tester.job.wet import photographed

        return photographed(self._job().state)

    def ask(self, then: Callable[[tuple[LeadMap, ...], list[str]], None]) -> None:
        """Ask whether the wet cavities are to be left out. `then` gets the lead maps without them, and their names."""
        found = self.found
        if found is None:
            return
        cavities = found.cavities
        title, text = leave_out_question(cavities)

        def answered(answer: str | None) -> None:
            if answer == "yes":
                job = self._job()
                by = str(job.state.opened.get("by", ""))
                then(job.keep_left_out(cavities, self.purpose, by), cavities)

        self.screen.app.push_screen(YesNo(title, text), answered)

    # The lead set afterwards

    @property
    def unclean(self) -> bool:
        """True while a lead set that was on a wet harness has not been proven again."""
        job = self.screen.bench.session.job
        return job is not None and bool(job.state.unclean)

    def prove_words(self) -> str:
        """What to do about the lead set, "" when it was never on a wet harness or that is settled by a later scan."""
        state = self._job().state
        newest = state.newest_scan(self.purpose)
        if state.unclean:
            return prove_again(self.provable())
        if newest is not None and (newest.unclean or newest.left_out):
            return prove_again(True, proven=True)
        return ""

    def provable(self) -> bool:
        """True when every lead set to be proven has a probe lead."""
        job = self._job()
        return all(one.probe is not None for one in job.leads if job.state.unclean & set(one.cavities))

    def prove(self) -> None:
        """To the leads stage, and back here when the leads are proven."""
        self.screen.bench.after_leads = self.screen.STAGE
        self.screen.bench.show_stage("leads")
