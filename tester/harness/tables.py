"""Reading what people wrote in TOML: one plain message with file, line, table, what was found, what would be right."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping, Sequence
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from tester.errors import InputError
from tester.harness.wording import near, toml_words, words

Path = tuple[str | int, ...]
__all__ = ["Path", "checked", "decode", "near", "read_toml", "where"]
M = TypeVar("M", bound=BaseModel)

MAX_BYTES = 2_000_000
_HEADER = re.compile(r"\s*(\[\[?)\s*([^\]]+?)\s*\]\]?\s*(?:#.*)?$")
_KEY = re.compile(r"""\s*("[^"]*"|'[^']*'|[\w.-]+)\s*=""")


def decode(data: bytes | str, name: str, most: int = MAX_BYTES) -> str:
    """Text of a file. `name` is what the person calls it; `most` the largest size in bytes.

    Raises InputError when it is too big or not UTF-8.
    """
    size = len(data)
    if size > most:
        raise InputError(
            f"{name}: {size / 1e6:.1f} MB is too big; such a file holds at most {most / 1e6:.1f} MB",
            "Is it the right file?",
        )
    if isinstance(data, str):
        return data.removeprefix("\ufeff")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as wrong:
        line = data.count(b"\n", 0, wrong.start) + 1
        raise InputError(
            f"{name}, line {line}: byte 0x{data[wrong.start]:02x} is not UTF-8 text",
            "Save the file as UTF-8 in your editor.",
        ) from None


def read_toml(data: bytes | str, name: str) -> tuple[dict[str, Any], str]:
    """The tables of a TOML file, and its text (for line numbers). Raises InputError with the line."""
    text = decode(data, name)
    try:
        return tomllib.loads(text), text
    except tomllib.TOMLDecodeError as wrong:
        raise InputError(toml_words(name, str(wrong), text)) from None
    except RecursionError:
        raise InputError(f"{name}: tables or lists nested too deep") from None


def where(name: str, text: str | Mapping[Path, int], path: Path, data: Any) -> str:
    """Place of a path in words: ``plan.toml, line 12, [[step]] 3 "out-13", cavity``.

    `text` is that of the file, or the lines by path where it is no TOML file.
    """
    number = _line_of(text, path)
    parts = [name] + ([f"line {number}"] if number else [])
    rest = list(path)
    if rest and isinstance(rest[0], str):
        head = str(rest.pop(0))
        if rest and isinstance(rest[0], int):
            index = int(rest.pop(0))
            parts.append(f"[[{head}]] {index + 1}{_identity(data, head, index)}")
        elif rest and isinstance(_get(data, head), Mapping):
            parts.append(f"[{head}]")
        else:
            rest.insert(0, head)
    if rest:
        parts.append(".".join(str(part + 1) if isinstance(part, int) else part for part in rest))
    return ", ".join(parts)


def _get(data: Any, key: str) -> Any:
    return data.get(key) if isinstance(data, Mapping) else None


def _identity(data: Any, table: str, index: int) -> str:
    rows = _get(data, table)
    row = rows[index] if isinstance(rows, Sequence) and index < len(rows) else None
    name = _get(row, "id")
    return f' "{name}"' if isinstance(name, str) and name else ""


def _line_of(text: str | Mapping[Path, int], path: Path) -> int | None:
    """Line of the longest part of `path` that the text shows as a header or a key; None if nothing fits."""
    lines = _index(text) if isinstance(text, str) else text
    for end in range(len(path), 0, -1):
        if path[:end] in lines:
            return lines[path[:end]]
    return None


def _index(text: str) -> dict[Path, int]:
    """Lines of table headers and keys. Good enough for messages: it does not follow text over several lines."""
    found: dict[Path, int] = {}
    counts: dict[Path, int] = {}
    head: Path = ()
    for number, line in enumerate(text.splitlines(), 1):
        header = _HEADER.match(line)
        if header is not None:
            names = tuple(
                part.strip().strip("\"'") for part in re.split(r"\.(?=(?:[^\"]*\"[^\"]*\")*[^\"]*$)", header[2])
            )
            head = _open(names, header[1] == "[[", counts)
            found.setdefault(head, number)
            found.setdefault(head[:1], number)
            continue
        key = _KEY.match(line)
        if key is not None:
            found.setdefault((*head, key[1].strip("\"'")), number)
    return found


