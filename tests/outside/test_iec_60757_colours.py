"""Colour letters against IEC 60757 as cited in standards lists: IEC 60757:2021 extract; IEC 757:1983 letter table."""

from __future__ import annotations

import pytest

from tester.errors import InputError
from tester.harness.colours import NAMES, Colour, load_house_colours, parse_colour, parse_cores

# IEC 757:1983 = GOST 28763-90, letter table (seen).
TABLE = (
    "BK black, BN brown, RD red, OG orange, YE yellow, GN green, BU blue, VT violet, GY grey, WH white, PK pink, "
    "GD gold, TQ turquoise, SR silver"
)


def test_the_letters_are_those_of_the_table_in_table_order() -> None:
    assert ", ".join(f"{code} {name}" for code, name in NAMES.items()) == TABLE


def test_two_colours_on_one_item_join_in_table_order_and_several_items_with_plus() -> None:
    # IEC 60757:2021 extract: RDBU is one item with red and blue; five cores join with +.
    assert parse_colour("BU/RD").iec == "RDBU" == parse_colour("RD/BU").iec
    cores = parse_cores("BK+BK+BN+BU+GNYE")
    assert [core.iec for core in cores] == ["BK", "BK", "BN", "BU", "GNYE"]
    assert len(cores) == 5


def test_green_and_yellow_is_written_gnye_though_yellow_comes_first_in_the_table() -> None:
    # IEC 60757: GNYE is the designation of green-and-yellow.
    assert parse_colour("GNYE").iec == "GNYE"
    assert parse_colour("YE/GN").iec == "GNYE"
    assert parse_colour("GNYE").words == "green and yellow"


def test_base_and_stripe_are_kept_apart() -> None:
    assert parse_colour("BU/RD") == Colour("BU", "RD") != parse_colour("RD/BU")
    assert parse_colour("bu/rd").words == "blue with a red stripe"
    assert parse_colour("gray") == parse_colour("GY") == Colour("GY")


def test_a_wrong_colour_names_the_right_ones() -> None:
    with pytest.raises(ValueError, match='"BL" is not a colour by IEC 60757'):
        parse_colour("BL")


def test_a_house_code_comes_from_a_file_of_the_user() -> None:
    # DIN 47002 letters as seen in harness files; their meaning is from memory, so the user maps them.
    house = load_house_colours('[colours]\nsw = "BK"\nbr = "BN"\n', "house.toml")
    assert parse_colour("SW", house) == Colour("BK")
    with pytest.raises(InputError, match=r'house.toml, line 2, \[colours\], sw: "black-ish" is not a colour'):
        load_house_colours('[colours]\nsw = "black-ish"\n', "house.toml")
