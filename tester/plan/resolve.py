"""Which steps this very harness gets: conditions decided by the as-found scan, by the side, and by eyes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from tester.harness.reading import Link, Measured
from tester.plan.conditions import Condition
from tester.plan.graph import Apply, Bench, Problem, start
from tester.plan.models import Plan
from tester.plan.outcomes import End, Ways, all_ends, ways_of
from tester.plan.say import say_step
from tester.plan.sides import for_side, pick_side
from tester.plan.steps import AnyStep, Cut, Insert, Move, Plug, Remove, Splice, Tug, cavities_of

Answers = Mapping[str, bool]


@dataclass(frozen=True)
class Question:
    """Something that only eyes can answer, yes or no. `id` is the key of the answer.

    kind: "eye" (answer by looking) or "measure" (better: put these cavities on leads and scan again).
    """

    id: str
    says: str
    cavities: tuple[str, ...] = ()
    kind: str = "eye"
    steps: tuple[str, ...] = ()


@dataclass(frozen=True)
class Todo:
    """One step that this harness gets. `number` counts from 1; `says` is its sentence."""

    number: int
    step: AnyStep
    says: str
    cavities: tuple[str, ...]

    @property
    def id(self) -> str:
        return self.step.id

    @property
    def do(self) -> str:
        return self.step.do


@dataclass(frozen=True)
class Skipped:
    """A step that this harness does not get, and why."""

    step: AnyStep
    why: str


@dataclass(frozen=True)
class Resolved:
    """The plan for one harness.

    plan       the plan for its side
    todo       steps to do, in order; skipped: the others
    undecided  steps whose condition waits for an answer; questions: what to ask, [] when all is decided
    problems   steps that cannot be done on this harness
    """

    plan: Plan
    side: str
    todo: tuple[Todo, ...]
    skipped: tuple[Skipped, ...] = ()
    undecided: tuple[AnyStep, ...] = ()
    questions: tuple[Question, ...] = ()
    problems: tuple[Problem, ...] = ()
    bench: Bench = field(default_factory=Bench, compare=False, repr=False)
    ways: tuple[Ways, ...] = field(default=(), compare=False, repr=False)
    ends: tuple[End, ...] = field(default=(), compare=False, repr=False)

    @property
    def ready(self) -> bool:
        """True when nothing is open and nothing contradicts."""
        return not self.questions and not self.problems


def touched(plan: Plan, step: AnyStep) -> tuple[str, ...]:
    """Cavities that a step handles, in order; for an insert the one that the wire's end names too."""
    if isinstance(step, Insert) and step.cavity is None and step.wire is not None:
        end = plan.wire_of(step.wire).end(step.end or "a")
        return (end.cavity,) if end.cavity is not None else ()
    return cavities_of(step)


HANDLED = (Remove, Move, Insert, Cut, Plug, Tug, Splice)


class Asker:
    """Answers the leaves of conditions, and keeps what it could not answer."""

    def __init__(self, as_found: Measured | None, answers: Answers, side: str) -> None:
        self.as_found, self.answers, self.side = as_found, answers, side
        self.open: dict[str, Question] = {}
        conducting: set[str] = set()
        if as_found is not None:
            conducting = {name for part in as_found.parts for name in (part.a, part.b)}
            conducting |= {name for pair in as_found.directed for name in pair}
        self.conducting = conducting

    def __call__(self, leaf: Condition) -> bool | None:
        if leaf.side is not None:
            return leaf.side.lower() == self.side.lower()
        if leaf.eye is not None:
            return self.answer(Question(f"eye {leaf.eye}", leaf.eye))
        if leaf.occupied is not None:
            return self.occupied(leaf.occupied)
        if leaf.lone is not None:
            return self.lone(leaf.lone)
        return self.joined(leaf.joined or ())

    def answer(self, question: Question) -> bool | None:
        given = self.answers.get(question.id)
        if given is None:
            self.open[question.id] = question
        return given

    def seen(self, *cavities: str) -> bool:
        return self.as_found is not None and all(name in self.as_found.netlist for name in cavities)

    def occupied(self, name: str) -> bool | None:
        if self.as_found is not None and name in self.as_found.netlist:
            circuit = self.as_found.netlist.circuit_of(name)
            if len(circuit) > 1 or name in self.conducting:
                return True
        return self.answer(Question(f"occupied {name}", f"Is there a terminal in {name}?", (name,)))

    def lone(self, name: str) -> bool | None:
        known = self.as_found
        if known is not None and name in known.netlist:
            if len(known.netlist.circuit_of(name)) > 1:
                return False
            if not any(name in pair for pair in known.doubtful | known.not_seen):
                return True
        return self.answer(Question(f"lone {name}", f"Is {name} joined to nothing?", (name,), "measure"))

    def joined(self, names: tuple[str, ...]) -> bool | None:
        if self.as_found is not None and self.seen(*names):
            links = {self.as_found.link(names[0], other) for other in names[1:]}
            if Link.APART in links:
                return False
            if links == {Link.JOINED}:
                return True
        said = f"Are {' and '.join(names)} one circuit?"
        return self.answer(Question(f"joined {' '.join(names)}", said, names, "measure"))


