"""What the readers of files say, in words that are enough to mend the file: the reader's own are for programmers."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Mapping
from typing import Any

_QUOTES = "\u201c\u201d\u201e\u2018\u2019\u00ab\u00bb"


def near(word: str, choices: Iterable[str]) -> str:
    """``; did you mean "cavity"?`` for the nearest choice, or "" when none is near."""
    everything = list(choices)
    found = difflib.get_close_matches(word, everything, 1, 0.6)
    if not found:
        folded = {choice.lower().replace("_", "-"): choice for choice in everything}
        same = folded.get(word.lower().replace("_", "-"))
        found = [same] if same else []
    return f'; did you mean "{found[0]}"?' if found else ""


def toml_words(name: str, said: str, text: str) -> str:
    """A message of the TOML reader with file, line, what is wrong, and the line itself."""
    found = re.search(r"\(at line (\d+), column (\d+)\)", said)
    if found is None:
        return f"{name}: {said}"
    number = int(found[1])
    lines = text.splitlines()
    line = lines[number - 1].strip() if number <= len(lines) else ""
    what = said[: found.start()].strip().rstrip(":")
    shown = f"{name}, line {number}: {_reason(what, line) or what[:1].lower() + what[1:]}"
    return f"{shown}\n    {line[:120]}" if line else shown


def _reason(what: str, line: str) -> str:
    """What the line itself shows to be wrong; "" when it does not."""
    code = re.sub(r'"[^"]*"', '""', line)
    if "twice" in what or "Cannot overwrite" in what or "redeclare" in what or "Cannot mutate" in what:
        head = re.fullmatch(r"\[\[?([\w.-]+)\]\]?.*", line)
        again = f"; for several of them write [[{head[1]}]] with two brackets, every time" if head else ""
        return f"this key or table is there twice{again}"
    if any(quote in code for quote in _QUOTES):
        return 'curly quotes; write straight double quotes: "..."'
    comma = re.fullmatch(r"\s*([\w.-]+)\s*=\s*(\d+),(\d+)\s*(#.*)?", code)
    if comma is not None:
        return f"a decimal comma; write {comma[1]} = {comma[2]}.{comma[3]}"
    yes = re.fullmatch(r"\s*([\w.-]+)\s*=\s*(yes|no|on|off|True|False|YES|NO)\s*(#.*)?", code)
    if yes is not None:
        return f"write {yes[1]} = {'true' if yes[2].lower() in ('yes', 'on', 'true') else 'false'}"
    bare = re.fullmatch(r"\s*([\w.-]+)\s*=\s*([^\s\"'\[{].*?)\s*(#.*)?", code)
    if bare is not None and what.startswith(("Invalid value", "Expected newline")):
        return f'text goes in double quotes: {bare[1]} = "{bare[2]}"'
    colon = re.fullmatch(r"\s*([\w.-]+)\s*:\s*(.+)", line)
    if colon is not None and "Expected '='" in what:
        return f"an equals sign is needed, not a colon: {colon[1]} = ..."
    if "Illegal character '\\n'" in what or "Unterminated" in what or code.count('"') % 2:
        return "a double quote is not closed on this line"
    if "Expected '='" in what:
        return "an equals sign is needed between key and value"
    if what.startswith("Invalid value"):
        return "not a value; text goes in double quotes"
    return "not TOML: a line is a [table] or key = value" if what.startswith("Invalid statement") else ""


def words(error: Mapping[str, Any], path: tuple[str | int, ...], examples: Mapping[str, Any]) -> str:
    """One error of the models in words. `examples`: name of a model -> a table as it should be."""
    kind, given, context = str(error["type"]), error.get("input"), error.get("ctx") or {}
    shown = f"found {_shown(given)}"
    if kind in ("value_error", "assertion_error"):
        return str(context.get("error", error["msg"]))
    if kind in ("literal_error", "enum"):
        choices = re.findall(r"'([^']*)'", str(context.get("expected", "")))
        if not choices:
            return f"{shown}; needs {context.get('expected', '')}"
        return f"{shown}; one of {', '.join(choices)}{near(str(given), choices)}"
    if kind in ("union_tag_invalid", "union_tag_not_found"):
        choices = re.findall(r"'([^']*)'", str(context.get("expected_tags", "")))
        tag = str(context.get("tag", ""))
        said = f'unknown step "{tag}"' if tag else '"do" is missing: it says what the step does'
        return f"{said}; one of {', '.join(choices)}{near(tag, choices)}" if choices else said
    if kind == "finite_number":
        return f"{shown}; a finite number is needed"
    if kind in ("model_type", "model_attributes_type", "dict_type"):
        example = examples.get(str(context.get("class_name", "")))
        return f"{shown}; needs a table" + (f", such as {path[-1]} = {_toml(example)}" if example else "")
    if kind in ("tuple_type", "list_type"):
        if isinstance(given, Mapping):
            return f"write [[{path[-1]}]] with two brackets: there can be several"
        return f"{shown}; needs a list in square brackets: {path[-1]} = [{_toml(given)}]"
    if kind == "string_type":
        return f"{shown}; text goes in double quotes" + (f': {path[-1]} = "{given}"' if _single(given) else "")
    if kind.startswith(("float_", "int_")):
        whole = "a whole number, such as 12" if kind.startswith("int_") else "a number, such as 0.5"
        return f"{shown}; needs {whole}" + (", without quotes" if isinstance(given, str) else "")
    if kind == "bool_type" or kind.startswith("bool_"):
        return f"{shown}; needs true or false"
    if kind == "string_pattern_mismatch":
        return f"{shown}; needs text without control characters"
    if kind == "too_short":
        return f"{shown}; needs at least {context.get('min_length')} of them"
    return f"{shown}; {_plain(str(error['msg']))}"


def _single(given: Any) -> bool:
    return isinstance(given, int | float) and not isinstance(given, bool)


def _shown(given: Any) -> str:
    text = repr(given)
    return text if len(text) < 60 else text[:57] + "..."


def _toml(value: Any) -> str:
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{key} = {_toml(one)}" for key, one in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(map(_toml, value)) + "]"
    if isinstance(value, bool):
        return "true" if value else "false"
    return f'"{value}"' if isinstance(value, str) else str(value)


def _plain(message: str) -> str:
    message = message.removeprefix("Input should be ").removeprefix("a valid ")
    return f"needs {message.replace('dictionary', 'a table').replace('tuple', 'a list')}"
