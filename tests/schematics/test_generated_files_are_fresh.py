"""What is made from the description of the board is committed as it would be made now."""

from pathlib import Path

import pytest

from hwspec.circuit import generate


def test_no_generated_file_is_stale() -> None:
    assert generate.stale(generate.outputs()) == []


def test_a_changed_or_missing_file_is_called_stale(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(generate, "ROOT", tmp_path)
    files = {"a.txt": "one\n", "b.txt": "two\n"}
    assert generate.stale(files) == ["a.txt", "b.txt"]
    (tmp_path / "a.txt").write_text("one\n")
    (tmp_path / "b.txt").write_text("old\n")
    assert generate.stale(files) == ["b.txt"]


def test_check_writes_nothing_and_says_how_to_mend(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(generate, "ROOT", tmp_path)
    monkeypatch.setattr(generate, "outputs", lambda: {"x.csv": "1\n"})
    assert generate.main(["--check"]) == 1
    assert "stale: x.csv; run python -m hwspec.circuit.generate" in capsys.readouterr().out
    assert not (tmp_path / "x.csv").exists()
    assert generate.main([]) == 0
    assert generate.main(["--check"]) == 0
