"""Harness files and lead maps: what is read, and one clear message for each mistake."""

from __future__ import annotations

import pytest

from hwspec.virtual.files import BadFile
from hwspec.virtual.harness import Dropout, load_harness
from hwspec.virtual.leads import load_leads

WHOLE = """
format = 1
[[link]]
a = "D-1"
b = "~gnd"
ohms = 0.08
[[leak]]
a = "D-4"
b = "H-7"
ohms = 22000
[[diode]]
anode = "D-9"
cathode = "h 3"
drop_v = 0.6
[[dropout]]
a = "D-2"
b = "H9"
every_ms = 400
open_ms = 3
[[voltage]]
at = "H-12"
volts = 12.6
ohms = 50
"""


def written(tmp_path, text, name="harness.toml"):
    path = tmp_path / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def test_a_file_with_every_fixed_table_is_read_whole_and_cavities_as_people_type_them(tmp_path):
    harness = load_harness(written(tmp_path, WHOLE))
    assert [(r.a, r.b, r.ohms, r.metal) for r in harness.resistors] == [
        ("D-1", "~gnd", 0.08, True),
        ("D-4", "H-7", 22000, False),
    ]
    assert harness.diodes[0].cathode == "H-3"
    assert harness.dropouts[0] == Dropout("D-2", "H-9", 400, 3)
    assert (harness.voltages[0].at, harness.voltages[0].volts, harness.voltages[0].ohms) == ("H-12", 12.6, 50)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "format is missing; the first line is format = 1"),
        ("format = 2", "format is 2; this program reads format = 1"),
        ("format = 1\n[[lnk]]\na='D-1'", 'unknown key "lnk"; did you mean "link"?'),
        ("format = 1\n[link]\na='D-1'", "write it as [[link]]"),
        ("format = 1\n[[link]]\na='D-1'\nb='D-1'", '[[link]] 1: b is "D-1", the same as a'),
        ("format = 1\n[[link]]\na='D-1'", "[[link]] 1: b is missing"),
        ("format = 1\n[[link]]\na='D-1'\nb='17'", '[[link]] 1: b is "17"; write a cavity such as "H-11"'),
        ("format = 1\n[[leak]]\na='D-1'\nb='D-2'", "[[leak]] 1: ohms is missing"),
        ("format = 1\n[[leak]]\na='D-1'\nb='D-2'\nohms=nan", "ohms is nan; write a number from"),
        ("format = 1\n[[leak]]\na='D-1'\nb='D-2'\nohms=true", "ohms is True; write a number from"),
        ("format = 1\n[[leak]]\na='D-1'\nb='D-2'\nohms=-4", "ohms is -4; it must be from"),
        ("format = 1\n[[link]]\na='D-1'\nb='D-2'\nohm=4", 'unknown key "ohm"; did you mean "ohms"?'),
        ("format = 1\n[[diode]]\nanode='D-1'\nkathode='D-2'", 'unknown key "kathode"; did you mean "cathode"?'),
        (
            "format = 1\n[[dropout]]\na='D-1'\nb='D-2'\nevery_ms=5\nopen_ms=5",
            "open_ms is 5; it must be less than every_ms",
        ),
        ("format = 1\n[[voltage]]\nat='D-1'\nvolts=400", "volts is 400; it must be from -60 to 60"),
        ("format = ", "not TOML:"),
        (b"format = 1\n# \xff\xfe", "line 2: not UTF-8 text"),
        ("format = 1\n#" + "x" * 10_000_000, "larger than 1 MB"),
    ],
)
def test_a_wrong_harness_file_is_named_with_place_and_right_value(tmp_path, text, words):
    path = written(tmp_path, text)
    with pytest.raises(BadFile) as wrong:
        load_harness(path)
    assert str(path) in str(wrong.value)
    assert words in str(wrong.value)


def test_a_folder_or_a_missing_file_is_told(tmp_path):
    with pytest.raises(BadFile, match="is a folder"):
        load_harness(tmp_path)
    with pytest.raises(BadFile, match="no such file"):
        load_harness(tmp_path / "none.toml")


def test_a_lead_map_gives_channels_lead_ohms_jumpers_and_probe(tmp_path):
    text = (
        'format = 1\nid = "x"\nnote = "any"\nohms = 0.05\nidentity = [[31, 32]]\nprobe = 40\nunreachable = ["D-9"]\n'
        '[channels]\n1 = "d1"\n33 = "H-1"\n[lead_ohms]\n33 = 0.2\n'
    )
    leads = load_leads(written(tmp_path, text))
    assert leads.channels == {1: "D-1", 33: "H-1"}
    assert leads.ohms == {1: 0.05, 33: 0.2}
    assert (leads.jumpers, leads.probe) == (((31, 32),), 40)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("format = 1", "[channels] is missing"),
        ("format = 1\n[channels]\n65 = 'D-1'", '"65" is not a channel; this board has channels 1 to 64'),
        ("format = 1\n[channels]\n0 = 'D-1'", '"0" is not a channel'),
        ("format = 1\n[channels]\n1 = 'D-1'\n2 = 'd 1'", "channels 1 and 2 both go to D-1"),
        ("format = 1\n[channels]\n1 = 7", '1 is 7; write a cavity such as "H-11"'),
        ("format = 1\n[channels]\n1 = '~x'", "write a cavity"),
        ("format = 1\nohms = nan\n[channels]\n1 = 'D-1'", "ohms is nan"),
        ("format = 1\nchannels = 3", "found 3; a table is wanted"),
    ],
)
def test_a_wrong_lead_map_is_named_with_place_and_right_value(tmp_path, text, words):
    with pytest.raises(BadFile) as wrong:
        load_leads(written(tmp_path, text), 64)
    assert words in str(wrong.value)


def test_a_dropout_tells_when_it_opens_and_closes():
    drop = Dropout("D-1", "D-2", every_ms=10, open_ms=2, phase_ms=1)
    ms = 1_000_000
    assert [drop.is_open(t * ms) for t in (0, 1, 2, 3, 4, 11, 12, 13)] == [
        False,
        True,
        True,
        False,
        False,
        True,
        True,
        False,
    ]
    assert [drop.next_edge(t * ms) // ms for t in (0, 1, 2, 3, 10, 11)] == [1, 3, 3, 11, 11, 13]
