"""The chain that outside tools rely on: scan, plan from-scan, test; its JSON and its exit statuses."""

import json
from pathlib import Path
from typing import Any

import pytest

from tester.board.virtual import VirtualBoard
from tester.cli.main import main
from tests.support.cutoff import CutOff

LEADS = """format = 1
id = "bench-leads"
[channels]
1 = "D-1"
2 = "D-2"
3 = "D-3"
4 = "D-4"
5 = "D-5"
6 = "D-6"
33 = "H-1"
34 = "H-2"
35 = "H-3"
36 = "H-4"
37 = "H-5"
38 = "H-6"
"""
Links = list[tuple[str, str]]
GOOD: Links = [
    ("D-1", "H-1"), ("D-2", "H-2"), ("D-3", "H-3"), ("D-4", "~gnd"), ("H-4", "~gnd"), ("H-5", "~gnd"),
]  # fmt: skip
OTHER = [link for link in GOOD if "D-1" not in link and "D-2" not in link]
BROKEN: dict[str, tuple[Links, set[str]]] = {
    "open wire": (GOOD[1:], {"D-1", "H-1"}),
    "two open wires": (GOOD[2:], {"D-1", "H-1", "D-2", "H-2"}),
    "short of two circuits": ([*GOOD, ("D-1", "D-2")], {"D-1", "D-2", "H-1", "H-2"}),
    "short to the splice": ([*GOOD, ("H-3", "D-4")], {"H-3", "D-3", "D-4", "H-4", "H-5"}),
    "short of a lone cavity": ([*GOOD, ("D-6", "H-1")], {"D-6", "D-1", "H-1"}),
    "two lone cavities joined": ([*GOOD, ("D-6", "H-6")], {"D-6", "H-6"}),
    "terminal one cavity on": ([("D-1", "H-1"), ("D-2", "H-6"), *OTHER], {"H-2", "H-6"}),
    "swap at one end": ([("D-1", "H-2"), ("D-2", "H-1"), *OTHER], {"H-1", "H-2"}),
    "rotated three": ([("D-1", "H-2"), ("D-2", "H-3"), ("D-3", "H-1"), *GOOD[3:]], {"H-1", "H-2", "H-3"}),
    "leg of the splice missing": (GOOD[:5], {"H-5"}),
    "splice in two": ([*GOOD[:3], ("H-4", "H-5")], {"D-4"}),
    "splice missing": (GOOD[:3], {"D-4", "H-4", "H-5"}),
}


def harness_file(folder: Path, name: str, links: Links) -> Path:
    rows = [f'[[link]]\na = "{a}"\nb = "{b}"\nohms = 0.08\n' for a, b in links]
    place = folder / f"{name}.toml"
    place.write_text("format = 1\n" + "\n".join(rows))
    return place


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with lead map, good harness, its scan and the plan made from it."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    (tmp_path / "leads.toml").write_text(LEADS)
    harness_file(tmp_path, "good", GOOD)
    return tmp_path


def call(capsys: pytest.CaptureFixture[str], *arguments: object) -> tuple[int, dict[str, Any], str]:
    """Exit status, JSON on standard output, talk on standard error."""
    capsys.readouterr()
    status = main([str(argument) for argument in arguments])
    out, err = capsys.readouterr()
    return status, json.loads(out) if out.strip() else {}, err


def planned(bench: Path, capsys: pytest.CaptureFixture[str]) -> Path:
    board = f"virtual:{bench / 'good.toml'}"
    status, scan, err = call(
        capsys, "scan", "--leads", bench / "leads.toml", "--board", board, "--save", bench / "good.json", "--json"
    )
    assert status == 0, err
    plan = bench / "plan.toml"
    assert call(capsys, "plan", "from-scan", bench / "good.json", "--output", plan)[0] == 0
    on_leads = sorted(cavity for net in scan["nets"] for cavity in net)
    assert on_leads == sorted([f"D-{n}" for n in range(1, 7)] + [f"H-{n}" for n in range(1, 7)])
    return plan


