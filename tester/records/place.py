"""Where the log lies when nobody says: one folder below the person's data folder, and only that one is written."""

from __future__ import annotations

import os
import secrets
import tempfile
from pathlib import Path

from tester.errors import StoreError
from tester.records.events import is_bench_id

_ALPHABET = "ABCDEFGHJKLMNPQRSTUVWXYZ23456789"


def data_folder() -> Path:
    """``$XDG_DATA_HOME/loomwright``, or below ``~/.local/share``. Not created here."""
    base = os.environ.get("XDG_DATA_HOME", "")
    # The base directory specification says that a relative path there must be ignored.
    root = Path(base) if base and Path(base).is_absolute() else Path.home() / ".local" / "share"
    return root / "loomwright"


def default_log() -> Path:
    """The log that is used when none is named."""
    return data_folder() / "records.db"


def new_bench_id() -> str:
    """A bench identity nobody else has by accident: B and five of 32 letters and digits that do not look alike."""
    return "B" + "".join(secrets.choice(_ALPHABET) for _ in range(5))


def local_bench_id() -> str:
    """This machine's bench identity for logs that several benches share; made on first use, kept in the data folder."""
    path = data_folder() / "bench-id"
    try:
        make_folder(path.parent)
        if not path.exists():
            _write_once(path, new_bench_id() + "\n")
        text = path.read_text(encoding="ascii", errors="replace").strip()
    except OSError as error:
        raise StoreError(f"cannot keep this bench's identity in {path}: {error.strerror}", "name it: --bench") from None
    if not is_bench_id(text):
        raise StoreError(f"{path} holds {text[:40]!r}, which is no bench identity", "write capitals and digits there")
    return text


def _write_once(path: Path, text: str) -> None:
    """A file that appears complete or not at all; one that is there already stays."""
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=path.name)
    try:
        with os.fdopen(handle, "w", encoding="ascii") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        try:
            os.link(name, path)
        except FileExistsError:
            pass
    finally:
        Path(name).unlink()
    sync_folder(path.parent)


def make_folder(folder: Path) -> None:
    """Create a folder for the log, readable by its owner only, and put its entry on disk. OSError passes through."""
    if folder.is_dir():
        return
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    sync_folder(folder.parent)


def sync_folder(folder: Path) -> None:
    """Put a folder's entries on disk, where the system can do that."""
    try:
        handle = os.open(folder, os.O_RDONLY)
    except OSError:
        return
    try:
        os.fsync(handle)
    except OSError:
        pass
    finally:
        os.close(handle)
