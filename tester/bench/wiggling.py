"""The dropout watch as a piece of work for the worker."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from tester.bench.worker import Talk, Work

if TYPE_CHECKING:
    from tester.harness.leads import LeadMap
    from tester.harness.reading import Measured


def wiggle_work(leads: LeadMap, measured: Measured, seconds: float) -> Work:
    """Work that ends with a WatchResult and tells each dropout as soon as it is over."""

    def work(talk: Talk) -> Any:
        from tester.job.wiggle import watch

        return watch(talk.board, leads, measured, seconds, on_dropout=talk.tell, stop=lambda: talk.stopped)

    return work