def test_scan_prints_every_circuit_of_the_harness(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    planned(bench, capsys)
    nets = json.loads((bench / "good.json").read_text())["nets"]
    assert {tuple(net) for net in nets if len(net) > 1} == {
        ("D-1", "H-1"), ("D-2", "H-2"), ("D-3", "H-3"), ("D-4", "H-4", "H-5"),
    }  # fmt: skip


@pytest.mark.campaign
def test_a_good_harness_passes_and_broken_ones_fail_at_the_right_cavities(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    plan = planned(bench, capsys)
    common = ["test", "--plan", plan, "--leads", bench / "leads.toml", "--json", "--board"]
    status, result, err = call(capsys, *common, f"virtual:{bench / 'good.toml'}")
    assert (status, result["verdict"]) == (0, "PASS"), err
    assert {c["verdict"] for c in result["cavities"]} == {"PASS"} and result["record"]
    for name, (links, cavities) in BROKEN.items():
        wrong = harness_file(bench, "wrong", links)
        status, result, err = call(capsys, *common, f"virtual:{wrong}")
        assert (status, result["verdict"]) == (1, "FAIL"), (name, err)
        named = {cavity for fault in result["faults"] for cavity in fault["cavities"]}
        assert cavities <= named, (name, result["faults"])
        assert all(fault["says"] for fault in result["faults"])


def test_a_required_cavity_without_lead_is_not_tested(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    plan = planned(bench, capsys)
    fewer = bench / "fewer.toml"
    fewer.write_text(LEADS.replace('38 = "H-6"\n', ""))
    status, result, _ = call(
        capsys, "test", "--plan", plan, "--leads", fewer, "--json", "--board", f"virtual:{bench / 'good.toml'}"
    )
    assert (status, result["verdict"]) == (2, "NOT TESTED")
    assert [c["cavity"] for c in result["cavities"] if c["verdict"] == "NOT TESTED"] == ["H-6"]


@pytest.mark.parametrize("which", ["--plan", "--leads"])
@pytest.mark.parametrize(
    "content", [b"", b"format = 2\n", b"[[[", b"\xff\xfe", b"format = nan\nid = 'x'\n", b"x" * 10_000_000],
    ids=["empty", "other format", "no toml", "not utf-8", "nan", "10 MB"],
)  # fmt: skip
def test_a_broken_file_is_one_message_and_status_3(
    bench: Path, capsys: pytest.CaptureFixture[str], which: str, content: bytes
) -> None:
    bad = bench / "bad.toml"
    bad.write_bytes(content)
    files = {"--plan": planned(bench, capsys), "--leads": bench / "leads.toml"} | {which: bad}
    given = [part for pair in files.items() for part in pair]
    status, result, err = call(capsys, "test", *given, "--json", "--board", f"virtual:{bench / 'good.toml'}")
    assert status == 3
    assert "bad.toml" in err and "Traceback" not in err and result["error"]["kind"] == "input"


def test_a_port_gone_in_mid_scan_ends_with_status_4_and_a_record_marked_aborted(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    plan = planned(bench, capsys)
    plan.write_text(plan.read_text().replace('"not declared"', '"none"').replace('checked = ""', 'checked = "sheet 1"'))
    with VirtualBoard(bench / "good.toml", bench / "leads.toml") as board:
        gone = CutOff(board.port, 500)
        status, result, err = call(
            capsys, "test", "--plan", plan, "--leads", bench / "leads.toml", "--accept-cautions", "--json", "--board",
            gone.port,
        )  # fmt: skip
    assert status == 4, err
    assert result["verdict"] == "NOT TESTED" and result["error"]["message"]
    status, shown, _ = call(capsys, "records", "show", result["record"], "--json")
    assert status == 0 and shown["aborted"] and not shown["verdicts"]


def test_cautions_and_undeclared_hazards_keep_a_real_board_from_driving(
    bench: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    plan = planned(bench, capsys)
    monkeypatch.setattr("tester.cli.common.VIRTUAL_SERIAL", "none")  # a real board cannot be had here
    with VirtualBoard(bench / "good.toml", bench / "leads.toml") as board:
        status, _, err = call(capsys, "scan", "--leads", bench / "leads.toml", "--board", board.port)
        assert status == 3 and "battery" in err
        common = ["test", "--plan", plan, "--leads", bench / "leads.toml", "--board", board.port]
        status, _, err = call(capsys, *common, "--accept-cautions")
        assert status == 3 and "not declared" in err
        declared = plan.read_text().replace('"not declared"', '"none"').replace('checked = ""', 'checked = "sheet 1"')
        plan.write_text(declared)
        status, _, err = call(capsys, *common)
        assert status == 3 and "Caution not acknowledged: battery" in err
        assert call(capsys, *common, "--accept-cautions", "--json")[0] == 0


def test_a_log_that_cannot_be_written_ends_with_status_5_and_the_verdict_is_printed(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    plan = planned(bench, capsys)
    blocked = bench / "file"
    blocked.write_text("")
    for log in (blocked / "log.db", Path("/proc/loomwright/log.db")):
        status, result, err = call(
            capsys, "test", "--plan", plan, "--leads", bench / "leads.toml", "--json", "--log", log, "--board",
            f"virtual:{bench / 'good.toml'}",
        )  # fmt: skip
        assert (status, result["verdict"], result["record"]) == (5, "PASS", None), err
        assert "not stored" in err


def test_replay_gives_the_stored_verdict_again_apart_from_record_number(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    plan = planned(bench, capsys)
    wrong = harness_file(bench, "wrong", BROKEN["swap at one end"][0])
    for harness in (bench / "good.toml", wrong):
        _, result, _ = call(
            capsys, "test", "--plan", plan, "--leads", bench / "leads.toml", "--json", "--board", f"virtual:{harness}"
        )
        status, again, _ = call(capsys, "records", "replay", result["record"], "--json")
        assert status == 0 and again.pop("same")
        again.pop("stored_verdict")
        assert again == result
        status, wired, _ = call(capsys, "records", "replay", result["record"], "--wire", "--json")
        assert status == 0 and wired["wire_scans"] == 1
    assert call(capsys, "records", "verify", "--json")[1]["whole"]


VOLTAGE = '[[voltage]]\nat = "H-3"\nvolts = {volts}\nohms = {ohms}\n'


def test_a_voltage_on_a_cavity_is_named_and_nothing_is_driven(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    plan = planned(bench, capsys)
    live = harness_file(bench, "live", GOOD)
    live.write_text(live.read_text() + VOLTAGE.format(volts=12.6, ohms=50))
    status, result, err = call(
        capsys, "test", "--plan", plan, "--leads", bench / "leads.toml", "--json", "--board", f"virtual:{live}"
    )
    assert (status, result["verdict"], result["error"]["kind"]) == (4, "NOT TESTED", "voltage")
    assert "H-3" in err and "D-3" in err and "possibly wet" not in err


def test_a_weak_voltage_may_be_dampness_and_the_rest_is_scanned_but_never_passes(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    plan = planned(bench, capsys)
    wet = harness_file(bench, "wet", [link for link in GOOD if "D-3" not in link])
    wet.write_text(wet.read_text() + VOLTAGE.format(volts=0.6, ohms=8000))
    common = ["test", "--plan", plan, "--leads", bench / "leads.toml", "--json", "--board", f"virtual:{wet}"]
    status, _, err = call(capsys, *common)
    assert status == 4 and "H-3 +0.6" in err and "possibly wet" in err and "--leave-out H-3" in err
    status, result, _ = call(capsys, *common, "--leave-out", "H-3")
    verdicts = {c["cavity"]: c["verdict"] for c in result["cavities"]}
    assert status in (1, 2) and result["verdict"] != "PASS"
    assert verdicts["H-3"] == "NOT TESTED" and verdicts["D-1"] == "PASS"
