"""Firmware update: two slots, resumed after a break, never without a firmware that starts."""

from __future__ import annotations

import base64
import builtins
import random
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from hwspec.firmware import installer
from hwspec.firmware.installer import Installer, UpdateError, generation, hex_hash, newest
from hwspec.virtual.micropython import find_micropython
from tests.hwspec.firmware.linked import NO_INTERPRETER, ROOT
from tests.hwspec.firmware.talk import NONCE, Refused, Talk

FIRMWARE = ROOT / "hwspec" / "firmware"
Files = dict[str, bytes]


def firmware(version: str) -> Files:
    """A small package that says which it is when started."""
    padding = b"# " + version.encode() * 400 + b"\n"
    return {"__init__.py": b"", "main.py": f"def run():\n    print('runs {version}')\n".encode(), "app.py": padding}


def listing(files: Files) -> str:
    return "".join(f"{hex_hash(data)} {len(data)} {name}\n" for name, data in files.items())


def install(target: Installer, files: Files, piece: int = 300) -> bool:
    """All steps as a host takes them; whether a broken update went on."""
    _, resumed = target.begin(hex_hash(listing(files).encode()))
    for name, data in files.items():
        there = target.file(name, hex_hash(data), len(data))
        while there < len(data):
            there = target.data(name, there, data[there : there + piece])
    assert target.commit() == len(files)
    return resumed


def slot(root: Path, name: str) -> Files:
    folder = root / name / "firmware"
    return {path.name: path.read_bytes() for path in folder.iterdir()} if folder.is_dir() else {}


def running(root: Path) -> Files:
    """Files of the slot that would start."""
    slots = newest(str(root), True)
    return slot(root, slots[0]) if slots else {}


@pytest.fixture
def root(tmp_path: Path) -> Path:
    install(Installer(str(tmp_path)), firmware("one"))
    return tmp_path


def test_first_update_goes_to_slot_a_and_the_next_ones_take_turns(tmp_path: Path) -> None:
    for n, name in enumerate(["a", "b", "a", "b"], 1):
        install(Installer(str(tmp_path)), firmware(f"v{n}"))
        assert newest(str(tmp_path), True)[0] == name
        assert generation(str(tmp_path / name), True) == n
        assert running(tmp_path) == firmware(f"v{n}")


class PowerLost(BaseException):
    """The board went dark."""


class Budget:
    """Lets so many bytes and file operations reach the disk, then the power is gone, in the middle of a write."""

    def __init__(self, left: int) -> None:
        self.left = left

    def spend(self, cost: int) -> int:
        """How much of the cost could still be paid; raises only once nothing is left."""
        if self.left <= 0:
            raise PowerLost
        paid = min(cost, self.left)
        self.left -= cost
        return paid

    def open(self, path: str, mode: str = "r") -> Any:
        if "w" in mode or "a" in mode:
            self.spend(1)
        file = builtins.open(path, mode)  # noqa: SIM115, PTH123  handed on
        if "r" in mode:
            return file
        budget = self

        class Cut:
            def __enter__(self) -> Cut:
                return self

            def __exit__(self, *_: object) -> None:
                file.close()

            def write(self, data: bytes) -> None:
                file.write(data[: budget.spend(len(data))])
                if budget.left < 0:
                    raise PowerLost

        return Cut()


@pytest.fixture
def breakable(monkeypatch: pytest.MonkeyPatch) -> Iterator[Any]:
    def arm(left: int) -> None:
        budget = Budget(left)
        monkeypatch.setattr(installer, "open", budget.open, raising=False)
        for name in ("rename", "remove", "rmdir", "mkdir"):
            real = getattr(installer.os, name)

            def priced(*arguments: str, real: Any = real) -> None:
                budget.spend(1)
                real(*arguments)

            monkeypatch.setattr(installer.os, name, priced)

    yield arm
    monkeypatch.undo()


