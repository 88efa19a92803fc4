"""What a newcomer meets first: help, version, usage errors, completion."""

import subprocess
import sys

import pytest

from tester import __version__
from tester.cli.main import main
from tester.cli.parser import build_parser


def test_help_teaches_the_idea_and_lists_each_exit_status(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--help"]) == 0
    told = capsys.readouterr().out
    assert "Expected = as found + the plan's edits" in told
    assert all(f"  {status}  " in told for status in range(6))


def test_version(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--version"]) == 0
    assert capsys.readouterr().out == f"loomwright {__version__}\n"


@pytest.mark.parametrize(
    "arguments", [[], ["no-such-verb"], ["scan"], ["scan", "--leads"], ["plan"], ["test", "--wrong"], ["records", "x"]],
    ids=" ".join,
)  # fmt: skip
def test_usage_errors_have_status_3_and_point_to_help(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(arguments) == 3
    out, err = capsys.readouterr()
    assert out == "" and "--help" in err


def test_every_verb_has_help(capsys: pytest.CaptureFixture[str]) -> None:
    verbs = _leaves(build_parser(), [])
    assert len(verbs) > 12
    for verb in verbs:
        assert main([*verb, "--help"]) == 0
        assert "--json" in capsys.readouterr().out, verb


def _leaves(parser: object, path: list[str]) -> list[list[str]]:
    groups = [a for a in parser._actions if hasattr(a, "choices") and isinstance(a.choices, dict)]  # type: ignore[attr-defined]
    if not groups:
        return [path]
    return [leaf for name, child in groups[0].choices.items() for leaf in _leaves(child, [*path, name])]


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_completion_scripts_name_the_verbs(shell: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["completion", shell]) == 0
    script = capsys.readouterr().out
    assert "records" in script and "from-scan" in script
    if shell == "bash":
        subprocess.run(["bash", "-n"], input=script, text=True, check=True, timeout=20)


def test_the_module_runs_as_the_command_does() -> None:
    done = subprocess.run([sys.executable, "-m", "tester", "--version"], capture_output=True, text=True, timeout=60)
    assert (done.returncode, done.stdout) == (0, f"loomwright {__version__}\n")


def test_a_broken_pipe_is_no_traceback() -> None:
    shell = f"{sys.executable} -m tester --help | head -1; exit ${{PIPESTATUS[0]}}"
    done = subprocess.run(["bash", "-c", shell], capture_output=True, text=True, timeout=60)
    assert done.returncode == 0 and "Traceback" not in done.stderr
