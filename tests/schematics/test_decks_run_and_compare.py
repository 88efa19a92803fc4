"""The deck runner: a short deck through ngspice, tables read and compared, and what goes wrong said plainly."""

from pathlib import Path

import pytest

from hwspec.circuit.decks import __main__ as command
from hwspec.circuit.decks import catalogue
from hwspec.circuit.decks.deck import Deck, text
from hwspec.circuit.decks.run import DeckError, differences, read_table, run, table
from hwspec.circuit.generate import ROOT, spice_files, stale
from hwspec.circuit.spice import libraries
from tests.support.tools import need_program


def deck(body: list[str], control: list[str], columns: tuple[str, ...] = ("ohm", "volt")) -> Deck:
    return Deck("short", "A divider", columns, text("short", body, control))


def put(folder: Path, one: Deck) -> Path:
    for name, content in libraries().items():
        (folder / name).write_text(content)
    (folder / f"{one.name}.cir").write_text(one.text)
    return folder


DIVIDER = ["V1 a 0 3", "R1 a b 1k", "R2 b 0 2k"]


def test_a_divider_reads_as_ohm_s_law_says(tmp_path: Path) -> None:
    need_program("ngspice")
    one = deck(DIVIDER, ["op", 'echo "ROW 2000 $&v(b)"'])
    assert run(one, put(tmp_path, one)) == [(2000.0, pytest.approx(2.0))]


def test_a_deck_with_a_mistake_says_so_and_gives_no_table(tmp_path: Path) -> None:
    need_program("ngspice")
    one = deck([*DIVIDER, "D1 b 0 NOSUCH"], ["op", 'echo "ROW 2000 $&v(b)"'])
    with pytest.raises(DeckError, match="short: ngspice ended"):
        run(one, put(tmp_path, one))
    silent = deck(DIVIDER, ["op"])
    with pytest.raises(DeckError, match="short: ngspice ended"):
        run(silent, put(tmp_path, silent))


def test_a_row_of_the_wrong_length_is_no_row(tmp_path: Path) -> None:
    need_program("ngspice")
    one = deck(DIVIDER, ["op", 'echo "ROW 2000"'])
    with pytest.raises(DeckError, match="1 values for 2 columns"):
        run(one, put(tmp_path, one))


def test_without_ngspice_the_message_says_what_to_install(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    one = deck(DIVIDER, ["op"])
    with pytest.raises(DeckError, match="apt-get install ngspice"):
        run(one, tmp_path)


def test_a_table_reads_back_as_it_was_written() -> None:
    one = deck([], [], ("case", "ohm"))
    written = table(one, [("short", 0.001), ("long", 123456.0)])
    assert read_table(written) == [{"case": "short", "ohm": 0.001}, {"case": "long", "ohm": 123500.0}]


def test_a_changed_value_and_a_changed_word_are_differences() -> None:
    one = deck([], [], ("case", "ohm"))
    old = table(one, [("short", 100.0), ("long", 5.0)])
    assert differences(old, table(one, [("short", 100.4), ("long", 5.0)])) == []
    assert differences(old, table(one, [("short", 103.0), ("wide", 5.0)])) == [
        "row 2 case: long before, wide now",
        "row 1 ohm: 100 before, 103 now",
    ]
    assert differences(old, table(one, [("short", 100.0)])) == ["rows or columns are not the same"]


def test_decks_that_take_no_time_give_the_committed_tables() -> None:
    need_program("ngspice")
    assert command.main(["--check", "joined", "apart", "net60", "current", "starter_scan"]) == 0


def test_an_unknown_deck_is_named_with_those_that_exist(capsys: pytest.CaptureFixture[str]) -> None:
    assert command.main(["--check", "jonied"]) == 1
    assert "no deck jonied; there are: joined, apart" in capsys.readouterr().err


def test_each_deck_has_its_file_and_its_table() -> None:
    assert stale(spice_files()) == []
    results = {path.stem for path in (ROOT / "schematics" / "spice" / "results").glob("*.txt")}
    assert results == {*catalogue.names(), "timing"}