def resolve(
    plan: Plan,
    as_found: Measured | None,
    answers: Answers | None = None,
    side: str | None = None,
    words: bool = True,
) -> Resolved:
    """Decide each step's condition and try the steps on the bench. Raises InputError only for an unknown side.

    `answers`: question id -> yes or no, as `Question.id` names them. Without `words` steps have no sentence.
    """
    answers = answers or {}
    chosen = pick_side(plan, side)
    here = for_side(plan, chosen)
    todo: list[AnyStep] = []
    skipped: list[Skipped] = []
    undecided: list[AnyStep] = []
    questions: dict[str, Question] = {}
    for step in here.step:
        asker = Asker(as_found, answers, chosen)
        value = True if step.when is None else step.when.value(asker)
        if value:
            todo.append(step)
        elif value is False and step.when is not None:
            skipped.append(Skipped(step, f"only if {step.when.words}"))
        else:
            undecided.append(step)
            for id, asked in asker.open.items():
                before = questions.get(id, asked)
                questions[id] = Question(id, asked.says, asked.cavities, asked.kind, (*before.steps, step.id))
    bench = start(here, as_found, _seen_occupied(answers))
    Apply(here, bench, todo, answers).all()
    ways = ways_of(bench)
    ends = all_ends(bench, ways)
    problems = list(bench.problems)
    if ends is None:
        more = _junction_questions(ways)
        questions |= more
        if not more:
            problems.append(_groups_problem(ways))
    numbered = tuple(
        Todo(n, step, say_step(here, step) if words else "", touched(here, step)) for n, step in enumerate(todo, 1)
    )
    return Resolved(
        here,
        chosen,
        numbered,
        tuple(skipped),
        tuple(undecided),
        tuple(questions.values()),
        tuple(problems),
        bench,
        tuple(ways),
        tuple(ends or ()),
    )


def _seen_occupied(answers: Answers) -> dict[str, bool]:
    return {id.removeprefix("occupied "): yes for id, yes in answers.items() if id.startswith("occupied ")}


def _junction_questions(ways: list[Ways]) -> dict[str, Question]:
    found = {}
    for one in ways:
        for split in one.open_splits if len(one.ways) != 1 else ():
            id = f"junction {split.step}"
            says = f"Are two wires crimped into the terminal of {split.cavity}?"
            found[id] = Question(id, says, (split.cavity,), "eye", (split.step,))
    return found


def _groups_problem(ways: list[Ways]) -> Problem:
    split = next((s for one in ways if len(one.ways) != 1 for s in one.splits if not s.groups), ways[0].splits[0])
    says = (
        f"the circuit of {split.cavity} falls apart when its terminal, a junction, comes out, in more ways than can "
        f"be kept; step {split.step} needs groups = [ [...], [...] ] with what stays joined"
    )
    return Problem(split.step, "junction", says, (split.cavity,))


@dataclass(frozen=True)
class Oddity:
    """Something about the harness as found that is not as it should be; shown before the first terminal is pulled."""

    says: str
    cavities: tuple[str, ...] = ()
    note: str = ""


def oddities(plan: Plan, as_found: Measured, answers: Answers | None = None, side: str | None = None) -> list[Oddity]:
    """Facts of the plan that this harness contradicts, or that nothing could settle."""
    chosen = pick_side(plan, side)
    found = []
    for fact in for_side(plan, chosen).fact:
        asker = Asker(as_found, answers or {}, chosen)
        value = fact.that.value(asker)
        names = tuple(dict.fromkeys(name for leaf in fact.that.leaves() for name in leaf.cavities()))
        if value is False:
            found.append(
                Oddity(f"The plan says that {fact.that.words}; this harness says otherwise.", names, fact.note)
            )
        elif value is None:
            found.append(Oddity(f"The plan says that {fact.that.words}; this scan cannot tell.", names, fact.note))
    for a, b in sorted(as_found.doubtful):
        found.append(Oddity(f"Readings between {a} and {b} disagree.", (a, b)))
    return found
