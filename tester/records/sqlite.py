"""The log as one SQLite file: write-ahead log, synchronous FULL, one writer at a time."""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from tester.errors import StoreError
from tester.records.engine import TURN_S, BusyError, Engine, Row, Waiting
from tester.records.place import make_folder, sync_folder

PAGE_SIZE = 4096
"""With packed bodies 4096 gives the smallest file (0.74 of its JSON and frames; 16384: 0.84; unpacked: 1.58)."""
APPLICATION_ID = 0x4C4F4F4D
MEMORY = ":memory:"
NEARLY_NOTHING = 64 * 1024
"""Free bytes below which a failing disk is a full one."""

_GUARDS = tuple(
    f"CREATE TRIGGER {table}_no_{verb} BEFORE {verb} ON {table} BEGIN"
    f" SELECT RAISE(ABORT, '{table} are only ever added'); END"
    for table in ("events", "blobs")
    for verb in ("UPDATE", "DELETE")
)


def _text(content: bytes) -> str:
    """Text as stored; damaged text too, so that `verify` can name the event that it is in."""
    return content.decode("utf-8", "replace")


class SqliteEngine(Engine):
    """A file, or `:memory:`. `read_only` never writes, not even side files, so it works in a folder that cannot be."""

    guards = _GUARDS
    words = {  # noqa: RUF012 - a constant of the class, as in the other engine
        "ID": "INTEGER PRIMARY KEY",
        "BLOB": "BLOB",
        "TEXT": "TEXT",
        "ROWLESS": "WITHOUT ROWID",
    }

    def __init__(self, path: str, waiting: Waiting | None, patience: float, read_only: bool) -> None:
        super().__init__(waiting, patience)
        self.name = path
        self.read_only = read_only
        self._db = self._connect(path)
        try:
            with self._said():
                self._settle()
        except BaseException:
            self.close()
            raise

    def _connect(self, path: str) -> sqlite3.Connection:
        if path == MEMORY:
            return self._open(MEMORY)
        file = Path(path)
        if file.is_dir():
            raise StoreError(f"{path} is a folder, not a log", f"name a file in it, such as {file / 'records.db'}")
        if self.read_only and not file.exists():
            raise StoreError(f"there is no log {path}", "name the right log, or run a test first: that makes one")
        if not self.read_only:
            try:
                make_folder(file.parent)
            except OSError as error:
                raise StoreError(
                    f"cannot make the folder {file.parent} for the log: {error.strerror}",
                    "name a log in a folder that can be written: --log FILE",
                ) from None
        return self._open(file.absolute().as_uri() + ("?mode=ro" if self.read_only else "?mode=rwc"))

    def _open(self, uri: str) -> sqlite3.Connection:
        with self._said():
            return sqlite3.connect(uri, timeout=TURN_S, isolation_level=None, check_same_thread=False, uri=True)

    def _settle(self) -> None:
        """Pragmas. Page size and journal mode must come before the first table."""
        try:
            version = self._db.execute("PRAGMA schema_version").fetchone()[0]
        except sqlite3.OperationalError:
            # A write-ahead log needs side files; where they can neither be found nor made, nobody is writing either.
            if not self.read_only or Path(self.name + "-wal").exists():
                raise
            self._db.close()
            self._db = self._open(Path(self.name).absolute().as_uri() + "?mode=ro&immutable=1")
            version = self._db.execute("PRAGMA schema_version").fetchone()[0]
        run = self._db.execute
        run("PRAGMA trusted_schema = OFF")
        run("PRAGMA cell_size_check = ON")
        if self.read_only:
            run("PRAGMA query_only = ON")
            return
        if version == 0 and not run("SELECT 1 FROM sqlite_master LIMIT 1").fetchall():
            run(f"PRAGMA page_size = {PAGE_SIZE}")
        run("PRAGMA secure_delete = ON")
        run("PRAGMA synchronous = FULL")
        # Where the system has a stronger sync than fsync, acknowledged must mean that one.
        run("PRAGMA fullfsync = ON")
        run("PRAGMA checkpoint_fullfsync = ON")
        if version != 0 and run("PRAGMA application_id").fetchone()[0] != APPLICATION_ID:
            return  # not ours, or not yet known to be: left exactly as it is; `schema.prepare` says so
        self._journal()

    def _journal(self) -> None:
        if self.name == MEMORY:
            return
        for _ in range(20):  # two processes making the same new log: switching waits for no busy handler
            try:
                mode = self._db.execute("PRAGMA journal_mode = WAL").fetchone()[0]
                break
            except sqlite3.OperationalError as error:
                if error.sqlite_errorcode & 0xFF != sqlite3.SQLITE_BUSY:
                    raise
                self._db.execute("SELECT count(*) FROM sqlite_master")
        else:
            raise StoreError(f"the log {self.name} is in use by another process", "close the other one and try again")
        if mode != "wal":
            raise StoreError(
                f"the folder of {self.name} cannot hold a write-ahead log (SQLite stayed in mode {mode!r})",
                "name a log on a local disk: --log FILE",
            )

    def created(self) -> None:
        with self._said():
            self._db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        if self.name != MEMORY:
            sync_folder(Path(self.name).absolute().parent)

    def rows(self, sql: str, values: Sequence[Any] = ()) -> list[Row]:
        with self._said():
            return self._db.execute(sql, values).fetchall()

    def each(self, sql: str, values: Sequence[Any] = ()) -> Iterator[Row]:
        with self._said():
            yield from self._db.execute(sql, values)

    def run(self, sql: str, values: Sequence[Any] = ()) -> int:
        with self._said():
            return self._db.execute(sql, values).rowcount

    def run_many(self, sql: str, values: Sequence[Sequence[Any]]) -> None:
        with self._said():
            self._db.executemany(sql, values)

    def tables(self) -> set[str]:
        return {str(row[0]) for row in self.rows("SELECT name FROM sqlite_master WHERE type = 'table'")}

    def begin(self) -> None:
        with self._said():
            try:
                self._db.execute("BEGIN IMMEDIATE")
            except sqlite3.OperationalError as error:
                if error.sqlite_errorcode & 0xFF in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
                    raise BusyError from None
                raise

    def begin_reading(self) -> None:
        with self._said():
            self._db.execute("BEGIN")

    def commit(self) -> None:
        with self._said():
            self._db.execute("COMMIT")

    def rollback(self) -> None:
        try:
            if self._db.in_transaction:
                self._db.execute("ROLLBACK")
        except sqlite3.Error:
            pass

    def close(self) -> None:
        try:
            self._db.close()
        except sqlite3.Error:
            pass

    @contextmanager
    def forgiving(self) -> Iterator[None]:
        self._db.text_factory = _text
        try:
            yield
        finally:
            self._db.text_factory = str

    def unsound(self) -> str:
        rows = self.rows("PRAGMA integrity_check(1)")
        said = str(rows[0][0]) if rows else "no answer"
        return "" if said == "ok" else said.splitlines()[-1]

    def repair(self) -> None:
        self.run("REINDEX")

    def forget_removed(self) -> None:
        with self._said():
            self._db.execute("VACUUM")
            busy = self._db.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()[0]
        if busy:
            raise StoreError(
                f"another process is reading {self.name}: removed bytes may still be in its write-ahead log",
                "close the other one and remove again",
            )

    @contextmanager
    def _said(self) -> Iterator[None]:
        """Turn SQLite's errors into what a person can act on."""
        try:
            yield
        except sqlite3.ProgrammingError as error:
            raise StoreError(f"the log {self.name} is closed or misused: {error}") from None
        except sqlite3.Error as error:
            raise self._in_words(error) from None

    def _disk_is_full(self) -> bool:
        try:
            return shutil.disk_usage(Path(self.name).absolute().parent).free < NEARLY_NOTHING
        except OSError:
            return False

    def _in_words(self, error: sqlite3.Error) -> StoreError:
        name = self.name
        code = (getattr(error, "sqlite_errorcode", 0) or 0) & 0xFF
        if code == sqlite3.SQLITE_IOERR and self._disk_is_full():
            code = sqlite3.SQLITE_FULL  # side files that cannot grow are reported as a failing disk
        said = {
            sqlite3.SQLITE_FULL: (
                f"no space left for the log {name}",
                "free some space, or name a log on another disk",
            ),
            sqlite3.SQLITE_READONLY: (
                f"the log {name} cannot be written",
                "mend its rights, or name another: --log FILE",
            ),
            sqlite3.SQLITE_PERM: (f"no right to open the log {name}", "mend its rights, or name another: --log FILE"),
            sqlite3.SQLITE_CANTOPEN: (
                f"cannot open the log {name}, or make its side files beside it",
                "the folder must be writable; name a log elsewhere: --log FILE",
            ),
            sqlite3.SQLITE_BUSY: (f"the log {name} is in use by another process", "let it finish, then try again"),
            sqlite3.SQLITE_LOCKED: (f"the log {name} is in use by another process", "let it finish, then try again"),
            sqlite3.SQLITE_CORRUPT: (
                f"the log {name} is damaged",
                "keep the file as it is, go on with a new log, and bring back an archive: records import",
            ),
            sqlite3.SQLITE_NOTADB: (f"{name} is not a log (not a SQLite database)", "name another file: --log FILE"),
            sqlite3.SQLITE_IOERR: (
                f"the disk failed under the log {name}",
                "look at the disk; name a log on another one",
            ),
        }.get(code)
        if said is None:
            return StoreError(f"the log {name}: {error}")
        return StoreError(*said)
