"""The one thread that talks to the board. It posts messages and touches no widget; nothing waits for it at the end.

A board that hangs holds this thread, never the app: the thread is a daemon, `close` waits half a second at most, and
the hardware lets every channel go by itself when the host falls silent.
"""

from __future__ import annotations

import contextlib
import queue
import threading
import traceback
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

from textual.message import Message

from tester.bench.messages import BoardNews, WorkDone, WorkFailed, WorkTold
from tester.errors import BoardError, LoomwrightError

PING_S = 1.0
RETRY_S = 1.0
CLOSE_S = 0.5
LOST = ("port", "link", "protocol")


class BoardLike(Protocol):
    """What the worker itself needs of a board; the work gets the real one."""

    @property
    def info(self) -> Any: ...

    def state(self) -> Any:
        """Ask how the board is: raises BoardError when it no longer answers."""

    def off(self) -> None:
        """Release every channel."""

    def close(self) -> None:
        """Release every channel and let go of the port. Never raises."""


class Stopped(Exception):
    """Raised inside a piece of work that was told to stop, from `Talk.check`."""


class Talk:
    """What a piece of work is given: the board, a way to tell, a way to learn that it should stop."""

    def __init__(self, board: Any, tell: Callable[[Any], None], stop: threading.Event) -> None:
        self.board = board
        self.tell = tell
        self._stop = stop

    @property
    def stopped(self) -> bool:
        """True when the work should end soon."""
        return self._stop.is_set()

    def check(self, *_: object) -> None:
        """Raise Stopped when the work should end: handed out as a progress callback."""
        if self._stop.is_set():
            raise Stopped

    def pause(self, seconds: float) -> bool:
        """Wait, or shorter when told to stop; True when told."""
        return self._stop.wait(seconds)


Work = Callable[[Talk], Any]


def wired_by(path: Path | None, work: Work) -> Work:
    """The work, with a virtual harness wired by this lead map first; on a real board a person has done that."""

    def wired(talk: Talk) -> Any:
        if path is not None:
            talk.board.rewire(path)
        return work(talk)

    return wired


@dataclass(frozen=True)
class _Order:
    number: int
    name: str
    work: Work
    drives: bool
    stop: threading.Event


class BoardWorker:
    """Opens the board, keeps asking whether it is there, does one piece of work at a time.

    `open_board` opens it anew each time it is called; `post` hands a message to the app and may fail once it ended.
    """

    def __init__(self, open_board: Callable[[], BoardLike], post: Callable[[Message], object]) -> None:
        self._open = open_board
        self._post_raw = post
        self._orders: queue.Queue[_Order | None] = queue.Queue()
        self._closing = threading.Event()
        self._stop = threading.Event()
        self._count = 0
        self._board: BoardLike | None = None
        self._thread = threading.Thread(target=self._run, name="board", daemon=True)

    def start(self) -> None:
        """Begin: the board is looked for at once."""
        self._thread.start()

    def do(self, name: str, work: Work, *, drives: bool = True) -> int:
        """Stop what runs and do this next. Returns the number that its messages carry."""
        self._stop.set()
        self._count += 1
        self._stop = threading.Event()
        self._orders.put(_Order(self._count, name, work, drives, self._stop))
        return self._count

    def tell_virtual(self, *words: str) -> bool:
        """Tell a virtual board what happens at the bench; False when there is no virtual board. Raises InputError.

        Its commands have a line of their own, beside the port that the thread speaks on.
        """
        board: Any = self._board
        return board is not None and bool(board.tell(*words))

    def stop(self) -> None:
        """Tell the work that runs, or waits, to end."""
        self._stop.set()

    def close(self) -> bool:
        """End the thread; True when it ended within half a second."""
        self._closing.set()
        self._stop.set()
        self._orders.put(None)
        if self._thread.is_alive():
            self._thread.join(CLOSE_S)
        return not self._thread.is_alive()

    # --- in the thread ------------------------------------------------------------------------------------------------

    def _post(self, message: Message) -> None:
        if not self._closing.is_set():
            with contextlib.suppress(RuntimeError):  # the app's loop ended between the question and the call
                self._post_raw(message)

    def _run(self) -> None:
        try:
            while not self._closing.is_set():
                if self._board is None and not self._connect():
                    self._closing.wait(RETRY_S)
                    continue
                try:
                    order = self._orders.get(timeout=PING_S)
                except queue.Empty:
                    self._ping()
                    continue
                if order is not None:
                    self._carry_out(order)
        finally:
            if self._board is not None:
                self._board.close()

    def _connect(self) -> bool:
        try:
            self._board = self._open()
        except LoomwrightError as error:
            self._post(BoardNews("seeking", error=error))
            return False
        except Exception as error:  # noqa: BLE001 - a bug must reach the screen, not end the thread in silence
            self._post(BoardNews("seeking", error=internal(error)))
            return False
        self._post(BoardNews("rest", info=self._board.info))
        return True

    def _ping(self) -> None:
        assert self._board is not None
        try:
            self._board.state()
        except BoardError as error:
            self._lose(error)

    def _carry_out(self, order: _Order) -> None:
        if order.stop.is_set():
            self._post(WorkDone(order.number, order.name, None, stopped=True))
            return
        talk = Talk(self._board, lambda what: self._post(WorkTold(order.number, order.name, what)), order.stop)
        if order.drives:
            self._post(BoardNews("driving"))
        try:
            result = order.work(talk)
        except Stopped:
            self._released(order)
            self._post(WorkDone(order.number, order.name, None, stopped=True))
        except BoardError as error:
            lost = error.code in LOST
            if not lost:
                self._released(order)  # the board is at rest before it is told why: what is told last stays
            self._post(WorkFailed(order.number, order.name, error, lost))
            if lost:
                self._lose(error)
        except LoomwrightError as error:
            self._released(order)
            self._post(WorkFailed(order.number, order.name, error, False))
        except Exception as error:  # noqa: BLE001 - see _connect
            self._released(order)
            self._post(WorkFailed(order.number, order.name, internal(error), False))
        else:
            self._released(order)
            self._post(WorkDone(order.number, order.name, result, order.stop.is_set()))

    def _released(self, order: _Order) -> None:
        if self._board is None:
            return
        try:
            self._board.off()
        except BoardError as error:
            self._lose(error)
            return
        if order.drives:
            self._post(BoardNews("rest"))

    def _lose(self, error: BoardError) -> None:
        board, self._board = self._board, None
        self._post(BoardNews("lost", error=error))
        if board is not None:
            board.close()


def internal(error: Exception) -> LoomwrightError:
    """A bug as a message that can be reported: kind, text, and where."""
    where = traceback.extract_tb(error.__traceback__)
    place = f"{where[-1].filename.rpartition('/')[2]} line {where[-1].lineno}" if where else "unknown place"
    return LoomwrightError(
        f"internal error: {type(error).__name__}: {error} ({place})", "Nothing was judged. Please report this."
    )
