"""Files that a person names: read with clear refusals, written whole or not at all."""

from __future__ import annotations

import contextlib
import os
import tempfile
from pathlib import Path

from tester.errors import InputError, StoreError

LARGEST_FILE = 4 * 1024 * 1024


def read_bytes(path: str | Path, what: str, largest: int = LARGEST_FILE) -> bytes:
    """Content of a file, at most `largest` bytes; `what` names its kind in the message, such as "plan"."""
    place = Path(path)
    try:
        if place.is_dir():
            raise InputError(f"{place}: is a folder, a {what} file was expected", "Name the file itself.")
        with place.open("rb") as stream:
            content = stream.read(largest + 1)
    except FileNotFoundError:
        raise InputError(f"{place}: no such {what} file", f"Looked in {Path.cwd()}; check the name.") from None
    except OSError as error:
        raise InputError(f"{place}: the {what} file cannot be read: {error.strerror}") from None
    except ValueError as error:
        raise InputError(f"{str(path)!r}: not a usable file name: {error}") from None
    if len(content) > largest:
        raise InputError(
            f"{place}: larger than {largest // 1024 // 1024} MB, which no {what} file needs", "Is it the right file?"
        )
    return content


def read_text(path: str | Path, what: str, largest: int = LARGEST_FILE) -> str:
    """Text of a UTF-8 file; see `read_bytes`."""
    content = read_bytes(path, what, largest)
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        raise InputError(
            f"{path}: line {line}: byte 0x{content[error.start]:02x} is not UTF-8 text",
            f"Save the {what} file as UTF-8.",
        ) from None


def write_whole(path: str | Path, content: str | bytes) -> None:
    """Replace a file in one step: the old content or all of the new one, never a part.

    Raises StoreError when the folder cannot be written.
    """
    place = Path(path)
    data = content.encode() if isinstance(content, str) else content
    temporary = ""
    try:
        if place.is_dir():
            raise StoreError(f"{place}: is a folder, cannot be replaced by a file")
        handle, temporary = tempfile.mkstemp(dir=place.parent, prefix=f".{place.name[:100]}.")
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        mode = place.stat().st_mode & 0o777 if place.exists() else 0o666 & ~_umask()
        Path(temporary).chmod(mode)
        Path(temporary).replace(place)
    except OSError as error:
        raise StoreError(
            f"{place}: cannot be written: {error.strerror}", "Check the folder, its permissions and free space."
        ) from None
    finally:
        if temporary:
            with contextlib.suppress(OSError):
                Path(temporary).unlink(missing_ok=True)


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
