"""Customer references: findable while they are wanted, removable without breaking the chain.

The chain holds only a commitment, SHA-256 of a random salt of 32 bytes and the reference. Salt and reference lie in a
table of their own. Removing destroys both; what remains in the chain is a hash that nobody can test a guess against,
and that a reference was there and when it was removed. Copies that left the log before (reports, archives made with
references, backups, a server's own write-ahead archive) are not reached.
"""

from __future__ import annotations

import hashlib
import secrets
from datetime import datetime

from tester.errors import InputError
from tester.records.engine import Engine
from tester.records.events import Event
from tester.records.store import Store

SALT_BYTES = 32
LONGEST = 500


def commitment(salt: bytes, reference: str) -> str:
    """What the chain holds in place of the reference, hexadecimal."""
    return hashlib.sha256(salt + reference.encode("utf-8", "surrogatepass")).hexdigest()


def set_customer(log: Store, job: str, reference: str, at: datetime | None = None) -> Event:
    """Note a customer reference on a record. The newest one counts."""
    reference = "".join(c for c in reference.strip() if c.isprintable())
    if not 0 < len(reference) <= LONGEST:
        raise InputError("a customer reference needs 1 to 500 printable characters", "leave it out where there is none")
    salt = secrets.token_bytes(SALT_BYTES)
    known_by = commitment(salt, reference)
    with log.together():
        event = log.append(job, "customer", {"commitment": known_by}, terms={"customer": known_by}, at=at)
        keep(log.engine, known_by, salt, reference)
    return event


def keep(engine: Engine, known_by: str, salt: bytes, reference: str) -> None:
    """Put salt and reference into their table, inside the caller's transaction."""
    engine.run(
        "INSERT INTO customers (commitment, salt, reference, folded) VALUES (?, ?, ?, ?)"
        " ON CONFLICT (commitment) DO NOTHING",
        (known_by, salt, reference, reference.casefold()),
    )


def customer(log: Store, job: str) -> str:
    """The customer reference of a record; "" when there is none or it was removed."""
    for event in reversed(log.read(job)):
        if event.kind == "customer":
            rows = log.engine.rows(
                "SELECT reference FROM customers WHERE commitment = ?", (str(event.data.get("commitment", "")),)
            )
            return str(rows[0][0]) if rows else ""
    return ""


def forget_customer(log: Store, reference: str, at: datetime | None = None) -> list[str]:
    """Remove a customer reference from every record that has it. Returns those records' numbers.

    Salt and reference are overwritten in the log's own files. Each record gets an event that says that this was
    done. Calling again with nothing left only repeats the overwriting.
    """
    folded = "".join(c for c in reference.strip() if c.isprintable()).casefold()
    touched: list[str] = []
    with log.together():
        found = [str(row[0]) for row in log.engine.rows("SELECT commitment FROM customers WHERE folded = ?", (folded,))]
        for known_by in found:
            for job in _jobs_with(log.engine, known_by):
                log.append(
                    job, "customer-removed", {"commitment": known_by}, terms={"customer-removed": known_by}, at=at
                )
                touched.append(job)
            log.engine.run("DELETE FROM customers WHERE commitment = ?", (known_by,))
    log.forget_removed()
    return sorted(set(touched))


def removed_before(engine: Engine, known_by: str) -> bool:
    """True when the log says that this reference was removed: an archive must not bring it back."""
    rows = engine.rows("SELECT 1 FROM term_values WHERE field = 'customer-removed' AND value = ?", (known_by,))
    return bool(rows)


def _jobs_with(engine: Engine, known_by: str) -> list[str]:
    rows = engine.rows(
        "SELECT DISTINCT j.job FROM term_values v JOIN terms t ON t.term = v.id JOIN jobs j ON j.id = t.job"
        " WHERE v.field = 'customer' AND v.value = ?",
        (known_by,),
    )
    return [str(row[0]) for row in rows]
