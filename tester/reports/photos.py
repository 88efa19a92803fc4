"""Photos and other files that are added to a record: read by path, checked, kept by hash."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from tester.errors import InputError

LIMIT = 12 * 1024 * 1024
"""Largest photo in bytes."""

MEDIA = {
    "image/jpeg": b"\xff\xd8\xff",
    "image/png": b"\x89PNG\r\n\x1a\n",
    "image/webp": b"RIFF",
    "image/gif": b"GIF8",
}
"""Kinds of pictures that every browser shows, by how their files begin."""


@dataclass(frozen=True)
class PhotoFile:
    """A picture as read: name without folders, kind, content."""

    name: str
    media: str
    content: bytes


def read_photo(path: Path) -> PhotoFile:
    """Read a picture. InputError for what is not one, is too large, or cannot be read."""
    try:
        if not path.is_file():
            what = "a folder" if path.is_dir() else "not there" if not path.exists() else "not a file"
            raise InputError(f"{path}: {what}", "name a picture: JPEG, PNG, WebP or GIF")
        with path.open("rb") as file:
            content = file.read(LIMIT + 1)
    except OSError as error:
        raise InputError(f"{path}: {error.strerror}", "name a picture that can be read") from None
    if len(content) > LIMIT:
        raise InputError(f"{path}: larger than {LIMIT // 1024 // 1024} MiB", "save the picture smaller, then add it")
    media = media_of(content)
    if not media:
        raise InputError(f"{path}: not a picture that pages can show", "use JPEG, PNG, WebP or GIF")
    return PhotoFile(path.name, media, content)


def media_of(content: bytes) -> str:
    """Kind of a picture by its first bytes, "" for anything else."""
    for media, start in MEDIA.items():
        if content.startswith(start) and (media != "image/webp" or content[8:12] == b"WEBP"):
            return media
    return ""
