"""A harness that may be wet: what the newest voltage check found, what to leave out of a scan, which leads it soils.

A weak source (`measure.Source.weak`) is what water and two metals make. The harness is photographed, measured before
anything is cleaned, dried, measured again. Meanwhile the rest may be scanned without the wet cavities, never PASS.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from tester.errors import LoomwrightError
from tester.harness.cavity import in_order
from tester.harness.leads import LeadMap
from tester.job.measure import Source, VoltagePresent
from tester.job.state import JobState


@dataclass(frozen=True)
class Refusal:
    """The newest look was refused for these voltages. `left_out`: cavities that it had left out already."""

    sources: tuple[Source, ...]
    left_out: tuple[str, ...] = ()
    message: str = ""

    @property
    def wet(self) -> bool:
        """True when every source is weak, so that the rest may be scanned."""
        return all(source.weak for source in self.sources)

    @property
    def cavities(self) -> list[str]:
        """What the next scan must leave out: what is wet now, and what this look left out already."""
        return in_order({*self.left_out, *(source.cavity for source in self.sources)})


def refusal(state: JobState, purpose: str) -> Refusal | None:
    """The refusal that the job stands at, None when something else was done since."""
    newest = state.aborted[-1] if state.aborted else {}
    if newest.get("purpose") != purpose or not newest.get("sources"):
        return None
    if state.scans and state.scans[-1].place > newest["place"]:
        return None
    sources = tuple(Source(**one) for one in newest["sources"])
    return Refusal(sources, tuple(newest.get("left_out", ())), newest["message"])


def photographed(state: JobState) -> bool:
    """True when a photo was added since the newest scan: of the harness as it lies there now."""
    since = state.scans[-1].place if state.scans else 0
    return any(photo["place"] > since for photo in state.photos)


def refusal_facts(error: LoomwrightError, left_out: Iterable[str]) -> dict[str, Any]:
    """What an "aborted" event keeps of voltages; nothing for any other error."""
    if not isinstance(error, VoltagePresent):
        return {}
    return {"sources": [asdict(source) for source in error.sources], "left_out": in_order(left_out)}


def soiled(maps: Sequence[LeadMap], wet: Iterable[str]) -> list[str]:
    """All cavities of the lead sets that go to a wet cavity."""
    cavities = set(wet)
    return in_order({name for one in maps if cavities & set(one.cavities) for name in one.cavities})
