"""All files of a run or none, whatever goes wrong and when."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pytest

from basemap.errors import InputError, OutputExists
from basemap.report.atomic import data, text, write_together


def tree(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def test_everything_is_written(tmp_path: Path) -> None:
    write_together({tmp_path / "new" / "a.txt": text("λ\n"), tmp_path / "b.bin": data(b"\r\n")})
    assert tree(tmp_path) == {str(Path("new", "a.txt")): b"\xce\xbb\n", "b.bin": b"\r\n"}


def test_a_writer_is_given_a_name_with_the_same_suffix_in_the_same_folder(tmp_path: Path) -> None:
    seen: list[Path] = []

    def writer(path: Path) -> None:
        seen.append(path)
        path.write_bytes(b"x")

    write_together({tmp_path / "book.xlsx": writer})
    assert [(path.parent, path.suffix, path.name == "book.xlsx") for path in seen] == [(tmp_path, ".xlsx", False)]


def test_nothing_is_written_where_one_file_is_in_the_way(tmp_path: Path) -> None:
    (tmp_path / "b").write_text("mine")
    with pytest.raises(OutputExists) as caught:
        write_together({tmp_path / "a": text("a"), tmp_path / "b": text("b")})
    assert str(caught.value) == (
        f"{tmp_path / 'b'}: exists already and was left alone, and nothing was written; give --force to replace it, or "
        "name another place"
    )
    assert tree(tmp_path) == {"b": b"mine"}


def test_a_folder_in_the_way_is_refused_even_by_force(tmp_path: Path) -> None:
    (tmp_path / "a").mkdir()
    with pytest.raises(OutputExists) as caught:
        write_together({tmp_path / "a": text("a")}, force=True)
    assert str(caught.value) == (
        f"{tmp_path / 'a'}: is a folder, where a file is to be written; name another place with --out"
    )


def test_force_replaces_and_removes_what_is_stale(tmp_path: Path) -> None:
    (tmp_path / "a").write_text("old")
    (tmp_path / "stale").write_text("old")
    write_together({tmp_path / "a": text("new")}, force=True, stale=[tmp_path / "stale", tmp_path / "never there"])
    assert tree(tmp_path) == {"a": b"new"}


def test_a_failing_writer_leaves_the_folder_as_it_was(tmp_path: Path) -> None:
    def fail(path: Path) -> None:
        path.write_bytes(b"half")
        raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        write_together({tmp_path / "new" / "folder" / "a": text("a"), tmp_path / "b": fail})
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("failing_move", [1, 2, 3, 4, 5])
def test_a_failing_move_puts_back_what_was_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, failing_move: int
) -> None:
    for name in ("a", "b", "stale"):
        (tmp_path / name).write_text(f"old {name}")
    before, moves, really_move = tree(tmp_path), 0, os.replace

    def move(source: Path, target: Path) -> None:
        nonlocal moves
        moves += 1
        if moves == failing_move:
            raise PermissionError(13, "Permission denied")
        really_move(source, target)

    monkeypatch.setattr("basemap.report.atomic.os.replace", move)
    with pytest.raises(InputError) as caught:
        write_together(
            {tmp_path / "a": text("new a"), tmp_path / "b": text("new b")}, force=True, stale=[tmp_path / "stale"]
        )
    assert caught.value.problem == (
        "cannot be written (no permission; is the folder read-only, or the file open in another program?); nothing was "
        "changed"
    )
    assert tree(tmp_path) == before


@pytest.mark.skipif(
    sys.platform == "win32" or os.geteuid() == 0, reason="folders of root and on Windows are always writable"
)
def test_a_read_only_folder(tmp_path: Path) -> None:
    tmp_path.chmod(0o500)
    with pytest.raises(InputError) as caught:
        write_together({tmp_path / "a": text("a")})
    tmp_path.chmod(0o700)
    assert str(caught.value) == (
        f"{tmp_path / 'a'}: cannot be written (no permission; is the folder read-only, or the file open in another "
        "program?); nothing was changed"
    )


def test_a_writer_without_permission_is_told_by_name(tmp_path: Path) -> None:
    def refuse(path: Path) -> None:
        raise PermissionError(13, "Permission denied", str(path))

    with pytest.raises(InputError) as caught:
        write_together({tmp_path / "a": text("a"), tmp_path / "b": refuse})
    assert (caught.value.file, caught.value.problem) == (
        str(tmp_path / "b"),
        "cannot be written (no permission; is the folder read-only, or the file open in another program?); nothing was "
        "changed",
    )
    assert list(tmp_path.iterdir()) == []
