"""Lead maps: which channel of the board goes to which cavity."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from tester.errors import InputError
from tester.harness.cavity import in_order, parse_cavity
from tester.harness.tables import checked, read_toml, where

CHANNELS = 256
Ohms = Annotated[float, Field(ge=0, le=1000)]


@dataclass(frozen=True)
class LeadMap:
    """One lead set.

    channels     channel (1 to 256) -> cavity, in order of channels
    ohms         resistance of one lead with its contact, for leads not in `lead_ohms`; None when not known
    lead_ohms    channel -> resistance of its lead, ohm
    identity     groups of channels that are joined inside the lead set itself, so that the board knows it
    unreachable  cavities that this set cannot reach, known and accepted by its maker
    probe        channel of a loose probe lead, None if there is none
    """

    id: str
    channels: Mapping[int, str]
    ohms: float | None = None
    lead_ohms: Mapping[int, float] = field(default_factory=dict)
    identity: tuple[tuple[int, ...], ...] = ()
    unreachable: frozenset[str] = frozenset()
    probe: int | None = None
    note: str = ""

    @property
    def cavities(self) -> tuple[str, ...]:
        """Cavities on leads, in order of cavities."""
        return tuple(in_order(self.channels.values()))

    def channel_of(self, cavity: str) -> int | None:
        """Channel of a cavity, None when it is not on a lead."""
        return next((channel for channel, name in self.channels.items() if name == cavity), None)

    def ohms_of(self, channel: int) -> float | None:
        """Resistance of the lead of a channel, ohm, or None when not known."""
        return self.lead_ohms.get(channel, self.ohms)


class _File(BaseModel):
    """A lead map as written."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)

    format: Literal[1] = Field(description="version of this file format, always 1")
    id: str = Field(min_length=1, max_length=80, description="name of the lead set, as on its tag")
    note: str = Field("", description="free text")
    ohms: Ohms | None = Field(None, description="resistance of one lead with its contact, ohm")
    identity: list[list[int]] = Field([], description="groups of channels joined inside the lead set")
    unreachable: list[str] = Field([], description="cavities that this lead set cannot reach")
    probe: int | None = Field(None, ge=1, le=CHANNELS, description="channel of a loose probe lead")
    channels: dict[str, str] = Field(description="channel number = cavity")
    lead_ohms: dict[str, Ohms] = Field({}, description="channel number = ohm of its lead, where it differs")


def lead_map_schema() -> dict[str, Any]:
    """JSON Schema of a lead map, for editors."""
    return {"$schema": "https://json-schema.org/draft/2020-12/schema"} | _File.model_json_schema()


class _Reader:
    def __init__(self, file: _File, name: str, text: str, data: Mapping[str, Any]) -> None:
        self.file, self.name, self.text, self.data = file, name, text, data

    def wrong(self, path: tuple[str | int, ...], words: str) -> InputError:
        return InputError(f"{where(self.name, self.text, path, self.data)}: {words}")

    def channel(self, table: str, key: str) -> int:
        if not key.isascii() or not key.isdecimal() or not 1 <= int(key) <= CHANNELS:
            raise self.wrong((table, key), f'"{key}" is not a channel; channels are 1 to {CHANNELS}')
        return int(key)

    def cavity(self, path: tuple[str | int, ...], given: str) -> str:
        try:
            return parse_cavity(given)
        except ValueError as wrong:
            raise self.wrong(path, str(wrong)) from None

    def channels(self) -> dict[int, str]:
        found: dict[int, str] = {}
        by_cavity: dict[str, int] = {}
        for key, given in self.file.channels.items():
            channel = self.channel("channels", key)
            cavity = self.cavity(("channels", key), given)
            if channel in found:
                raise self.wrong(("channels", key), f"channel {channel} is there twice")
            if cavity in by_cavity:
                raise self.wrong(
                    ("channels", key),
                    f"channel {channel} goes to {cavity}, but so does channel {by_cavity[cavity]}; "
                    "each cavity has one lead",
                )
            found[channel] = cavity
            by_cavity[cavity] = channel
        if not found:
            raise self.wrong(("channels",), 'no lead at all; write one a line, such as 1 = "D-1"')
        return dict(sorted(found.items()))

    def identity(self, used: Mapping[int, str]) -> tuple[tuple[int, ...], ...]:
        seen: set[int] = set()
        for index, group in enumerate(self.file.identity):
            path = ("identity", index)
            if len(set(group)) < 2:
                raise self.wrong(path, "an identity jumper joins at least two channels, such as [31, 32]")
            for channel in group:
                if not 1 <= channel <= CHANNELS:
                    raise self.wrong(path, f"{channel} is not a channel; channels are 1 to {CHANNELS}")
                if channel in used:
                    raise self.wrong(path, f"channel {channel} already goes to {used[channel]}")
                if channel in seen:
                    raise self.wrong(path, f"channel {channel} is in two identity jumpers")
                seen.add(channel)
        if self.file.probe is not None and (self.file.probe in used or self.file.probe in seen):
            raise self.wrong(("probe",), f"channel {self.file.probe} is used for something else already")
        return tuple(tuple(sorted(group)) for group in self.file.identity)


def load_leads(data: bytes | str, name: str) -> LeadMap:
    """The lead map in a file. `name` is the file's name for messages. Raises InputError."""
    tables, text = read_toml(data, name)
    tables = dict(tables)
    for table in ("channels", "lead_ohms"):
        if isinstance(tables.get(table), dict):
            tables[table] = {str(key): value for key, value in tables[table].items()}
    file = checked(_File, tables, name, text)
    reader = _Reader(file, name, text, tables)
    channels = reader.channels()
    identity = reader.identity(channels)
    unreachable = {reader.cavity(("unreachable", n), given) for n, given in enumerate(file.unreachable)}
    both = unreachable & set(channels.values())
    if both:
        raise reader.wrong(("unreachable",), f"{in_order(both)[0]} has a lead, so it is not unreachable")
    lead_ohms = {reader.channel("lead_ohms", key): value for key, value in file.lead_ohms.items()}
    strangers = set(lead_ohms) - set(channels)
    if strangers:
        raise reader.wrong(("lead_ohms",), f"channel {min(strangers)} has no lead in [channels]")
    return LeadMap(file.id, channels, file.ohms, lead_ohms, identity, frozenset(unreachable), file.probe, file.note)


def write_leads(leads: LeadMap) -> str:
    """The file text of a lead map; `load_leads` reads it back to an equal one."""
    import tomlkit

    doc = tomlkit.document()
    doc["format"] = 1
    doc["id"] = leads.id
    if leads.note:
        doc["note"] = leads.note
    if leads.ohms is not None:
        doc["ohms"] = leads.ohms
    if leads.identity:
        doc["identity"] = [list(group) for group in leads.identity]
    if leads.unreachable:
        doc["unreachable"] = in_order(leads.unreachable)
    if leads.probe is not None:
        doc["probe"] = leads.probe
    doc["channels"] = {str(channel): cavity for channel, cavity in leads.channels.items()}
    if leads.lead_ohms:
        doc["lead_ohms"] = {str(channel): ohms for channel, ohms in leads.lead_ohms.items()}
    return tomlkit.dumps(doc)


def on_leads(maps: Sequence[LeadMap]) -> frozenset[str]:
    """Cavities that at least one of several lead maps reaches."""
    return frozenset(name for leads in maps for name in leads.channels.values())
