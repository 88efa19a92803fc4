"""Other formats in and out: `plan import` and `plan export`."""

from __future__ import annotations

from collections.abc import Mapping

from tester.errors import InputError
from tester.harness.colours import Colour
from tester.harness.tables import near
from tester.plan.kbl import Imported, import_kbl
from tester.plan.load import load_plan, write_plan
from tester.plan.models import Plan
from tester.plan.table import export_csv, import_csv

IMPORTS = ("csv", "kbl", "toml")
EXPORTS = ("csv", "toml")
_ENDINGS = {"csv": "csv", "tsv": "csv", "txt": "csv", "kbl": "kbl", "xml": "kbl", "toml": "toml"}


def format_of(name: str, given: str | None, known: tuple[str, ...]) -> str:
    """The format that is meant: as given, else by the ending of the file's name. Raises InputError."""
    if given is not None:
        if given.lower() in known:
            return given.lower()
        raise InputError(f'format "{given}" is not known; one of {", ".join(known)}{near(given, known)}')
    ending = name.rpartition(".")[2].lower() if "." in name else ""
    found = _ENDINGS.get(ending)
    if found not in known:
        raise InputError(f"{name}: its ending does not say the format; give one of {', '.join(known)}")
    return found


def import_plan(
    data: bytes, name: str, format: str | None = None, colours: Mapping[str, Colour] | None = None
) -> Imported:
    """A plan from a file of another format, with notes on what was left out or guessed. Raises InputError."""
    kind = format_of(name, format, IMPORTS)
    if kind == "kbl":
        return import_kbl(data, name, colours)
    return Imported(import_csv(data, name) if kind == "csv" else load_plan(data, name), ())


def imported_text(made: Imported, name: str) -> str:
    """Plan file of an import; what a person should know stands at its top."""
    heading = f"Imported from {name}.\n" + "".join(f"Mind: {note}\n" for note in made.notes) + "\n"
    return write_plan(made.plan, "".join(c if c.isprintable() or c == "\n" else " " for c in heading))


def export_plan(plan: Plan, format: str) -> str:
    """The plan as text of another format."""
    return export_csv(plan) if format_of("", format, EXPORTS) == "csv" else write_plan(plan)
