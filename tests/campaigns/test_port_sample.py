"""Two hundred faults through the virtual board's own process and its pseudo-terminal: the verdict is as in process."""

from __future__ import annotations

import random
from collections import Counter
from pathlib import Path

import pytest
import tomlkit

from tester.board.opening import open_board
from tester.errors import BoardError
from tester.harness.leads import load_leads
from tester.harness.verdict import FAIL, PASS
from tester.job.measure import take_scan
from tester.judge import JudgeFacts, checks_of, judge
from tests.campaigns.harnesses import KINDS, Harness, build, expectation, random_circuit_fault
from tests.campaigns.score import Score, count, show, table

pytestmark = pytest.mark.campaign

HARNESSES, FAULTS = 10, 20
SEED = 7000


def _write(path: Path, harness: Harness) -> Path:
    rows = {kind: rows for kind, rows in harness.tables.items() if rows}
    path.write_text(tomlkit.dumps({"format": 1, **rows}), "utf-8")
    return path


def _one(seed: int, folder: Path, scores: dict[str, Score], verdicts: Counter[str]) -> None:
    rng = random.Random(seed)
    good = build(rng, rng.randint(10, 20), parts=False)
    leads_path = folder / f"leads-{seed}.toml"
    lines = [f'{i} = "{name}"' for i, name in enumerate(good.cavities, 1)]
    leads_path.write_text("\n".join(["format = 1", 'id = "sample"', "[channels]", *lines]), "utf-8")
    leads = load_leads(leads_path.read_bytes(), leads_path.name)
    first = _write(folder / f"good-{seed}.toml", good)
    with open_board(f"virtual:{first}", leads_path, extra=("--build", "starter")) as board:
        facts = JudgeFacts(can=checks_of(board.info.can))
        as_found = take_scan(board, [leads]).measured
        expected = expectation(good.netlist, as_found, ("continuity", "isolation"))
        verdicts[judge(expected, as_found, facts).verdict] += 1
        for number in range(FAULTS):
            broken = random_circuit_fault(good, rng, KINDS[number % len(KINDS)])
            if broken is None:
                continue
            assert board.plug(_write(folder / f"{seed}-{number}.toml", broken.harness))
            seen = take_scan(board, [leads]).measured
            verdict = judge(expected, seen, facts)
            verdicts[verdict.verdict] += 1
            score = scores.setdefault(broken.kind, Score())
            assert not count(broken, good, expected, seen, verdict, score), (seed, broken.kind, broken.at)


def test_two_hundred_faults_through_the_pseudo_terminal(tmp_path):
    scores: dict[str, Score] = {}
    verdicts: Counter[str] = Counter()
    aborted = 0
    for seed in range(SEED, SEED + HARNESSES):
        for _ in range(4):
            found: dict[str, Score] = {}
            words: Counter[str] = Counter()
            try:
                _one(seed, tmp_path, found, words)
            except BoardError as error:  # a machine too busy to answer in time: aborted, nothing judged, done again
                aborted += 1
                show(f"seed {seed} aborted: {error.message}")
                continue
            break
        else:
            pytest.fail(f"seed {seed} was aborted each time")
        verdicts += words
        for kind, score in found.items():
            scores.setdefault(kind, Score()).__iadd__(score)
    show(f"through the pseudo-terminal (seeds {SEED} to {SEED + HARNESSES - 1}, {aborted} aborted)\n{table(scores)}")
    assert verdicts[PASS] == HARNESSES and verdicts[FAIL] == sum(score.injected for score in scores.values())
