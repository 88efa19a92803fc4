"""The build guide names parts, files, commands and readings that exist, and its practice harness passes and fails."""

import csv
import math
import re
from pathlib import Path

import pytest

from hwspec.circuit.decks.run import read_table
from hwspec.circuit.generate import BOARDS, ROOT
from tester.cli.main import main

GUIDE = (ROOT / "hwspec" / "build.md").read_text(encoding="utf-8")
STARTER, FULL = GUIDE.split("# Starter build")[1].split("# Full build")
FULL = FULL.split("# Lead sets")[0]


def shown_file(name: str) -> str:
    found = re.search(rf"<!-- file {name} -->\n```toml\n(.*?)```", GUIDE, re.S)
    assert found, name
    return found[1]


def run(capsys: pytest.CaptureFixture[str], line: str) -> tuple[int, str]:
    status = main(line.split()[1:])
    return status, capsys.readouterr().out


def test_every_linked_page_and_drawing_exists() -> None:
    for target in re.findall(r"\]\(([^)]+)\)", GUIDE):
        assert (ROOT / "hwspec" / target).is_file(), target
    sheets = {path.stem for path in (ROOT / "schematics").glob("*.svg")}
    for name in ("starter", "starter-cell", "starter-strip", "overview", "cell"):
        assert name in sheets and f"`{name}`" in GUIDE
    for board in BOARDS:
        assert (ROOT / "hwspec" / "circuit" / "parts" / f"{board}.csv").is_file()


def test_every_part_that_the_guide_names_is_on_a_board() -> None:
    known = {board: {part.ref for part in make().parts} for board, make in BOARDS.items()}
    named = set(re.findall(r"\b(?:RN|JP|[RCDUQJA])\d{1,3}\b", STARTER))
    assert named <= known["starter"], sorted(named - known["starter"])
    named = set(re.findall(r"\b(?:RN|JP|[RCDUQJ])\d{1,3}\b", FULL))
    assert named <= known["main"] | known["card"], sorted(named - known["main"] - known["card"])


def test_the_full_build_guide_names_every_part_that_is_not_a_cell() -> None:
    def expand(text: str) -> set[str]:
        found = set(re.findall(r"\b(?:RN|JP|[RCDUQJA])\d{1,3}\b", text))
        for letter, first, last in re.findall(r"\b([A-Z]+)(\d+) to [A-Z]+(\d+)\b", text):
            found |= {f"{letter}{n}" for n in range(int(first), int(last) + 1)}
        return found

    stage5, rest = FULL.split("## Stage 6")
    main_parts = {p.ref for p in BOARDS["main"]().parts if p.role not in ("processor", "stack")}
    assert main_parts <= expand(stage5), sorted(main_parts - expand(stage5))
    groups = {f"U{t}{g}" for t in ("", "1", "2", "3") for g in (2, 3, 4)}
    groups |= {f"C{t}{g}" for t in ("", "1", "2", "3") for g in (2, 3, 4)}
    card_parts = {p.ref for p in BOARDS["card"]().parts if not p.channel}
    assert card_parts - groups <= expand(rest), sorted(card_parts - groups - expand(rest))


def test_expected_readings_are_those_of_the_decks() -> None:
    shunt = read_table((ROOT / "schematics/spice/results/shunt.txt").read_text(encoding="utf-8"))
    assert all(3.5 < float(row["rail_v"]) < 3.7 for row in shunt if float(row["into_rail_ma"]) > 10)
    abuse = read_table((ROOT / "schematics/spice/results/starter_abuse.txt").read_text(encoding="utf-8"))
    ground = {row["points"]: float(row["point_ma"]) for row in abuse if row["case"] == "into_ground"}
    assert f"{ground[1]:.1f} mA a channel at most, {math.ceil(20 * ground[20])} mA in all" in " ".join(GUIDE.split())


def test_the_practice_harness_passes_and_an_exchange_fails(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The commands of the guide, on the virtual board."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    good = shown_file("good.toml")
    (tmp_path / "good.toml").write_text(good)
    (tmp_path / "leads.toml").write_text(shown_file("leads.toml"))
    swapped = good.replace("B-1", "B-x").replace("B-2", "B-1").replace("B-x", "B-2")
    (tmp_path / "swapped.toml").write_text(swapped)
    commands = [line.strip() for line in GUIDE.splitlines() if line.strip().startswith("loomwright ")]
    scan, plan, passing, failing = commands
    assert run(capsys, scan)[0] == 0
    assert run(capsys, plan)[0] == 0
    status, said = run(capsys, passing)
    assert status == 0 and said.startswith("PASS")
    status, said = run(capsys, failing)
    assert status == 1 and said.startswith("FAIL")
    assert "B-1 and B-2" in said


def test_every_board_verb_of_the_guide_exists() -> None:
    for action in set(re.findall(r"`(?:loomwright )?board (\w+)`", GUIDE)):
        assert main(["board", action, "--help"]) == 0, action


def test_the_parts_lists_have_the_columns_that_one_orders_by() -> None:
    for board, make in BOARDS.items():
        with (ROOT / "hwspec" / "circuit" / "parts" / f"{board}.csv").open(encoding="utf-8") as file:
            rows = list(csv.DictReader(file))
        assert {"part", "value", "package", "quantity", "tolerance", "why"} <= set(rows[0])
        assert sum(int(row["quantity"]) for row in rows) == len(make().parts)
        assert all(row["why"] for row in rows)
