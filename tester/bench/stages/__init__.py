"""The stages as screens, by name. They are imported when they are first shown."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from importlib import import_module
from typing import cast

from tester.bench.stage import StageScreen

STAGES = ("intake", "leads", "as found", "work sheet", "as left", "wiggle", "finish", "after installing")
_PLACES = {
    "jobs": "jobs:JobsScreen",
    "intake": "intake:IntakeScreen",
    "leads": "leads:LeadsScreen",
    "as found": "found:AsFoundScreen",
    "work sheet": "sheet:WorkSheetScreen",
    "as left": "left:AsLeftScreen",
    "wiggle": "wiggle:WiggleScreen",
    "finish": "finish:FinishScreen",
    "after installing": "after:AfterScreen",
    "comeback": "comeback:ComebackScreen",
    "find": "find:FindScreen",
}


class _Screens(Mapping[str, Callable[[], StageScreen]]):
    def __getitem__(self, name: str) -> Callable[[], StageScreen]:
        module, _, kind = _PLACES[name].partition(":")
        return cast(Callable[[], StageScreen], getattr(import_module(f"tester.bench.stages.{module}"), kind))

    def __iter__(self) -> Iterator[str]:
        return iter(_PLACES)

    def __len__(self) -> int:
        return len(_PLACES)


SCREENS: Mapping[str, Callable[[], StageScreen]] = _Screens()
