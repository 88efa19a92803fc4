"""Figures over many records: first-pass yield, where faults gather, time at the bench, drift of the reference resistor.

Everything comes from search terms by plain SQL, so both engines count alike. A fault that stays through three tests of
one record counts once.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime

from tester.records.engine import Engine
from tester.records.events import from_stamp
from tester.records.search import Query, chosen
from tester.records.statistics import Bar, at_most, pareto, quantile, slope, wilson
from tester.records.store import Store

FEW = 20
YEAR_S = 365.25 * 86400


@dataclass(frozen=True)
class FirstPass:
    """First verdicts of records: how many passed without rework, failed, or were not fully tested."""

    passed: int = 0
    failed: int = 0
    untested: int = 0

    @property
    def entered(self) -> int:
        """Records that have a verdict."""
        return self.passed + self.failed + self.untested

    @property
    def share(self) -> float | None:
        """First-pass yield: passed at the first test, of all that entered (common practice)."""
        return self.passed / self.entered if self.entered else None

    @property
    def interval(self) -> tuple[float, float]:
        """Its 95 % Wilson interval."""
        return wilson(self.passed, self.entered)


@dataclass(frozen=True)
class BenchTime:
    """Minutes at the bench of records with a verdict: how many, lower quartile, median, upper quartile."""

    records: int
    lower: float
    median: float
    upper: float


@dataclass(frozen=True)
class Drift:
    """Readings of one board's reference resistor. `ppm_a_year` with `u_ppm` (k = 1): None with too few readings."""

    board: str
    readings: int
    first: datetime
    last: datetime
    lowest: float
    highest: float
    mean: float
    ppm_a_year: float | None
    u_ppm: float | None


@dataclass(frozen=True)
class Figures:
    """All figures of a choice of records. `notes` say where data are too few to lean on."""

    records: int
    first_pass: FirstPass
    by_plan: tuple[tuple[str, FirstPass], ...]
    by_cavity: tuple[Bar, ...]
    by_step: tuple[Bar, ...]
    by_kind: tuple[Bar, ...]
    by_revision: tuple[Bar, ...]
    bench_time: BenchTime | None
    drift: tuple[Drift, ...]
    notes: tuple[str, ...]


def figures(log: Store, query: Query | None = None) -> Figures:
    """Figures of all records, or of those that match."""
    query = replace(query or Query(), limit=None, skip=0)
    with log.reading() as engine:
        where, values = chosen(query)
        records = int(engine.rows(f"SELECT COUNT(*) FROM jobs j{where}", values)[0][0])
        counter = _Counter(engine, where, values)
        first, by_plan = counter.first_pass()
        found = Figures(
            records,
            first,
            by_plan,
            counter.faults("fault-cavity"),
            counter.faults("fault-step", with_plan=True),
            counter.faults("fault"),
            counter.revisions(),
            counter.bench_time(),
            counter.drift(),
            (),
        )
    return replace(found, notes=tuple(_notes(found)))


