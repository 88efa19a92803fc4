"""What the board worker tells the app. Nothing else passes between the two threads."""

from __future__ import annotations

from typing import Any

from textual.message import Message

from tester.errors import LoomwrightError


class BoardNews(Message):
    """The board's state changed. `state` of strip.BOARD_SIGNS; `info` once it answers; `error` when it is lost."""

    def __init__(self, state: str, info: Any = None, error: LoomwrightError | None = None) -> None:
        super().__init__()
        self.state = state
        self.info = info
        self.error = error


class WorkTold(Message):
    """News from a piece of work that goes on: progress, a live event, a touch."""

    def __init__(self, number: int, name: str, what: Any) -> None:
        super().__init__()
        self.number = number
        self.name = name
        self.what = what


class WorkDone(Message):
    """A piece of work ended well. `stopped`: because it was told to stop."""

    def __init__(self, number: int, name: str, result: Any, stopped: bool = False) -> None:
        super().__init__()
        self.number = number
        self.name = name
        self.result = result
        self.stopped = stopped


class WorkFailed(Message):
    """A piece of work failed. `lost`: the board went away, and the same work may be asked for again when it is back."""

    def __init__(self, number: int, name: str, error: LoomwrightError, lost: bool) -> None:
        super().__init__()
        self.number = number
        self.name = name
        self.error = error
        self.lost = lost
