"""The pieces of the fault campaign, each for one seed: what runs in a worker process."""

from __future__ import annotations

import random
from collections import defaultdict
from dataclasses import replace

from tester.harness.expected import Expected
from tester.harness.verdict import FAIL, PASS
from tester.judge import judge
from tests.campaigns.harnesses import (
    KINDS,
    Broken,
    Harness,
    build,
    circuit_faults,
    expectation,
    invisible_faults,
    part_faults,
    random_circuit_fault,
    several_faults,
)
from tests.campaigns.rig import Rig
from tests.campaigns.score import Score, count

Result = tuple[dict[str, Score], list[str]]
CONTINUITY = ("continuity", "isolation")
EVERYTHING = ("continuity", "isolation", "resistance", "direction")


def on_bench(
    seed: int,
    cavities: int,
    *,
    wire: bool,
    parts: bool,
    checks: tuple[str, ...],
    wired: list[str] | None = None,
) -> tuple[Rig, Harness, Expected]:
    """A rig, a good harness of this seed, and the expectation from its first scan.

    `wire`: with the converter. `wired`: cavities that the leads really go to, in order of channels, where the lead map
    is wrong about them.
    """
    rng = random.Random(f"harness {seed}")
    good = build(rng, cavities, parts=parts)
    leads = {i + 1: name for i, name in enumerate(good.cavities)}
    build_name = "full" if wire or cavities > 20 else "starter"
    rig = Rig(leads, seed=seed % 1000, build=build_name, wired={i + 1: n for i, n in enumerate(wired or good.cavities)})
    if not wire:
        rig.board.info = replace(rig.board.info, can=frozenset({"scan", "voltage"} & rig.board.info.can))
    measured, _ = rig.measure(good.tables)
    if wired is None:
        assert measured.netlist == good.netlist, (seed, measured.netlist, good.netlist)
    return rig, good, expectation(measured.netlist, measured, checks)


def _case(
    rig: Rig, good: Harness, expected: Expected, broken: Broken, scores: dict[str, Score], where: str
) -> list[str]:
    measured, facts = rig.measure(broken.harness.tables)
    verdict = judge(expected, measured, facts)
    problem = count(broken, good, expected, measured, verdict, scores[broken.kind])
    return [f"{where} {broken.kind} at {broken.at}: {problem}"] if problem else []


def every_single(seed: int) -> Result:
    """Every single fault of circuits of one harness of 10 to 20 cavities, scan-only board."""
    rig, good, expected = on_bench(
        seed, random.Random(seed).randint(10, 20), wire=False, parts=False, checks=CONTINUITY
    )
    scores: dict[str, Score] = defaultdict(Score)
    problems = []
    for broken in circuit_faults(good):
        problems += _case(rig, good, expected, broken, scores, f"seed {seed}")
    return dict(scores), problems


def electrical(seed: int) -> Result:
    """Faults of parts, resistance and isolation, and some of circuits, with the converter."""
    rng = random.Random(f"electrical {seed}")
    rig, good, expected = on_bench(seed, rng.randint(10, 20), wire=True, parts=True, checks=EVERYTHING)
    scores: dict[str, Score] = defaultdict(Score)
    problems = []
    for broken in part_faults(good, rng):
        problems += _case(rig, good, expected, broken, scores, f"seed {seed}")
    broken = random_circuit_fault(good, rng, rng.choice(KINDS))
    if broken is not None:
        problems += _case(rig, good, expected, broken, scores, f"seed {seed}")
    return dict(scores), problems


def several(seed: int, number: int, cases: int) -> Result:
    """So many random sets of `number` faults on one harness, scan-only board."""
    rng = random.Random(f"several {seed} {number}")
    rig, good, expected = on_bench(seed, rng.randint(10, 20), wire=False, parts=False, checks=CONTINUITY)
    scores: dict[str, Score] = defaultdict(Score)
    problems = []
    for _ in range(cases):
        problems += _case(rig, good, expected, several_faults(good, rng, number), scores, f"seed {seed}")
    return dict(scores), problems


def large(seed: int, cases: int) -> Result:
    """So many faults of each class on one harness of up to 256 cavities, scan of the full board."""
    rng = random.Random(f"large {seed}")
    size = 256 if seed % 20 == 0 else round(24 * (160 / 24) ** rng.random())
    rig, good, expected = on_bench(seed, size, wire=False, parts=False, checks=CONTINUITY)
    scores: dict[str, Score] = defaultdict(Score)
    problems = []
    for kind in KINDS:
        for _ in range(cases):
            broken = random_circuit_fault(good, rng, kind)
            if broken is not None:
                problems += _case(rig, good, expected, broken, scores, f"seed {seed}")
    return dict(scores), problems


def good_again(seed: int, repeats: int) -> Result:
    """A good harness with noise, measured again and again on boards of other tolerances: must not fail."""
    score = Score()
    problems = []
    rig, good, expected = on_bench(seed, random.Random(seed).randint(10, 20), wire=True, parts=True, checks=EVERYTHING)
    for turn in range(repeats):
        if turn % 5 == 0:
            leads = {i + 1: name for i, name in enumerate(good.cavities)}
            rig = Rig(leads, seed=seed * 100 + turn)
        measured, facts = rig.measure(good.tables)
        verdict = judge(expected, measured, facts)
        score.injected += 1
        score.detected += verdict.verdict == FAIL
        score.passed += verdict.verdict == PASS
        score.not_tested += verdict.verdict not in (PASS, FAIL)
        if verdict.verdict != PASS:
            problems.append(f"seed {seed} turn {turn}: {verdict.verdict} {verdict.untested} {verdict.faults}")
    return {"good, again": score}, problems


def invisible(seed: int) -> dict[str, dict[str, str]]:
    """What continuity cannot see: fault -> {"continuity": verdict, "every check": verdict}."""
    found: dict[str, dict[str, str]] = {}
    for board, wire, checks in (("continuity", False, CONTINUITY), ("every check", True, EVERYTHING)):
        rig, good, _ = on_bench(seed, 16, wire=wire, parts=False, checks=checks)
        for name, pair in invisible_faults(good, random.Random(f"invisible {seed}")).items():
            if pair is None:
                continue
            sound, broken = pair
            expected = expectation(sound.netlist, rig.measure(sound.tables)[0], checks)
            measured, facts = rig.measure(broken.tables)
            found.setdefault(name, {})[board] = judge(expected, measured, facts).verdict
        found.setdefault("two leads exchanged, both scans alike", {})[board] = _bad_leads(seed, good, wire, checks)
    return found


def _bad_leads(seed: int, good: Harness, wire: bool, checks: tuple[str, ...]) -> str:
    """The same wrong lead set as found and as left: the harness is right, the names of two cavities are not."""
    names = list(good.cavities)
    a, b = names.index(good.netlist.circuits[0][0]), names.index(good.netlist.circuits[-1][0])
    names[a], names[b] = names[b], names[a]
    rig, same, expected = on_bench(seed, 16, wire=wire, parts=False, checks=checks, wired=names)
    measured, facts = rig.measure(same.tables)
    return judge(expected, measured, facts).verdict