def _open(names: tuple[str, ...], many: bool, counts: dict[Path, int]) -> Path:
    path: Path = ()
    for place, part in enumerate(names):
        path = (*path, part)
        if many and place == len(names) - 1:
            counts[path] = counts.get(path, -1) + 1
        if path in counts:
            path = (*path, counts[path])
    return path


def checked(model: type[M], data: Mapping[str, Any], name: str, text: str | Mapping[Path, int]) -> M:
    """The model made of the tables; `text` as for `where`.

    Raises InputError that says the first thing wrong, unknown keys first.
    """
    try:
        return model.model_validate(data)
    except ValidationError as wrong:
        errors = wrong.errors(include_url=False)
    except RecursionError:
        raise InputError(f"{name}: tables or lists nested too deep") from None
    first = next((error for error in errors if error["type"] == "extra_forbidden"), errors[0])
    path = _real_path(first["loc"], data, first["type"] == "missing")
    more = len({error["loc"] for error in errors}) - 1
    raise InputError(
        f"{where(name, text, path, data)}: {_said(first, path, model)}",
        f"({more} more after this one.)" if more > 0 and first["type"] != "extra_forbidden" else "",
    )


def _real_path(loc: Path, data: Any, missing: bool) -> Path:
    """`loc` without the tags that pydantic adds for unions."""
    path: list[str | int] = []
    here = data
    for place, part in enumerate(loc):
        last = place == len(loc) - 1
        if isinstance(here, Mapping) and part in here:
            here = here[str(part)]
        elif isinstance(here, list | tuple) and isinstance(part, int) and part < len(here):
            here = here[part]
        elif not (last and missing):
            continue
        path.append(part)
    return tuple(path)


def _keys_here(model: type[BaseModel], loc: Path) -> list[str]:
    """All keys that the JSON schema allows at the table holding the wrong key."""
    schema = model.model_json_schema(by_alias=True)
    defs = schema.get("$defs", {})
    here: list[dict[str, Any]] = [schema]
    for part in loc[:-1]:
        here = _down(_flat(here, defs), part, defs)
    return sorted({key for one in _flat(here, defs) for key in one.get("properties", {})})


def _flat(nodes: list[dict[str, Any]], defs: Mapping[str, Any]) -> list[dict[str, Any]]:
    flat: list[dict[str, Any]] = []
    work = list(nodes)
    while work:
        node = work.pop()
        if "$ref" in node:
            work.append(defs[node["$ref"].rsplit("/", 1)[1]])
        elif "anyOf" in node or "oneOf" in node:
            work += node.get("anyOf", []) + node.get("oneOf", [])
        else:
            flat.append(node)
    return flat


def _down(nodes: list[dict[str, Any]], part: str | int, defs: Mapping[str, Any]) -> list[dict[str, Any]]:
    if isinstance(part, int):
        return [node["items"] for node in nodes if "items" in node]
    kept = [node["properties"][part] for node in nodes if part in node.get("properties", {})]
    kept += [node["additionalProperties"] for node in nodes if isinstance(node.get("additionalProperties"), dict)]
    if kept:
        return kept
    tagged = [n for n in nodes if n.get("properties", {}).get("do", {}).get("const") == part]
    return tagged or nodes


def _said(error: Any, path: Path, model: type[BaseModel]) -> str:
    if error["type"] == "extra_forbidden":
        keys = _keys_here(model, error["loc"])
        key = str(path[-1])
        return f'unknown key "{key}"{near(key, keys) or "; known here: " + ", ".join(keys)}'
    if error["type"] == "missing":
        return f'"{path[-1]}" is missing'
    return words(error, path, _examples(model))


def _examples(model: type[BaseModel]) -> dict[str, Any]:
    """Name of a table's model -> an example of it, from the JSON schema."""
    found = model.model_json_schema(by_alias=True).get("$defs", {})
    return {name: one["examples"][0] for name, one in found.items() if one.get("examples")}
