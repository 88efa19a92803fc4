"""A page as a list of blocks, the same for HTML and PDF. Text in blocks is plain; each output escapes it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from tester.reports.content import ConnectorView, PhotoLine


@dataclass(frozen=True)
class Heading:
    """A heading; level 2 or 3 (the page's title is level 1)."""

    text: str
    level: int = 2


@dataclass(frozen=True)
class Text:
    """A paragraph. `strong` for what must not be overlooked."""

    text: str
    strong: bool = False


@dataclass(frozen=True)
class Points:
    """A list of sentences."""

    items: tuple[str, ...]


@dataclass(frozen=True)
class Banner:
    """The verdict: the word, and its scope below it."""

    word: str
    below: str


@dataclass(frozen=True)
class Pairs:
    """Names with their values."""

    items: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Table:
    """A table with a caption, column headings, and the first column as row headings. `widths`: shares of the page."""

    caption: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    widths: tuple[int, ...]


@dataclass(frozen=True)
class Faces:
    """Connector faces with the verdict of each cavity; `edited` ones are marked."""

    connectors: tuple[ConnectorView, ...]
    marks: dict[str, str]
    edited: frozenset[str]


@dataclass(frozen=True)
class Source:
    """Text as it was written, line by line."""

    text: str


@dataclass(frozen=True)
class Photos:
    """Photos with name, note and hash; those with content are shown."""

    items: tuple[PhotoLine, ...]


@dataclass(frozen=True)
class SignLines:
    """Lines to sign on, by role."""

    roles: tuple[str, ...]


Block = Heading | Text | Points | Banner | Pairs | Table | Faces | Source | Photos | SignLines


@dataclass(frozen=True)
class Page:
    """A report: its title, a line at the foot of each sheet, its blocks, and when it was made."""

    title: str
    foot: str
    blocks: tuple[Block, ...]
    made: datetime
