"""Acknowledged means on disk; a full or read-only disk is said and survived."""

from __future__ import annotations

import json
from pathlib import Path

from tests.support.mounts import can_mount, run_on_small_disk
from tests.support.synced import traced_writer
from tests.support.tools import need, need_program


def test_the_data_are_synced_between_each_commit_and_its_acknowledgement(tmp_path: Path) -> None:
    strace = need_program("strace")
    trace = traced_writer(strace, tmp_path / "r.db", tmp_path / "trace", loose=False)
    transactions = trace.acknowledged - 10  # the pair of each record is one transaction
    assert trace.acknowledged >= 40 and trace.writes >= transactions
    assert trace.syncs >= transactions and trace.early == 0


def test_the_same_trace_shows_it_when_nothing_is_synced(tmp_path: Path) -> None:
    strace = need_program("strace")
    trace = traced_writer(strace, tmp_path / "r.db", tmp_path / "trace", loose=True)
    assert trace.acknowledged >= 40 and trace.early == trace.acknowledged


FILL = """
import json, os, pathlib
from tester.errors import StoreError
from tester.records.store import Store
ballast = pathlib.Path(disk, 'ballast'); ballast.write_bytes(bytes(200_000))
log = Store.open(disk + '/r.db', 'F')
job, kept, said = log.new_job(), [1], []
for n in range(2000):
    try: kept.append(log.append(job, 'note', {'n': n}, {'f': os.urandom(3000)}).serial)
    except StoreError as error: said.append(str(error)); break
whole = log.verify().whole and [e.serial for e in log.read(job)] == kept
ballast.unlink()
log.append(job, 'note', {'n': 'again'})
log.close()
again = Store.open(disk + '/r.db', 'F')
print(json.dumps([len(kept), said, whole, again.verify().whole, len(again.read(job)) - len(kept)]))
"""


def test_a_full_disk_is_said_and_the_log_goes_on_with_space(tmp_path: Path) -> None:
    need("a mount of its own", can_mount(tmp_path))
    kept, said, whole, whole_again, more = json.loads(run_on_small_disk(tmp_path, "1m", FILL))
    assert kept > 10 and len(said) == 1
    assert said[0].startswith("no space left for the log") and "free some space" in said[0]
    assert whole and whole_again and more == 1


TINY = """
from tester.errors import StoreError
from tester.records.store import Store
import os
try: Store.open(disk + '/r.db', 'F')
except StoreError as error: print(error)
"""


def test_a_disk_too_small_for_any_log_is_said(tmp_path: Path) -> None:
    need("a mount of its own", can_mount(tmp_path))
    assert "no space left" in run_on_small_disk(tmp_path, "16k", TINY)


READ_ONLY = """
import json, subprocess
from tester.errors import StoreError
from tester.records.store import Store
log = Store.open(disk + '/r.db', 'R'); job = log.new_job({'n': 1}); log.close()
subprocess.run(['mount', '-o', 'remount,ro', disk], check=True)
said = []
for where in ('/r.db', '/new/r.db', '/other.db'):
    try: Store.open(disk + where, 'R')
    except StoreError as error: said.append(str(error))
with Store.open(disk + '/r.db', read_only=True) as log: read = len(log.read(job)); whole = log.verify().whole
print(json.dumps([said, read, whole]))
"""


def test_a_read_only_folder_is_said_and_its_log_can_still_be_read(tmp_path: Path) -> None:
    need("a mount of its own", can_mount(tmp_path))
    said, read, whole = json.loads(run_on_small_disk(tmp_path, "2m", READ_ONLY))
    assert (read, whole) == (1, True)
    assert len(said) == 3 and all("--log FILE" in text for text in said), said
    assert "cannot make the folder" in said[1]
