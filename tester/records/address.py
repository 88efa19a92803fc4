"""Addresses of a log on a server, their password moved into the environment, which only this user can read."""

from __future__ import annotations

import os
import re
import sys
from collections.abc import MutableMapping, Sequence
from urllib.parse import unquote

PASSWORD = "PGPASSWORD"
"""Where PostgreSQL's own client library looks for the password (its manual, "Environment Variables")."""

_SERVER = r"(?:-[^=]*=)?postgres(?:ql)?://"  # behind any option: a mistyped one is named in a message
_FLAGS = re.DOTALL | re.IGNORECASE
_USER = re.compile(rf"(?P<before>{_SERVER}[^/?#@:]*):(?P<password>[^/?#]*)(?P<after>@.*)", _FLAGS)
_QUERY = re.compile(rf"(?P<before>{_SERVER}.*[?&])password=(?P<password>[^&#]*)&?(?P<after>.*)", _FLAGS)


def without_password(word: str) -> tuple[str, str | None]:
    """An address (or ``--option=address``) without its password, and the password, decoded. None when there is none."""
    password = None
    for pattern in (_USER, _QUERY):
        if found := pattern.fullmatch(word):
            password = unquote(found["password"])
            word = (found["before"] + found["after"]).rstrip("?&")
    return word, password


def hide_passwords(words: Sequence[str], environ: MutableMapping[str, str] = os.environ) -> list[str]:
    """Words of a command line with the password of an address moved into the environment."""
    kept = []
    for word in words:
        word, password = without_password(word)
        if password is not None:
            environ[PASSWORD] = password
        kept.append(word)
    return kept


def leave_no_password_in_sight(words: Sequence[str]) -> list[str]:
    """This process's words without passwords. Where the system lists its processes' words, it starts itself anew."""
    kept = hide_passwords(words)
    if kept != list(words) and os.name == "posix":
        own = sys.orig_argv[: len(sys.orig_argv) - len(words)]
        os.execv(sys.executable, [*own, *kept])
    return kept
