"""Where the log lies when nobody says."""

from __future__ import annotations

from pathlib import Path

import pytest

from tester.records.place import data_folder, default_log, local_bench_id
from tester.records.store import Store


def test_a_home_with_other_letters_works_and_only_our_folder_is_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    home = tmp_path / "Hände würk [/b] 木"
    monkeypatch.setenv("XDG_DATA_HOME", str(home))
    with Store.open(default_log()) as log:
        log.new_job()
    assert [path.name for path in home.iterdir()] == ["loomwright"]
    assert (home / "loomwright" / "records.db").is_file()
    assert (home / "loomwright").stat().st_mode & 0o777 == 0o700


def test_a_relative_data_home_is_ignored(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", "somewhere")
    assert data_folder() == Path.home() / ".local" / "share" / "loomwright"


def test_this_machines_bench_identity_is_made_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    first = local_bench_id()
    assert local_bench_id() == first
    assert [path.name for path in (tmp_path / "loomwright").iterdir()] == ["bench-id"]
