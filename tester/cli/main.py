"""Entry of the command: parse, run one verb, turn errors into messages and exit status."""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from contextlib import suppress
from importlib import import_module

from tester import __version__
from tester.errors import LoomwrightError, OutputError

UNREAD = 141  # nobody reads the output any more: as a shell says of SIGPIPE, and never the status of a PASS


def run() -> None:
    """Run the command of this process and leave with its status."""
    _open_streams()
    words = sys.argv[1:]
    if any("://" in word for word in words):
        from tester.records.address import leave_no_password_in_sight

        words = leave_no_password_in_sight(words)
    try:
        status = main(words)
        sys.stdout.flush()
    except BrokenPipeError:
        _to_nowhere()
        status = UNREAD
    except OSError as error:
        _to_nowhere()
        status = 5
        _talk(f"the result cannot be written to standard output: {error.strerror}\n")
    raise SystemExit(status)


def _open_streams() -> None:
    """A program may be started without some of its three streams: a file of ours must not get their numbers."""
    for number in (0, 1, 2):
        try:
            os.fstat(number)
        except OSError:
            os.open(os.devnull, os.O_RDWR)  # takes the lowest free number, this one
    sys.stdin = sys.stdin or open(0, closefd=False)  # noqa: SIM115 - open as long as the process is
    sys.stdout = sys.stdout or open(1, "w", closefd=False)  # noqa: SIM115
    sys.stderr = sys.stderr or open(2, "w", closefd=False)  # noqa: SIM115


def _to_nowhere() -> None:
    """What is still waiting to be written is given up."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _talk(text: str) -> None:
    with suppress(OSError):  # nothing is left to say it on
        sys.stderr.write(text)
        sys.stderr.flush()


def main(argv: Sequence[str]) -> int:
    """Run one command line; returns the exit status, never leaves the process."""
    if list(argv) == ["--version"]:
        sys.stdout.write(f"loomwright {__version__}\n")
        return 0
    from tester.cli.parser import build_parser

    try:
        options = build_parser(argv[0] if argv else "").parse_args(argv)
    except SystemExit as leaving:
        return leaving.code if isinstance(leaving.code, int) else 3
    module, _, function = options.handler.partition(":")
    try:
        return int(getattr(import_module(module), function)(options))
    except LoomwrightError as error:
        return report(error, options.json)
    except BrokenPipeError:
        _to_nowhere()
        return UNREAD
    except KeyboardInterrupt:
        _talk("stopped\n")
        return 4
    except RecursionError:
        _talk("internal error: nested too deeply\n")
        return 5
    except Exception as error:
        if os.environ.get("LOOMWRIGHT_TRACEBACK"):
            raise
        _talk(
            f"internal error: {type(error).__name__}: {error}\n"
            "This is a bug. LOOMWRIGHT_TRACEBACK=1 in the environment shows where.\n"
        )
        return 5


def report(error: LoomwrightError, as_json: bool) -> int:
    """Say an error on standard error (and as JSON where asked); returns its exit status."""
    from tester.cli.output import say, show_json

    say(str(error))
    if as_json and not isinstance(error, OutputError):
        show_json({"error": error_object(error)})
    return error.exit_status


def error_object(error: LoomwrightError) -> dict[str, str]:
    """The error as it stands in JSON output."""
    names = {3: "input", 4: "board", 5: "store"}
    return {
        "kind": getattr(error, "code", names[error.exit_status]),
        "message": error.message,
        "hint": error.hint,
    }