@pytest.mark.parametrize("seed", range(20))
def test_power_lost_anywhere_leaves_the_old_firmware_and_a_second_try_installs_the_new_one(
    root: Path, breakable: Any, seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    if seed % 2:
        install(Installer(str(root)), firmware("two"))
    old, new = running(root), firmware("three")
    breakable(random.Random(seed).randrange(1, sum(map(len, new.values())) + 900))
    finished = False
    try:
        install(Installer(str(root)), new)
        finished = True
    except PowerLost:
        pass
    monkeypatch.undo()
    assert running(root) in ((new,) if finished else (old, new))
    install(Installer(str(root)), new)
    assert running(root) == new


def test_long_work_lets_the_watchdog_be_fed_between_small_pieces(root: Path) -> None:
    install(Installer(str(root)), firmware("two"))
    breaths: list[int] = []
    new = {"app.py": bytes(20_000)}
    install(Installer(str(root), lambda: breaths.append(1)), new)
    assert len(breaths) >= 20_000 // 512 + len(firmware("one"))


def test_a_broken_update_goes_on_where_it_stopped(root: Path) -> None:
    new = firmware("two")
    first = Installer(str(root))
    first.begin(hex_hash(listing(new).encode()))
    first.file("app.py", hex_hash(new["app.py"]), len(new["app.py"]))
    first.data("app.py", 0, new["app.py"][:700])
    again = Installer(str(root))
    assert again.begin(hex_hash(listing(new).encode())) == ("b", True)
    assert again.file("app.py", hex_hash(new["app.py"]), len(new["app.py"])) == 700
    assert install(Installer(str(root)), new)


def test_another_list_begins_afresh(root: Path) -> None:
    first = Installer(str(root))
    first.begin("00")
    first.file("app.py", "00", 9)
    first.data("app.py", 0, b"123")
    assert not install(Installer(str(root)), firmware("two"))
    assert set(slot(root, "b")) == set(firmware("two"))


def test_wrong_bytes_of_the_right_length_are_taken_out_and_sent_again(root: Path) -> None:
    new = firmware("two")
    first = Installer(str(root))
    first.begin(hex_hash(listing(new).encode()))
    first.file("main.py", hex_hash(new["main.py"]), len(new["main.py"]))
    first.data("main.py", 0, bytes(len(new["main.py"])))
    assert first.file("main.py", hex_hash(new["main.py"]), len(new["main.py"])) == 0


def test_commit_refuses_what_is_not_whole(root: Path) -> None:
    new = firmware("two")
    update = Installer(str(root))
    update.begin(hex_hash(listing(new).encode()))
    for name, data in new.items():
        update.file(name, hex_hash(data), len(data))
    with pytest.raises(UpdateError, match="is not whole"):
        update.commit()
    update.begin(hex_hash(listing(new).encode()))
    with pytest.raises(UpdateError, match="list of files differs"):
        update.commit()
    assert running(root) == firmware("one")


@pytest.mark.parametrize("name", ["../x", "a/b", "", ".hidden", "x" * 3 + "\n", "a b", "x" * 41])
def test_file_names_never_become_paths(root: Path, name: str) -> None:
    update = Installer(str(root))
    update.begin("00")
    with pytest.raises(UpdateError, match="file name"):
        update.file(name, "00", 1)


@pytest.mark.parametrize("size", [-1, -(2**40), 2**20 + 1, 2**70])
def test_a_size_that_no_file_has_is_refused_and_nothing_is_touched(root: Path, size: int) -> None:
    talk = Talk()
    talk.hal.root = str(root)
    talk.restart()
    talk.ask_body("UPD:BEG?", '"00"')
    with pytest.raises(Refused) as refused:
        talk.ask_body("UPD:FILE?", '"app.py"', '"00"', size)
    assert refused.value.number in (-224, -222, -104)
    assert slot(root, "b") == {}


@pytest.mark.parametrize("name", ["app.py", "../../a/firmware/main.py", "../wanted"])
def test_bytes_go_only_into_files_that_were_announced(root: Path, name: str) -> None:
    update = Installer(str(root))
    update.begin("00")
    update.file("main.py", "00", 9)
    with pytest.raises(UpdateError, match="no file announced"):
        update.data(name, len(firmware("one")["main.py"]) if "main" in name else 0, b"x = 1\n")
    assert running(root) == firmware("one") and slot(root, "b") == {}


def test_a_file_never_grows_beyond_what_was_announced(root: Path) -> None:
    update = Installer(str(root))
    update.begin("00")
    update.file("main.py", "00", 9)
    update.data("main.py", 0, bytes(5))
    for offset, data in ((5, bytes(5)), (-1, bytes(3))):
        with pytest.raises(UpdateError, match="has 9 bytes in all"):
            update.data("main.py", offset, data)
    assert update.data("main.py", 5, bytes(4)) == 9


def test_the_list_of_files_has_an_end(root: Path) -> None:
    """Else a host that never stops announcing fills the heap, and a list that cannot be read back never starts."""
    update = Installer(str(root))
    files = {f"{'m' * 34}{n:03}.py": b"" for n in range(100)}
    install(update, files)
    assert newest(str(root), True)[0] == "b"
    update.begin("00")
    for name in files:
        update.file(name, "0" * 64, 1)
    assert update.file(name, "0" * 64, 2) == 0
    with pytest.raises(UpdateError, match="more than 100 files"):
        update.file("one_more.py", "00", 1)


def test_a_byte_changed_later_makes_the_slot_not_count(root: Path) -> None:
    install(Installer(str(root)), firmware("two"))
    damaged = root / "b" / "firmware" / "app.py"
    data = bytearray(damaged.read_bytes())
    data[100] ^= 1
    damaged.write_bytes(data)
    assert newest(str(root), True) == ["a"]
    complete = root / "a" / "complete"
    complete.write_text(complete.read_text().replace("generation 1", "generation 9"))
    assert newest(str(root), True) == []


@pytest.mark.skipif(find_micropython() is None, reason=NO_INTERPRETER)
@pytest.mark.parametrize(
    ("damage", "said"),
    [
        ("", "runs two"),
        ("not complete", "runs one"),
        ("flipped", "runs one"),
        ("does not start", "runs one"),
        ("nothing left", "no firmware: install it"),
    ],
)
def test_loader_starts_the_newest_slot_that_is_whole_and_starts(root: Path, damage: str, said: str) -> None:
    two = firmware("two")
    if damage == "does not start":
        two["main.py"] = b"import nothing_of_that_name\n"
    install(Installer(str(root)), two)
    if damage == "not complete":
        (root / "b" / "complete").unlink()
    elif damage == "flipped":
        (root / "b" / "firmware" / "main.py").write_bytes(two["main.py"].replace(b"two", b"TWO"))
    elif damage == "nothing left":
        shutil.rmtree(root / "a")
        shutil.rmtree(root / "b")
    (root / "boot").mkdir()
    shutil.copy(FIRMWARE / "installer.py", root / "boot")
    shutil.copy(FIRMWARE / "loader.py", root / "main.py")
    start = f"import sys; sys.path.insert(0, {str(root)!r}); import main; main.start({str(root)!r})"
    found = subprocess.run(
        [str(find_micropython()), "-c", start], cwd=root, capture_output=True, text=True, check=True, timeout=20
    )
    assert said in found.stdout.splitlines()[-1]


def test_update_through_the_serial_port_and_restart_on_request(root: Path) -> None:
    new = firmware("two")
    talk = Talk()
    talk.hal.root = str(root)
    talk.restart()
    restarts: list[int] = []
    talk.hal.restart = lambda: restarts.append(1)  # type: ignore[method-assign]
    body = talk.ask_body("UPD:BEG?", f'"{hex_hash(listing(new).encode())}"')
    assert (body[:1], body[4:]) == (b"b", bytes(4))
    for name, data in new.items():
        body = talk.ask_body("UPD:FILE?", f'"{name}"', f'"{hex_hash(data)}"', len(data))
        there = int.from_bytes(body[4:], "little")
        while there < len(data):
            piece = base64.b64encode(data[there : there + 2048]).decode()
            body = talk.ask_body("UPD:DATA?", f'"{name}"', there, f'"{piece}"')
            again = talk.ask_body("UPD:DATA?", f'"{name}"', there, f'"{piece}"')
            there = int.from_bytes(body[4:], "little")
            assert again == body
    assert int.from_bytes(talk.ask_body("UPD:COMM?")[4:], "little") == len(new)
    assert running(root) == new and not restarts
    talk.ask_body("UPD:STAR?")
    assert restarts == [1]


def test_board_in_use_is_not_updated(root: Path) -> None:
    talk = Talk()
    talk.hal.root = str(root)
    talk.restart()
    talk.ask_body("SYST:SYNC?", NONCE)
    talk.lease()
    with pytest.raises(Refused, match="give the lease back first"):
        talk.ask_body("UPD:BEG?", '"00"')
