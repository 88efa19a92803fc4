"""Help is as wide as argparse's own would be, and the short way to the version says what the parser says."""

import argparse
import os
import pty
import shutil
import sys

import pytest

from tester.cli.main import main
from tester.cli.options import Words, _columns
from tester.cli.parser import build_parser


@pytest.mark.parametrize("told", ["", "0", "-5", "wide", "40", "133"])
def test_columns_are_those_that_the_standard_library_finds(told: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", told)
    assert _columns() == shutil.get_terminal_size().columns


def test_columns_of_a_real_terminal_are_used(monkeypatch: pytest.MonkeyPatch) -> None:
    import fcntl
    import struct
    import termios

    monkeypatch.delenv("COLUMNS", raising=False)
    ours, side = pty.openpty()
    fcntl.ioctl(side, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 57, 0, 0))
    with os.fdopen(side, "w") as screen:
        monkeypatch.setattr(sys, "__stdout__", screen)
        assert _columns() == 57 == shutil.get_terminal_size().columns
    os.close(ours)


def test_help_is_what_the_standard_formatter_makes(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "66")
    top = build_parser("")
    ours = top.format_help()
    assert top.formatter_class is Words
    top.formatter_class = argparse.RawDescriptionHelpFormatter
    assert ours == top.format_help()


def test_the_version_is_the_same_by_both_ways(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--version"]) == 0
    short = capsys.readouterr().out
    with pytest.raises(SystemExit):
        build_parser("").parse_args(["--version"])
    assert short == capsys.readouterr().out != ""
