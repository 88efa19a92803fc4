"""The verbs around a plan, from an empty file to a checked one and back."""

import json
from io import StringIO
from pathlib import Path

import pytest

from tester.cli.board import _Terminal
from tester.cli.main import main
from tester.harness.leads import load_leads
from tester.plan.load import load_plan
from tester.shipped import shipped

DEMO = str(shipped("fixtures", "plans", "side-door.toml"))


def out(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    capsys.readouterr()
    status = main(list(arguments))
    told, talk = capsys.readouterr()
    return status, told, talk


def test_a_new_plan_is_read_and_refuses_a_real_board(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    place = tmp_path / "lamp.toml"
    made = ["plan", "new", "--id", "lamp", "--connector", "D=4", "--connector", "H=6", "--output", str(place)]
    assert out(capsys, *made)[0] == 0
    assert load_plan(place.read_text(), "lamp.toml").id == "lamp"
    status, told, _ = out(capsys, "plan", "check", str(place))
    assert status == 0 and "a real board refuses this plan" in told
    status, _, talk = out(capsys, *made)
    assert status == 3 and "there is a file already" in talk
    assert out(capsys, *made, "--replace")[0] == 0


def test_a_new_plan_without_answers_says_what_is_needed(capsys: pytest.CaptureFixture[str]) -> None:
    status, _, talk = out(capsys, "plan", "new")
    assert status == 3 and "--connector D=18" in talk


def test_the_demo_plan_fits_in_all_its_variants(capsys: pytest.CaptureFixture[str]) -> None:
    status, told, _ = out(capsys, "plan", "check", DEMO, "--json")
    report = json.loads(told)
    assert status == 0 and report["fits"] and len(report["variants"]) == 8


def test_a_spreadsheet_and_back_is_the_same_plan(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sheet, back = tmp_path / "p.csv", tmp_path / "back.toml"
    assert out(capsys, "plan", "export", DEMO, "--output", str(sheet))[0] == 0
    assert out(capsys, "plan", "import", str(sheet), "--output", str(back))[0] == 0
    status, told, _ = out(capsys, "plan", "diff", DEMO, str(back), "--json")
    assert status == 0 and json.loads(told) == {"differences": []}
    assert load_plan(back.read_text(), "b") == load_plan(Path(DEMO).read_text(), "d")


def test_lead_maps_for_a_small_board_are_written_and_read(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    status, told, _ = out(
        capsys, "plan", "leads", DEMO, "--channels", "20", "--side", "left", "--into", str(tmp_path), "--json"
    )
    report = json.loads(told)
    assert status == 0 and len(report["rounds"]) >= report["bound"]
    maps = [load_leads(place.read_bytes(), place.name) for place in sorted(tmp_path.glob("*.toml"))]
    assert len(maps) == len(report["rounds"])
    assert {cavity for one in maps for cavity in one.cavities} >= {f"D-{n}" for n in range(1, 19)}


def test_advice_defers_to_the_manual(capsys: pytest.CaptureFixture[str]) -> None:
    status, told, _ = out(capsys, "plan", "advice", DEMO)
    assert status == 0 and "service manual and local rules come first" in told


@pytest.mark.parametrize("leads", [[], ["--leads"]])
def test_schemas_are_json_schema(leads: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    status, told, _ = out(capsys, "plan", "schema", *leads)
    assert status == 0 and json.loads(told)["properties"]["format"]["const"] == 1


@pytest.mark.parametrize("verb", ["check", "show", "advice", "export", "sheet"])
def test_a_plan_that_is_a_folder_or_missing_is_one_message(
    verb: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for wrong in (tmp_path, tmp_path / "none.toml"):
        status, told, talk = out(capsys, "plan", verb, str(wrong))
        assert (status, told) == (3, "") and str(wrong) in talk and "Traceback" not in talk


@pytest.mark.parametrize(("name", "begins"), [("s.html", b"<!DOCTYPE html>"), ("s.pdf", b"%PDF"), ("s.txt", b"Blind")])
def test_the_sheet_is_a_page_a_pdf_or_text_by_its_ending(
    name: str, begins: bytes, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    leads = str(shipped("fixtures", "leads", "side-door-leads.toml"))
    place = tmp_path / name
    given = ["plan", "sheet", DEMO, "--variant", "3", "--leads", leads, "--output", str(place)]
    assert out(capsys, *given)[0] == 0
    assert place.read_bytes().startswith(begins)


def test_a_sheet_without_a_scan_is_that_of_the_side_which_was_asked_for(capsys: pytest.CaptureFixture[str]) -> None:
    sheets = {side: out(capsys, "plan", "sheet", DEMO, "--side", side)[1] for side in ("left", "right")}
    assert "D-16" in sheets["left"] and "D-16" not in sheets["right"] and "D-17" in sheets["right"]
    status, _, talk = out(capsys, "plan", "sheet", DEMO, "--answer", "occupied D-13=no")
    assert status == 3 and "--as-found FILE" in talk
    scan = str(shipped("fixtures", "scans", "side-door-plain-before.json"))
    status, _, talk = out(capsys, "plan", "sheet", DEMO, "--variant", "1", "--as-found", scan, "--side", "left")
    assert status == 3 and "Give one of the two" in talk


def test_output_that_nobody_reads_does_not_end_like_a_pass(monkeypatch: pytest.MonkeyPatch) -> None:
    def unread(_options: object) -> int:
        raise BrokenPipeError

    monkeypatch.setattr("tester.cli.plan.check", unread)
    monkeypatch.setattr("os.dup2", lambda *_: None)
    assert main(["plan", "check", DEMO]) == 141


def test_an_end_of_input_is_no_yes_to_a_request(monkeypatch: pytest.MonkeyPatch) -> None:
    class Ended(StringIO):
        def isatty(self) -> bool:
            return True

    for typed, done in (("", False), ("s\n", False), ("\n", True)):
        monkeypatch.setattr("sys.stdin", Ended(typed))
        assert _Terminal().ask("Plug the reference in.") is done


@pytest.mark.parametrize("verb", ["show", "sheet"])
def test_a_name_cannot_turn_the_text_of_the_terminal_round(
    verb: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    turned = tmp_path / "plan.toml"
    text = Path(DEMO).read_text("utf-8")
    lines = ['title = "left\u202e right"' if line.startswith("title = ") else line for line in text.split("\n")]
    turned.write_text("\n".join(lines), "utf-8")
    assert main(["plan", verb, str(turned), *(["--side", "left"] if verb == "sheet" else [])]) == 0
    told = capsys.readouterr().out
    assert "left" in told and "\u202e" not in told
