"""A small mutator: one changed operator, constant or statement at a time, and the tests that should notice.

A parent process loads the heavy libraries once and forks for each mutant; the child imports the product with the one
module changed and runs the tests of its room, stopping at the first that fails.
"""

from __future__ import annotations

import ast
import importlib.abc
import importlib.machinery
import importlib.util
import os
import random
import resource
import signal
import sys
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType

ROOT = Path(__file__).parents[2]
CPU_S = 40  # processor time of one run; the tests take about ten seconds of it
LIMIT_S = 300
ROOMS = {
    "tester/scan": ["tests/scan"],
    "tester/judge": ["tests/judge", "tests/outside"],
    "tester/harness/netlist.py": ["tests/scan", "tests/judge"],
    "tester/harness/reading.py": ["tests/scan", "tests/judge"],
}
PATTERNS = {"tests/outside": "test_measuring_*.py"}
COMPARE = {
    ast.Eq: ast.NotEq, ast.NotEq: ast.Eq, ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt,
    ast.In: ast.NotIn, ast.NotIn: ast.In, ast.Is: ast.IsNot, ast.IsNot: ast.Is,
}  # fmt: skip
BINARY = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.FloorDiv: ast.Mult,
    ast.BitAnd: ast.BitOr, ast.BitOr: ast.BitAnd, ast.LShift: ast.RShift, ast.RShift: ast.LShift, ast.Pow: ast.Mult,
}  # fmt: skip
CALLS = {"min": "max", "max": "min", "any": "all", "all": "any"}


@dataclass(frozen=True)
class Mutant:
    """One change: file, line, number of the change within the file, and what it is."""

    file: str
    line: int
    number: int
    what: str
    text: str

    def __str__(self) -> str:
        return f"{self.file}:{self.line}: {self.what}: {self.text}"


class _Mutator(ast.NodeTransformer):
    """Walks a module and changes place number `wanted`; with `wanted` below zero it only lists the places."""

    def __init__(self, wanted: int = -1) -> None:
        self.wanted = wanted
        self.places: list[tuple[int, str]] = []

    def _here(self, node: ast.AST, what: str) -> bool:
        self.places.append((getattr(node, "lineno", 0), what))
        return len(self.places) - 1 == self.wanted

    def visit_arguments(self, node: ast.arguments) -> ast.AST:
        node.defaults = [self.visit(default) for default in node.defaults]
        return node

    def visit_AnnAssign(self, node: ast.AnnAssign) -> ast.AST:
        if node.value is not None:
            node.value = self.visit(node.value)
        return node

    def visit_FunctionDef(self, node: ast.FunctionDef) -> ast.AST:
        node.args = self.visit_arguments(node.args)  # type: ignore[assignment]
        node.body = [self.visit(statement) for statement in node.body]
        return node

    def visit_Compare(self, node: ast.Compare) -> ast.AST:
        self.generic_visit(node)
        for i, op in enumerate(node.ops):
            other = COMPARE.get(type(op))
            if other and self._here(node, f"{type(op).__name__} becomes {other.__name__}"):
                node.ops[i] = other()
        return node

    def visit_BinOp(self, node: ast.BinOp) -> ast.AST:
        self.generic_visit(node)
        other = BINARY.get(type(node.op))
        if other and self._here(node, f"{type(node.op).__name__} becomes {other.__name__}"):
            node.op = other()
        return node

    def visit_AugAssign(self, node: ast.AugAssign) -> ast.AST:
        self.generic_visit(node)
        other = BINARY.get(type(node.op))
        if other and self._here(node, f"{type(node.op).__name__}= becomes {other.__name__}="):
            node.op = other()
        return node

    def visit_BoolOp(self, node: ast.BoolOp) -> ast.AST:
        self.generic_visit(node)
        if self._here(node, "and becomes or" if isinstance(node.op, ast.And) else "or becomes and"):
            node.op = ast.Or() if isinstance(node.op, ast.And) else ast.And()
        return node

    def visit_UnaryOp(self, node: ast.UnaryOp) -> ast.AST:
        self.generic_visit(node)
        if isinstance(node.op, ast.Not) and self._here(node, "not dropped"):
            return node.operand
        return node

    def visit_Constant(self, node: ast.Constant) -> ast.AST:
        value = node.value
        if isinstance(value, bool):
            if self._here(node, f"{value} becomes {not value}"):
                return ast.copy_location(ast.Constant(not value), node)
        elif isinstance(value, int | float) and self._here(node, f"{value} becomes {value + 1}"):
            return ast.copy_location(ast.Constant(value + 1), node)
        return node

    def visit_Call(self, node: ast.Call) -> ast.AST:
        self.generic_visit(node)
        if isinstance(node.func, ast.Name) and node.func.id in CALLS:
            other = CALLS[node.func.id]
            if self._here(node, f"{node.func.id} becomes {other}"):
                node.func.id = other
        return node

    def visit_Continue(self, node: ast.Continue) -> ast.AST:
        return ast.copy_location(ast.Pass(), node) if self._here(node, "continue dropped") else node

    def visit_Break(self, node: ast.Break) -> ast.AST:
        return ast.copy_location(ast.Pass(), node) if self._here(node, "break dropped") else node


