"""Reading and replacing the files that a person names."""

from pathlib import Path

import pytest

from tester.errors import InputError, StoreError
from tester.job.files import read_text, write_whole


def test_a_folder_in_place_of_a_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="is a folder, a plan file was expected"):
        read_text(tmp_path, "plan")


def test_bytes_that_are_not_utf8_name_the_line(tmp_path: Path) -> None:
    place = tmp_path / "p.toml"
    place.write_bytes(b"a = 1\nb = '\xff'\n")
    with pytest.raises(InputError, match="line 2: byte 0xff is not UTF-8"):
        read_text(place, "plan")


def test_ten_megabytes_are_refused_without_reading_them_all(tmp_path: Path) -> None:
    place = tmp_path / "big"
    place.write_bytes(b"x" * 10_000_000)
    with pytest.raises(InputError, match="larger than 4 MB"):
        read_text(place, "plan")


def test_a_missing_file_says_where_it_looked(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no such lead map file"):
        read_text(tmp_path / "none", "lead map")


def test_a_nul_in_a_name_is_a_message(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="not a usable file name"):
        read_text("a\0b", "plan")


def test_replacing_leaves_the_whole_new_content_and_no_other_file(tmp_path: Path) -> None:
    place = tmp_path / "scan.json"
    place.write_text("old")
    write_whole(place, "new")
    assert place.read_text() == "new"
    assert [p.name for p in tmp_path.iterdir()] == ["scan.json"]


def test_a_folder_that_cannot_be_written_is_a_store_error(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="cannot be written"):
        write_whole(tmp_path / "none" / "scan.json", "x")
