"""What the firmware keeps over a power cut: a folder with one file a name."""

from __future__ import annotations

from collections.abc import Iterator, MutableMapping
from pathlib import Path


class FolderStore(MutableMapping[str, bytes]):
    """A mapping of names to bytes in a folder; each write replaces its file whole."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def __getitem__(self, name: str) -> bytes:
        try:
            return (self._folder / name).read_bytes()
        except OSError:
            raise KeyError(name) from None

    def __setitem__(self, name: str, data: bytes) -> None:
        self._folder.mkdir(parents=True, exist_ok=True)
        fresh = self._folder / f"{name}.new"
        fresh.write_bytes(data)
        fresh.replace(self._folder / name)

    def __delitem__(self, name: str) -> None:
        try:
            (self._folder / name).unlink()
        except OSError:
            raise KeyError(name) from None

    def __iter__(self) -> Iterator[str]:
        return (path.name for path in sorted(self._folder.iterdir()) if path.suffix != ".new")

    def __len__(self) -> int:
        return sum(1 for _ in self)
