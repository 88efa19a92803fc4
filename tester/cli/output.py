"""Results on standard output, talk on standard error."""

from __future__ import annotations

import contextlib
import json
import sys

from tester.errors import OutputError
from tester.job.files import write_whole


def say(text: str) -> None:
    """Talk: progress, hints, errors."""
    with contextlib.suppress(OSError):  # talk that cannot be heard ends nothing
        sys.stderr.write(_plain(text) + "\n")
        sys.stderr.flush()


def ring() -> None:
    """The terminal's bell, for a person whose eyes are on the harness."""
    with contextlib.suppress(OSError):
        if sys.stderr.isatty():
            sys.stderr.write("\a")


def show(text: str) -> None:
    """The result, for a person."""
    _write(_plain(text) + "\n")


def show_json(value: object) -> None:
    """The result as one JSON object on one line."""
    text = json.dumps(value, ensure_ascii=False, allow_nan=False)
    try:
        text.encode(sys.stdout.encoding or "utf-8")
    except UnicodeEncodeError:  # half a character in a name, or letters that this output does not have
        text = json.dumps(value, ensure_ascii=True, allow_nan=False)
    _write(text + "\n")


def json_or_write(value: object, path: str | None) -> None:
    """The result as JSON to standard output, or into a file, which is then named there as JSON."""
    if path is None:
        show_json(value)
    else:
        write_whole(path, json.dumps(value, ensure_ascii=False, allow_nan=False, indent=1) + "\n")
        show_json({"written": path})


def show_or_write(text: str, path: str | None) -> None:
    """The result to standard output, or whole into a file."""
    if path is None:
        _write(text if text.endswith("\n") else text + "\n")
    else:
        write_whole(path, text if text.endswith("\n") else text + "\n")
        say(f"written: {path}")


def _write(text: str) -> None:
    try:
        sys.stdout.write(text)
    except BrokenPipeError:
        raise
    except OSError as error:
        raise OutputError(f"the result cannot be written to standard output: {error.strerror}") from None
    except UnicodeEncodeError:
        lossy = text.encode(sys.stdout.encoding, "backslashreplace")
        sys.stdout.write(lossy.decode(sys.stdout.encoding))


def _plain(text: str) -> str:
    """Without control characters, so that names out of files cannot steer the terminal."""
    return "".join(c if c.isprintable() or c in "\n\t" else "\N{REPLACEMENT CHARACTER}" for c in text)


class Progress:
    """A counter line on standard error, drawn only on a terminal."""

    def __init__(self, label: str) -> None:
        self._label = label
        self._drawn = False

    def __call__(self, done: int, total: int) -> None:
        if sys.stderr.isatty():
            sys.stderr.write(f"\r{self._label} {done}/{total} ")
            sys.stderr.flush()
            self._drawn = True

    def end(self) -> None:
        if self._drawn:
            sys.stderr.write("\r\033[K")
            sys.stderr.flush()
