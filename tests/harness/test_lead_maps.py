"""Lead maps: what they hold, and the one message that a wrong one gives."""

from __future__ import annotations

import pytest

from tester.errors import InputError
from tester.harness.leads import load_leads, on_leads, write_leads
from tester.shipped import shipped

GOOD = 'format = 1\nid = "x"\n[channels]\n1 = "D-1"\n33 = "h 1"\n'


def refusal(text: str | bytes) -> str:
    with pytest.raises(InputError) as caught:
        load_leads(text, "leads.toml")
    return str(caught.value)


def test_channels_are_numbers_and_cavities_are_canonical() -> None:
    leads = load_leads(GOOD, "leads.toml")
    assert leads.channels == {1: "D-1", 33: "H-1"}
    assert leads.cavities == ("D-1", "H-1")
    assert leads.channel_of("H-1") == 33 and leads.channel_of("H-2") is None
    assert on_leads([leads]) == {"D-1", "H-1"}


@pytest.mark.parametrize("path", sorted(shipped("fixtures", "leads").glob("*.toml")), ids=lambda p: p.name)
def test_shipped_lead_maps_are_read_and_round_trip(path) -> None:  # type: ignore[no-untyped-def]
    leads = load_leads(path.read_bytes(), path.name)
    assert load_leads(write_leads(leads), "again") == leads


def test_lead_resistance_falls_back_to_that_of_the_set() -> None:
    leads = load_leads(GOOD.replace("[channels]", "ohms = 0.05\n[lead_ohms]\n33 = 0.2\n[channels]"), "leads.toml")
    assert leads.ohms_of(1) == 0.05 and leads.ohms_of(33) == 0.2
    assert load_leads(write_leads(leads), "again") == leads


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (GOOD + '34 = "D-1"\n', "leads.toml, line 6, [channels], 34: channel 34 goes to D-1, but so does channel 1"),
        (GOOD + '257 = "D-2"\n', 'line 6, [channels], 257: "257" is not a channel; channels are 1 to 256'),
        (GOOD + '0 = "D-2"\n', "channels are 1 to 256"),
        (GOOD + '2 = "bolt"\n', "'bolt' is not a cavity; write connector and number, such as H-11"),
        (GOOD + '2 = "D-2"\n2 = "D-3"\n', "line 7: this key or table is there twice"),
        (GOOD + '02 = "D-2"\n2 = "D-3"\n', "channel 2 is there twice"),
        (GOOD.replace("id", "ident"), 'line 2, ident: unknown key "ident"'),
        (GOOD.replace("[channels]", "identty = [[5, 6]]\n[channels]"), 'did you mean "identity"?'),
        (GOOD.replace("[channels]", "identity = [[1, 6]]\n[channels]"), "channel 1 already goes to D-1"),
        (GOOD.replace("[channels]", 'unreachable = ["D-1"]\n[channels]'), "D-1 has a lead, so it is not unreachable"),
        (GOOD.replace("[channels]", "ohms = nan\n[channels]"), "line 3, ohms: found nan; a finite number is needed"),
        (GOOD.replace("[channels]", "probe = 33\n[channels]"), "channel 33 is used for something else already"),
        (GOOD.replace("format = 1", "format = 2"), "format"),
        ("format = 1\nid = 'x'\n[channels]\n", "no lead at all"),
        ("1 = D-1", 'line 1: text goes in double quotes: 1 = "D-1"'),
        ("[" * 5000, "leads.toml"),
        (b"\xff\xfe\x00", "byte 0xff is not UTF-8"),
        ("#" * 10_000_000, "10.0 MB is too big"),
        ("", '"format" is missing'),
    ],
)  # fmt: skip
def test_a_wrong_lead_map_gets_one_clear_message(text: str | bytes, words: str) -> None:
    assert words in refusal(text)
