"""Firmware update: files into the slot that is not running, checked by SHA-256, taken into use only when all are there.

Two slots, `a` and `b`, under one folder, each with a package `firmware`. A slot counts when its file `complete` lists
every file with its hash and ends with the hash of that list; `loader.py` starts the newest such slot. Used by the
UPDate queries and, on a bare board, straight from the raw REPL; it imports nothing of the firmware for that reason.
"""

import gc
import os
from binascii import hexlify
from hashlib import sha256

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable

SLOTS = ("a", "b")
COMPLETE = "complete"
WANTED = "wanted"
_PIECE = 512
_SIZE_MOST = 1048576
_TEXT_MOST = 16384
_FILES_MOST = 100
_NAME_MOST = 40
"""So that the list of a slot stays below `_TEXT_MOST`, and an endless list of names does not fill the heap."""


class UpdateError(Exception):
    """An update step cannot be done; the text says why."""


def hex_hash(data: bytes) -> str:
    """SHA-256 in hexadecimal."""
    return hexlify(sha256(data).digest()).decode()


def nothing() -> None:
    """What is called between the pieces of long work when nobody needs it."""


def file_hash(path: str, breathe: "Callable[[], None]" = nothing) -> str:
    """SHA-256 of a file, in small pieces."""
    digest = sha256()
    with open(path, "rb") as file:
        while True:
            breathe()
            piece = file.read(_PIECE)
            if not piece:
                return hexlify(digest.digest()).decode()
            digest.update(piece)


def size_of(path: str) -> int:
    """Bytes of a file, -1 when there is none."""
    try:
        return os.stat(path)[6]
    except OSError:
        return -1


def read_text(path: str) -> str:
    """Text of a small file, "" when there is none or it is not text."""
    try:
        with open(path, "rb") as file:
            return file.read(min(size_of(path), _TEXT_MOST)).decode()
    except (OSError, UnicodeError):
        return ""


def write_text(path: str, text: str) -> None:
    """Write a small file whole or not at all."""
    with open(path + ".new", "wb") as file:
        file.write(text.encode())
    os.rename(path + ".new", path)


def remove_tree(path: str, breathe: "Callable[[], None]" = nothing) -> None:
    """Remove a file or folder with all in it; nothing there is fine."""
    breathe()
    try:
        names = os.listdir(path)
    except OSError:
        names = None
    try:
        if names is None:
            os.remove(path)
        else:
            for name in names:
                remove_tree(path + "/" + name, breathe)
            os.rmdir(path)
    except OSError:
        pass


def generation(folder: str, deep: bool) -> int:
    """Generation of a complete slot, 0 when it is not complete. `deep`: every file is read and hashed too.

    File `complete`: "generation N", lines "sha256 size name", last line the SHA-256 of all text before it.
    """
    text = read_text(folder + "/" + COMPLETE)
    body = text[: text.rfind("\n", 0, len(text) - 1) + 1]
    lines = body.split("\n")
    if not body or text[len(body) :].strip() != hex_hash(body.encode()) or not lines[0].startswith("generation "):
        return 0
    for line in lines[1:-1]:
        digest, size, name = line.split(" ", 2)
        path = folder + "/firmware/" + name
        if size_of(path) != int(size) or (deep and file_hash(path) != digest):
            return 0
    return int(lines[0][11:])


def newest(root: str, deep: bool) -> "list[str]":
    """Names of the complete slots, newest first."""
    found = []
    for slot in SLOTS:
        n = generation(root + "/" + slot, deep)
        if n:
            found.append((n, slot))
    return [slot for _, slot in sorted(found, reverse=True)]


class Installer:
    """One update into the older slot of `root`. Steps may be repeated and taken up again after a break.

    `breathe` is called every few milliseconds of long work: a board's watchdog wants to hear from it.
    """

    def __init__(self, root: str, breathe: "Callable[[], None]" = nothing) -> None:
        self.breathe = breathe
        self.root = root.rstrip("/")
        self.slot = ""
        self._files: list[tuple[str, int, str]] = []
        self._wanted = ""

    def begin(self, wanted: str) -> "tuple[str, bool]":
        """Choose the slot; `wanted` is the SHA-256 of the list of files. Slot, and whether a broken update goes on."""
        running = newest(self.root, False)
        self.slot = "b" if running and running[0] == "a" else "a"
        folder = self._folder()
        self._wanted = wanted
        self._files = []
        resumed = read_text(folder + "/" + WANTED) == wanted and size_of(folder + "/" + COMPLETE) < 0
        if not resumed:
            remove_tree(folder + "/" + COMPLETE, self.breathe)
            remove_tree(folder, self.breathe)
            for path in (folder, folder + "/firmware"):
                os.mkdir(path)
            write_text(folder + "/" + WANTED, wanted)
        return self.slot, resumed

    def _folder(self) -> str:
        return self.root + "/" + self.slot

    def _path(self, name: str) -> str:
        if not self.slot:
            raise UpdateError("no update begun")
        return self._folder() + "/firmware/" + name

    def file(self, name: str, digest: str, size: int) -> int:
        """Announce a file of the list; how many of its bytes are there. What cannot be right is removed."""
        plain = all([c.isalpha() or c.isdigit() or c in "_.-" for c in name])
        if not 0 < len(name) <= _NAME_MOST or name[0] == "." or not plain:
            raise UpdateError("file name " + name[:_NAME_MOST])
        if len(digest) > 64 or not 0 <= size <= _SIZE_MOST:
            raise UpdateError("hash or size of " + name)
        path = self._path(name)
        others = [entry for entry in self._files if entry[2] != name]
        if len(others) >= _FILES_MOST:
            raise UpdateError("more than %d files" % _FILES_MOST)
        there = size_of(path)
        if there > size or (there == size and file_hash(path, self.breathe) != digest):
            os.remove(path)
            there = -1
        if not size and there < 0:
            with open(path, "wb"):
                pass
        self._files = others + [(digest, size, name)]
        return max(there, 0)

    def data(self, name: str, offset: int, data: bytes) -> int:
        """Append bytes at their place; how many are there now. Bytes that are there already are passed over."""
        sizes = [entry[1] for entry in self._files if entry[2] == name]
        if not sizes:
            raise UpdateError("no file announced as " + name[:_NAME_MOST])
        if offset < 0 or offset + len(data) > sizes[0]:
            raise UpdateError("%s has %d bytes in all" % (name, sizes[0]))
        path = self._path(name)
        there = max(size_of(path), 0)
        if offset + len(data) <= there:
            return there
        if offset != there:
            raise UpdateError("%s has %d bytes, not %d" % (name, there, offset))
        with open(path, "ab") as file:
            file.write(data)
        return there + len(data)

    def commit(self) -> int:
        """Check every file and take the slot into use at the next start; how many files."""
        listing = "".join(["%s %d %s\n" % entry for entry in self._files])
        if not self._files or hex_hash(listing.encode()) != self._wanted:
            raise UpdateError("list of files differs from what was begun")
        for digest, size, name in self._files:
            path = self._path(name)
            if size_of(path) != size or file_hash(path, self.breathe) != digest:
                raise UpdateError(name + " is not whole")
        gc.collect()  # what follows needs a few kilobytes in one piece
        last = 0
        for slot in SLOTS:
            last = max(last, generation(self.root + "/" + slot, False))
        body = "generation %d\n" % (last + 1) + listing
        write_text(self._folder() + "/" + COMPLETE, body + hex_hash(body.encode()) + "\n")
        return len(self._files)
