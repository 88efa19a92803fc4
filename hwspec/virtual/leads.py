"""Lead maps as the virtual board needs them: which channel goes to which cavity, through how many ohms."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from hwspec.virtual.files import BadFile, Table, node_name, read_toml, show
from hwspec.virtual.harness import check_format

MOST = 256


@dataclass(frozen=True)
class Leads:
    """`channels`: channel (from 1) -> cavity. `ohms`: channel -> ohm of its lead. `jumpers`: joined in the lead set.

    `probe`: channel of a loose probe lead, None if there is none.
    """

    channels: Mapping[int, str]
    ohms: Mapping[int, float] = field(default_factory=dict)
    jumpers: tuple[tuple[int, ...], ...] = ()
    probe: int | None = None


def _channel(table: Table, key: object, most: int) -> int:
    text = str(key)
    if not text.isascii() or not text.isdecimal() or not 1 <= int(text) <= most:
        raise BadFile(f"{table.place}: {show(key)} is not a channel; this board has channels 1 to {most}")
    return int(text)


def parse_leads(data: dict[str, Any], file: str, most: int = MOST) -> Leads:
    """The lead set in the tables of a file. Reads [channels] and, where written, ohms, [lead_ohms], identity, probe.

    Other keys are the host's. Raises BadFile.
    """
    top = Table(file, "", data)
    check_format(top)
    if not top.has("channels"):
        raise BadFile(f'{file}: [channels] is missing; write one line a lead, such as 1 = "D-1"')
    table = Table(file, "[channels]", top.get("channels"))
    channels: dict[int, str] = {}
    for key, value in top.get("channels").items():
        channel, name = _channel(table, key, most), node_name(value)
        if name is None or name.startswith("~"):
            raise BadFile(f'{table.place}: {key} is {show(value)}; write a cavity such as "H-11"')
        if name in channels.values():
            other = next(c for c, n in channels.items() if n == name)
            raise BadFile(f"{table.place}: channels {other} and {channel} both go to {name}; each cavity has one lead")
        if channel in channels:
            raise BadFile(f"{table.place}: channel {channel} is there twice")
        channels[channel] = name
    usual = top.number("ohms", 0, 1000, 0.0)
    ohms = dict.fromkeys(channels, usual)
    special = Table(file, "[lead_ohms]", top.get("lead_ohms") or {})
    for key in top.get("lead_ohms") or {}:
        ohms[_channel(special, key, most)] = special.number(key, 0, 1000)
    probe = _channel(top, top.get("probe"), most) if top.has("probe") else None
    return Leads(channels, {c: r for c, r in ohms.items() if r}, _jumpers(top, most), probe)


def _jumpers(top: Table, most: int) -> tuple[tuple[int, ...], ...]:
    groups = top.get("identity") or []
    if not isinstance(groups, list) or not all(isinstance(group, list) for group in groups):
        raise top.wrong("identity", f"is {show(groups)}; write groups of channels, such as [[31, 32]]")
    return tuple(tuple(_channel(top, channel, most) for channel in group) for group in groups)


def load_leads(path: Path, most: int = MOST) -> Leads:
    """Read a lead map. Raises BadFile."""
    return parse_leads(read_toml(path), str(path), most)
