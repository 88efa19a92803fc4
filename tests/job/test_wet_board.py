"""A wet harness on one open board: refused, then scanned in part; a voltage that comes up in the middle."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from tester.board.client import Board
from tester.board.opening import open_board
from tester.errors import BoardError
from tester.harness.leads import LeadMap
from tester.job.measure import VoltagePresent, check_drivers, check_voltage, naming_sources, reduced, take_scan
from tests.campaigns.rig import Rig

LINKS = 'format = 1\n[[link]]\na = "A-1"\nb = "A-3"\n'
WET = '[[voltage]]\nat = "A-2"\nvolts = 0.6\nohms = 8000\n'
LEADS = LeadMap("set", {n: f"A-{n}" for n in range(1, 5)})


@pytest.fixture
def board(tmp_path: Path) -> Iterator[Board]:
    leads, dry = tmp_path / "leads.toml", tmp_path / "dry.toml"
    (tmp_path / "wet.toml").write_text(LINKS + WET)
    dry.write_text(LINKS)
    leads.write_text('format = 1\nid = "set"\n[channels]\n' + "".join(f'{n} = "A-{n}"\n' for n in range(1, 5)))
    with open_board(f"virtual:{dry}", leads) as opened:
        yield opened


def test_after_a_refusal_the_same_board_scans_the_rest_at_once(board: Board, tmp_path: Path) -> None:
    board.plug(tmp_path / "wet.toml")
    with pytest.raises(VoltagePresent) as caught:
        check_voltage(board, LEADS)
    assert [source.cavity for source in caught.value.sources] == ["A-2"] and caught.value.wet
    (rest,) = reduced([LEADS], ["A-2"])
    check_voltage(board, rest)
    check_drivers(board, rest)
    netlist = take_scan(board, [rest]).measured.netlist
    assert "A-2" not in netlist and netlist.partners("A-1") == ("A-3",)


def test_a_voltage_that_comes_up_after_the_check_is_told_with_its_cavity_too(board: Board, tmp_path: Path) -> None:
    check_voltage(board, LEADS)
    board.plug(tmp_path / "wet.toml")
    board.let_go()  # as a pause of more than half a second does: the next question checks anew
    with pytest.raises(VoltagePresent) as caught, naming_sources(board, LEADS):
        board.walk((1, 2, 3, 4), (1, 2, 3, 4))
    assert [source.cavity for source in caught.value.sources] == ["A-2"]


def test_any_other_trouble_of_the_board_stays_what_it_is(board: Board) -> None:
    with pytest.raises(BoardError) as caught, naming_sources(board, LEADS):
        raise BoardError("cancelled", code="cancelled")
    assert not isinstance(caught.value, VoltagePresent)


@pytest.mark.parametrize("points", [1, 2, 10])
@pytest.mark.parametrize(("ohms", "weak"), [(700.0, False), (8000.0, True)])
def test_a_source_is_as_strong_as_it_is_however_many_points_pull_on_it(points: int, ohms: float, weak: bool) -> None:
    """Each pulls through 330 kohm: ten make 700 ohm look like 7 kohm, unless they are counted."""
    names = [f"A-{n}" for n in range(1, points + 1)]
    rig = Rig(dict(enumerate([*names, "B-1"], 1)), seed=5)
    links = [{"a": "A-1", "b": name, "ohms": 0.05} for name in names[1:]]
    rig.bench.plug({"link": links, "voltage": [{"at": "A-1", "volts": 0.6, "ohms": ohms}]})
    with pytest.raises(VoltagePresent) as caught:
        check_voltage(rig.board, rig.leads)
    assert sorted(source.cavity for source in caught.value.sources) == sorted(names)
    for source in caught.value.sources:
        assert source.weak == caught.value.wet == weak
        assert source.volts == pytest.approx(0.6, abs=0.03)
        assert source.ohms == pytest.approx(ohms, rel=0.1, abs=150)
