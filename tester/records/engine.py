"""What the store asks of a database, and waiting for a turn. Both engines run the same SQL with `?` for values."""

from __future__ import annotations

import time
from abc import ABC, abstractmethod
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any

from tester.errors import StoreError

Row = tuple[Any, ...]
Waiting = Callable[[float], None]
"""Called with the seconds waited so far while another process is writing."""

TURN_S = 0.25
"""How long one attempt to get a turn lasts before `Waiting` is called."""


class BusyError(Exception):
    """Another process is writing; raised by engines, never seen outside this room."""


class Engine(ABC):
    """One connection. `name` is what a person may read (no password); `guards` are extra statements at creation."""

    name: str
    guards: tuple[str, ...] = ()
    words: dict[str, str]

    def __init__(self, waiting: Waiting | None, patience: float) -> None:
        self.waiting = waiting
        self.patience = patience
        self._depth = 0
        self._reading = False

    def fill(self, statement: str) -> str:
        """A statement of `schema` with this engine's words in it."""
        for name, word in self.words.items():
            statement = statement.replace("{" + name + "}", word)
        return statement

    @abstractmethod
    def rows(self, sql: str, values: Sequence[Any] = ()) -> list[Row]:
        """All rows of a query."""

    @abstractmethod
    def each(self, sql: str, values: Sequence[Any] = ()) -> Iterator[Row]:
        """Rows of a query, a few at a time."""

    @abstractmethod
    def run(self, sql: str, values: Sequence[Any] = ()) -> int:
        """Run a statement; how many rows it touched."""

    @abstractmethod
    def run_many(self, sql: str, values: Sequence[Sequence[Any]]) -> None:
        """Run a statement once for each row of values."""

    @abstractmethod
    def tables(self) -> set[str]:
        """Names of the tables that are there."""

    @abstractmethod
    def created(self) -> None:
        """Called in the transaction that makes the tables: mark the database as ours, see that it will be found."""

    @abstractmethod
    def begin(self) -> None:
        """Start a write transaction. Raises BusyError when another process writes."""

    @abstractmethod
    def begin_reading(self) -> None:
        """Start a transaction that sees one state of the log throughout."""

    @abstractmethod
    def commit(self) -> None:
        """Put the transaction on disk; back only when it is there."""

    @abstractmethod
    def rollback(self) -> None:
        """Forget the transaction. Never raises."""

    @abstractmethod
    def close(self) -> None:
        """Close the connection. Never raises."""

    @contextmanager
    def forgiving(self) -> Iterator[None]:
        """Damaged text comes back with signs replaced instead of raising, so that its event can be named."""
        yield

    @abstractmethod
    def unsound(self) -> str:
        """What is wrong with the database's own structure, in its words; "" when nothing is."""

    @abstractmethod
    def repair(self) -> None:
        """Make the database's own indexes again from its tables."""

    @abstractmethod
    def forget_removed(self) -> None:
        """Make sure that bytes of removed rows are gone from the database's own files."""

    @property
    def writing(self) -> bool:
        """True inside `transaction`."""
        return self._depth > 0

    @contextmanager
    def transaction(self) -> Iterator[None]:
        """A write transaction; on disk when the outermost block is left, forgotten when it raises."""
        if self._depth == 0:
            self._take_turn()
        self._depth += 1
        try:
            yield
        except BaseException:
            self._depth -= 1
            if self._depth == 0:
                self.rollback()
            raise
        self._depth -= 1
        if self._depth == 0:
            try:
                self.commit()
            except BaseException:
                self.rollback()
                raise

    @contextmanager
    def snapshot(self) -> Iterator[None]:
        """One state of the log for several queries."""
        if self._depth or self._reading:
            yield
            return
        self.begin_reading()
        self._reading = True
        try:
            yield
        finally:
            self._reading = False
            self.rollback()

    def _take_turn(self) -> None:
        start = time.monotonic()
        while True:
            try:
                return self.begin()
            except BusyError:
                waited = time.monotonic() - start
                if waited >= self.patience:
                    raise StoreError(
                        f"the log {self.name} has been in use by another process for {waited:.0f} s",
                        "let the other one finish or close it, then try again: nothing of this run was stored",
                    ) from None
                if self.waiting is not None:
                    self.waiting(waited)
