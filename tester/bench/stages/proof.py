"""Proving the lead set, a part of the leads stage: identity jumpers, then cavity after cavity touched."""

from __future__ import annotations

from typing import TYPE_CHECKING

from tester.bench.messages import WorkDone, WorkFailed, WorkTold
from tester.bench.picks import Pick

if TYPE_CHECKING:
    from tester.bench.stages.leads import LeadsScreen


class Proof:
    """Runs the proof for the leads screen."""

    def __init__(self, screen: LeadsScreen) -> None:
        self.screen = screen
        self.running = False

    def all_proven(self) -> bool:
        """True when every lead is proven."""
        job = self.screen.bench.session.job
        return job is not None and all(name in job.state.proven for leads in job.leads for name in leads.cavities)

    def picks(self) -> list[Pick]:
        return []

    def words(self, kind: str) -> str:
        return ""

    def next_words(self) -> str:
        return ""

    def start(self, kind: str) -> None:
        pass

    def stop(self) -> None:
        pass

    def told(self, message: WorkTold) -> None:
        pass

    def done(self, message: WorkDone) -> None:
        pass

    def failed(self, message: WorkFailed) -> None:
        self.running = False
