"""The estimates by which a host cuts its slices are exactly those of protocol.md section 5."""

from __future__ import annotations

import random

import pytest

from tests.hwspec.firmware.talk import Refused, Talk, channels

RELEASE, FALL = 40, 60


def chips(wanted: list[int]) -> int:
    return len({(c - 1) // 16 for c in wanted})


def row_cost(read: list[int]) -> int:
    """6 for each byte whose eight channels rise from 1, 9, 17 and so on; 10 for each channel of any other byte."""
    cost = 0
    for at in range(0, len(read), 8):
        eight = read[at : at + 8]
        run = len(eight) == 8 and eight[0] % 8 == 1 and eight == list(range(eight[0], eight[0] + 8))
        cost += 6 if run else 10 * len(eight)
    return cost


def spent(talk: Talk) -> tuple[int, int]:
    """Estimate without the rows, and bytes, of the programme that was compiled last."""
    programme = talk.app.board.scanner.programme
    return programme.cost_us, programme.length


@pytest.fixture(scope="module")
def talk() -> Talk:
    return Talk({}, {1: "D-1", 2: "D-2"}, cards=4).begin()


@pytest.mark.parametrize("seed", range(5))
def test_estimates_and_sizes_follow_the_formulas_of_the_page(talk: Talk, seed: int) -> None:
    rng = random.Random(seed)
    read = rng.sample(range(1, 257), rng.randrange(1, 100))
    drive = rng.sample(range(1, 257), rng.randrange(1, 30))
    c = chips(read)
    talk.lease()
    talk.walk(drive, read)
    assert spent(talk) == (len(drive) * (190 + 45 * c + RELEASE + FALL), len(drive) * (26 + 4 * c))
    patterns = [rng.sample(range(1, 257), rng.randrange(1, 20)) for _ in range(3)]
    talk.lease()
    talk.patterns(read, *patterns)
    d = [chips(pattern) for pattern in patterns]
    cost = sum(30 + 240 * n + 45 * c + RELEASE + FALL for n in d)
    assert spent(talk) == (cost, sum(6 + 36 * n + 4 * c for n in d))
    talk.lease()
    talk.drivers(drive)
    assert spent(talk) == (len(drive) * (280 + RELEASE + FALL), 34 * len(drive))


@pytest.mark.parametrize("order", ["runs", "shuffled"])
def test_walk_is_refused_exactly_beyond_the_estimate(talk: Talk, order: str) -> None:
    read = list(range(1, 257))
    if order == "shuffled":
        random.Random(3).shuffle(read)
    talk.lease()
    talk.ask_body("SCAN:TIM?", 1500, 1500)
    most = 200_000 // (190 + 45 * 16 + 3000 + row_cost(read))
    talk.walk(range(1, most + 1), read)
    with pytest.raises(Refused, match="would take about") as found:
        talk.ask_body("SCAN:WALK?", channels(range(1, most + 2)), channels(read))
    assert found.value.number == -222
    talk.ask_body("SCAN:TIM?", RELEASE, FALL)


def test_what_the_page_says_always_passes_does_pass(talk: Talk) -> None:
    shuffled = list(range(1, 257))
    random.Random(4).shuffle(shuffled)
    for header, values in (
        ("SCAN:WALK?", ("(@193:256)", "(@1:256)")),
        ("SCAN:WALK?", ("(@1:48)", channels(shuffled))),
        ("MEAS:VOLT?", ("(@1:48)",)),
        ("DIAG:DRIV?", ("(@129:256)",)),
        ("SCAN:PATT?", ("(@1:256)", *["(@1:256)"] * 8)),
    ):
        talk.lease()
        talk.ask_body(header, *values)
