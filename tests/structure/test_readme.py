"""The README keeps its promises: two commands, links that lead somewhere, verbs that exist, none left out."""

import re
import subprocess
from pathlib import Path

import pytest

from tester.cli.parser import build_parser

ROOT = Path(__file__).resolve().parents[2]
README = (ROOT / "README.md").read_text()
PAGES = ["README.md", "DEVELOPERS.md", "schematics/README.md", "hwspec/build.md", "hwspec/accuracy.md"]


def verbs(parser: object, path: tuple[str, ...] = ()) -> list[tuple[str, ...]]:
    groups = [a for a in parser._actions if isinstance(getattr(a, "choices", None), dict)]  # type: ignore[attr-defined]
    if not groups:
        return [path]
    return [leaf for name, child in groups[0].choices.items() for leaf in verbs(child, (*path, name))]


def test_there_are_exactly_two_commands_before_real_wire() -> None:
    first = README.split("## On real wire")[0]
    commands = re.findall(r"```sh\n(.*?)```", first, re.S)
    assert len(commands) == 2 and all(len(command.strip().splitlines()) == 1 for command in commands)
    assert "loomwright demo" in commands[0] and "pytest" in commands[1]


@pytest.mark.parametrize("page", PAGES)
def test_every_link_and_picture_of_a_page_is_there(page: str) -> None:
    text = (ROOT / page).read_text()
    targets = [
        t.split("#")[0] for t in re.findall(r"\]\(([^)\s]+)\)", text) if "://" not in t and not t.startswith("#")
    ]
    missing = [target for target in targets if not ((ROOT / page).parent / target).exists()]
    assert missing == []


def test_every_verb_that_the_readme_names_exists() -> None:
    known = {" ".join(path) for path in verbs(build_parser())}
    groups = {path.split()[0] for path in known if " " in path}
    named = re.findall(r"loomwright ([a-z-]+)(?: ([a-z-]+))?", README)
    given = [f"{one} {two}".strip() if one in groups else one for one, two in named]
    wrong = [words for words in given if words not in known]
    assert wrong == []


def test_the_top_level_holds_only_what_belongs_there() -> None:
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True)
    names = {line.split("/")[0] for line in listed.stdout.splitlines()} or {place.name for place in ROOT.iterdir()}
    belongs = {"README.md", "DEVELOPERS.md", "pyproject.toml", "tester", "hwspec", "fixtures", "tests", "schematics"}
    assert {name for name in names if not name.startswith(".")} - {"build", "dist"} == belongs