class _Counter:
    def __init__(self, engine: Engine, where: str, values: list[object]) -> None:
        self.engine = engine
        self.values = values
        self.where = where
        self.only = f" AND t.job IN (SELECT j.id FROM jobs j{where})" if where else ""

    def first_pass(self) -> tuple[FirstPass, tuple[tuple[str, FirstPass], ...]]:
        """First verdicts over all, and by plan and revision."""
        rows = self.engine.rows(
            f"SELECT j.first, j.plan, j.revision, COUNT(*) FROM jobs j{self.where}"
            " GROUP BY j.first, j.plan, j.revision",
            self.values,
        )
        whole, plans = FirstPass(), dict[str, FirstPass]()
        for word, plan, revision, count in rows:
            if not word:
                continue
            whole = _plus(whole, str(word), int(count))
            if plan:
                name = _with_revision(str(plan), str(revision))
                plans[name] = _plus(plans.get(name, FirstPass()), str(word), int(count))
        return whole, tuple(sorted(plans.items()))

    def faults(self, field: str, with_plan: bool = False) -> tuple[Bar, ...]:
        """Records that had each value of a field, most first; step names need their plan beside them."""
        plan = " JOIN jobs p ON p.id = t.job" if with_plan else ""
        name = ", p.plan" if with_plan else ", ''"
        group = ", p.plan" if with_plan else ""
        rows = self.engine.rows(
            f"SELECT v.value{name}, COUNT(DISTINCT t.job) FROM term_values v JOIN terms t ON t.term = v.id{plan}"
            f" WHERE v.field = ?{self.only} GROUP BY v.value{group}",
            [field, *self.values],
        )
        return tuple(pareto({f"{owner} {value}".strip(): int(count) for value, owner, count in rows}))

    def revisions(self) -> tuple[Bar, ...]:
        """Records with a fault, by plan and revision."""
        rows = self.engine.rows(
            "SELECT j.plan, j.revision, COUNT(*) FROM (SELECT DISTINCT t.job FROM term_values v"
            f" JOIN terms t ON t.term = v.id WHERE v.field = 'fault'{self.only}) x JOIN jobs j ON j.id = x.job"
            " GROUP BY j.plan, j.revision",
            self.values,
        )
        counts: dict[str, int] = {}
        for plan, revision, count in rows:
            name = _with_revision(str(plan), str(revision)) if plan else "no plan"
            counts[name] = counts.get(name, 0) + int(count)
        return tuple(pareto(counts))

    def bench_time(self) -> BenchTime | None:
        """Spread of the time at the bench, over records that have a verdict."""
        also = " AND" if self.where else " WHERE"
        rows = self.engine.rows(f"SELECT j.active FROM jobs j{self.where}{also} j.first <> ''", self.values)
        minutes = sorted(int(row[0]) / 60000 for row in rows)
        if not minutes:
            return None
        return BenchTime(len(minutes), *(quantile(minutes, share) for share in (0.25, 0.5, 0.75)))

    def drift(self) -> tuple[Drift, ...]:
        """Readings of each board's reference resistor over time."""
        rows = self.engine.rows(
            "SELECT e.at, v.value, COALESCE(b.value, '') FROM term_values v JOIN terms t ON t.term = v.id"
            " JOIN events e ON e.id = t.event LEFT JOIN (SELECT s.event, s.job, w.value FROM term_values w"
            " JOIN terms s ON s.term = w.id WHERE w.field = 'board') b ON b.job = t.job AND b.event = t.event"
            f" WHERE v.field = 'reference-ohms'{self.only} ORDER BY e.at",
            self.values,
        )
        boards: dict[str, list[tuple[datetime, float]]] = {}
        for at, value, board in rows:
            try:
                ohms = float(value)
            except ValueError:
                continue
            if 0 < ohms < float("inf"):
                boards.setdefault(str(board), []).append((from_stamp(str(at)), ohms))
        return tuple(_drift(board, readings) for board, readings in sorted(boards.items()))


def _plus(so_far: FirstPass, word: str, count: int) -> FirstPass:
    if word == "PASS":
        return replace(so_far, passed=so_far.passed + count)
    if word == "FAIL":
        return replace(so_far, failed=so_far.failed + count)
    return replace(so_far, untested=so_far.untested + count)


def _with_revision(plan: str, revision: str) -> str:
    return f"{plan}, revision {revision}" if revision else plan


def _drift(board: str, readings: list[tuple[datetime, float]]) -> Drift:
    ohms = [value for _, value in readings]
    mean = sum(ohms) / len(ohms)
    start = readings[0][0]
    fitted = slope(((at - start).total_seconds() / YEAR_S, value / mean * 1e6) for at, value in readings)
    return Drift(
        board, len(ohms), start, readings[-1][0], min(ohms), max(ohms), mean,
        fitted[0] if fitted else None, fitted[1] if fitted else None,
    )  # fmt: skip


def _notes(found: Figures) -> list[str]:
    notes = []
    entered = found.first_pass.entered
    if entered == 0:
        notes.append("No record has a verdict yet: there is no yield to speak of.")
    elif entered < FEW:
        low, high = found.first_pass.interval
        notes.append(
            f"Only {entered} records have a verdict: the yield may be anything from {100 * low:.0f} to"
            f" {100 * high:.0f} %, and an order of faults is little more than chance."
        )
    elif found.first_pass.passed == entered:
        share = 100 * at_most(entered)
        notes.append(f"None of {entered} failed at the first test: at most {share:.1f} % do (95 %, one-sided).")
    if found.first_pass.untested:
        notes.append(
            f"{found.first_pass.untested} first verdicts were NOT TESTED; they count as entered and not as passed."
        )
    for one in found.drift:
        if one.ppm_a_year is None or one.u_ppm is None:
            notes.append(f"Board {one.board or '(unknown)'}: too few readings of the reference resistor for a trend.")
        elif abs(one.ppm_a_year) < 2 * one.u_ppm:
            notes.append(f"Board {one.board or '(unknown)'}: no drift of the reference resistor that stands out.")
    return notes