def mutants_of(path: Path) -> list[Mutant]:
    """Every change that the mutator knows in one file."""
    source = path.read_text("utf-8")
    lines = source.splitlines()
    mutator = _Mutator()
    mutator.visit(ast.parse(source))
    name = str(path.relative_to(ROOT))
    return [
        Mutant(name, line, number, what, lines[line - 1].strip()) for number, (line, what) in enumerate(mutator.places)
    ]


def unchanged() -> list[Mutant]:
    """One of each room in which nothing is changed: unless these survive, "killed" says nothing."""
    files = [
        room if room.endswith(".py") else f"{room}/{sorted(ROOT.glob(f'{room}/[a-z]*.py'))[0].name}" for room in ROOMS
    ]
    return [Mutant(file, 0, -1, "nothing changed", "") for file in files]


def sample(count: int, seed: int) -> list[Mutant]:
    """A seeded sample over all rooms under test."""
    files = [
        file
        for room in ROOMS
        for file in ([ROOT / room] if room.endswith(".py") else sorted((ROOT / room).glob("*.py")))
    ]
    every = [mutant for file in files if file.name != "__init__.py" for mutant in mutants_of(file)]
    return random.Random(seed).sample(every, min(count, len(every)))


def changed(mutant: Mutant) -> ast.Module:
    """The module with the change made."""
    mutator = _Mutator(mutant.number)
    tree = mutator.visit(ast.parse((ROOT / mutant.file).read_text("utf-8")))
    ast.fix_missing_locations(tree)
    return tree  # type: ignore[no-any-return]


class _Finder(importlib.abc.MetaPathFinder, importlib.abc.Loader):
    """Imports one module from a changed tree."""

    def __init__(self, mutant: Mutant) -> None:
        self._name = mutant.file.removesuffix(".py").replace("/", ".")
        self._tree, self._file = changed(mutant), mutant.file

    def find_spec(
        self, fullname: str, path: Sequence[str] | None, target: ModuleType | None = None
    ) -> importlib.machinery.ModuleSpec | None:
        return importlib.util.spec_from_loader(fullname, self) if fullname == self._name else None

    def exec_module(self, module: ModuleType) -> None:
        exec(compile(self._tree, self._file, "exec"), module.__dict__)


def _child(mutant: Mutant) -> int:
    """Run the tests against the mutant. 0 when none noticed."""
    import pytest

    for name in [name for name in sys.modules if name.split(".")[0] in ("tester", "tests")]:
        del sys.modules[name]
    sys.meta_path.insert(0, _Finder(mutant))
    resource.setrlimit(resource.RLIMIT_CPU, (CPU_S, CPU_S))
    null = os.open(os.devnull, os.O_WRONLY)
    for stream in (1, 2):
        os.dup2(null, stream)
    room = next(room for room in ROOMS if mutant.file.startswith(room))
    options = ["-x", "-q", "-p", "no:cacheprovider", "-p", "no:xdist", "-o", "addopts=", "--timeout=0"]
    return int(pytest.main([*options, "--import-mode=importlib", *first_files(mutant, ROOMS[room])]))


def first_files(mutant: Mutant, folders: list[str]) -> list[str]:
    """Test files, those named after the module first."""
    stem = Path(mutant.file).stem
    files = [
        str(f.relative_to(ROOT))
        for folder in folders
        for f in sorted((ROOT / folder).glob(PATTERNS.get(folder, "test_*.py")))
    ]
    return sorted(files, key=lambda file: stem not in file)


def run(mutants: Sequence[Mutant], at_once: int = 2) -> Iterator[tuple[Mutant, str]]:
    """Each mutant with "killed", "killed (no end)" or "survived", as they finish."""
    import hypothesis
    import networkx
    import numpy
    import pytest
    import scipy.optimize

    assert all((hypothesis, networkx, numpy, pytest, scipy.optimize))
    waiting = list(mutants)[::-1]
    running: dict[int, tuple[Mutant, float]] = {}
    while waiting or running:
        while waiting and len(running) < at_once:
            mutant = waiting.pop()
            child = os.fork()
            if child == 0:
                status = 70
                try:
                    os.chdir(ROOT)
                    status = _child(mutant)
                finally:
                    os._exit(status)
            running[child] = (mutant, time.monotonic())
        for child, (mutant, begun) in list(running.items()):
            done, status = os.waitpid(child, os.WNOHANG)
            if done:
                del running[child]
                code = os.waitstatus_to_exitcode(status)
                endless = code in (-signal.SIGXCPU, -signal.SIGKILL)
                yield mutant, "survived" if code == 0 else "killed (no end)" if endless else "killed"
            elif time.monotonic() - begun > LIMIT_S:
                os.kill(child, signal.SIGKILL)
                os.waitpid(child, 0)
                del running[child]
                yield mutant, "killed (no end)"
        time.sleep(0.01)


if __name__ == "__main__":
    total = int(sys.argv[1]) if len(sys.argv) > 1 else 300
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    survived = 0
    for number, (one, result) in enumerate(run(sample(300, seed)[:total]), 1):
        survived += result == "survived"
        if result != "killed":
            print(f"{number} {result}: {one}", flush=True)
    print(f"{total - survived} of {total} killed")
