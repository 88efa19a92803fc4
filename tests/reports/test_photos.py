"""Photos by path: pictures only, of a bounded size, named without their folder."""

from __future__ import annotations

from pathlib import Path

import pytest

from tester.errors import InputError
from tester.reports import photos
from tester.reports.photos import media_of, read_photo


def test_pictures_are_known_by_their_first_bytes(tmp_path: Path) -> None:
    (tmp_path / "plug D.JPG").write_bytes(b"\xff\xd8\xff\xe0 rest")
    photo = read_photo(tmp_path / "plug D.JPG")
    assert (photo.name, photo.media) == ("plug D.JPG", "image/jpeg")
    assert media_of(b"RIFF\0\0\0\0WEBPVP8 ") == "image/webp" and media_of(b"RIFF\0\0\0\0WAVE") == ""


@pytest.mark.parametrize(
    ("content", "said"),
    [(b"<svg onload=alert(1)>", "not a picture"), (b"", "not a picture"), (b"%PDF-1.7", "not a picture")],
)
def test_what_is_no_picture_is_refused(content: bytes, said: str, tmp_path: Path) -> None:
    (tmp_path / "a.png").write_bytes(content)
    with pytest.raises(InputError, match=said):
        read_photo(tmp_path / "a.png")


def test_a_folder_a_missing_file_and_a_device_are_refused(tmp_path: Path) -> None:
    for path, said in ((tmp_path, "a folder"), (tmp_path / "no.png", "not there"), (Path("/dev/zero"), "not a file")):
        with pytest.raises(InputError, match=said):
            read_photo(path)


def test_a_picture_that_is_too_large_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(photos, "LIMIT", 1024 * 1024)
    (tmp_path / "a.png").write_bytes(b"\x89PNG\r\n\x1a\n" + bytes(1024 * 1024))
    with pytest.raises(InputError, match="larger than 1 MiB"):
        read_photo(tmp_path / "a.png")
