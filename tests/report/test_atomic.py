"""All files of a run or none, whatever goes wrong and when."""

from __future__ import annotations

import os
import re
import sys
from pathlib import Path
from typing import BinaryIO

import pytest

from basemap.errors import InputError, OutputExists
from basemap.report.atomic import data, text, write_together


def tree(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def test_everything_is_written(tmp_path: Path) -> None:
    write_together({tmp_path / "new" / "a.txt": text("λ\n"), tmp_path / "b.bin": data(b"\r\n")})
    assert tree(tmp_path) == {str(Path("new", "a.txt")): b"\xce\xbb\n", "b.bin": b"\r\n"}


def test_a_temporary_name_is_hidden_in_the_same_folder_has_the_suffix_and_cannot_be_guessed(tmp_path: Path) -> None:
    seen: list[Path] = []

    def writer(_stream: BinaryIO) -> None:
        seen.extend(tmp_path.iterdir())

    for name in ("book.xlsx", "another.xlsx"):
        write_together({tmp_path / name: writer})
    hidden = [path.name for path in seen if path.name not in ("book.xlsx", "another.xlsx")]
    assert [re.fullmatch(r"\.basemap-[0-9a-f]{16}\.new\.xlsx", name) is not None for name in hidden] == [True, True]
    assert hidden[0] != hidden[1]


@pytest.mark.skipif(sys.platform == "win32", reason="links need a privilege on Windows")
def test_a_link_that_has_the_temporary_name_is_not_written_through(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Even to somebody who could guess the name: the file is made anew or not at all."""
    monkeypatch.setattr("basemap.report.atomic.os.urandom", bytes)
    foreign = tmp_path / "foreign"
    foreign.write_text("theirs")
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / f".basemap-{'0' * 16}.new.txt").symlink_to(foreign)
    with pytest.raises(InputError) as caught:
        write_together({tmp_path / "out" / "a.txt": text("mine")})
    assert caught.value.problem == "cannot be written (file exists); nothing was changed"
    assert foreign.read_text() == "theirs"


@pytest.mark.skipif(sys.platform == "win32", reason="modes of POSIX")
def test_files_have_the_ordinary_mode(tmp_path: Path) -> None:
    before = os.umask(0o027)
    try:
        write_together({tmp_path / "a": text("a")})
    finally:
        os.umask(before)
    assert (tmp_path / "a").stat().st_mode & 0o777 == 0o640


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no such locks")
def test_a_folder_that_another_program_holds(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    if sys.platform == "win32":
        return
    import fcntl

    monkeypatch.setattr("basemap.report.atomic.LONGEST_WAIT_S", 0.1)
    descriptor = os.open(tmp_path, os.O_RDONLY)
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX)
        with pytest.raises(InputError) as caught:
            write_together({tmp_path / "a": text("a")})
    finally:
        os.close(descriptor)
    assert str(caught.value) == (
        f"{tmp_path}: another program has locked this folder; nothing was changed; try again when it is done, or name "
        "another place"
    )
    assert tree(tmp_path) == {}
    write_together({tmp_path / "a": text("a")})
    assert tree(tmp_path) == {"a": b"a"}


def test_what_cannot_be_undone_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The second file cannot be moved, and from then on nothing in the folder can be changed."""
    (tmp_path / "a").write_text("old a")
    moves, really_move = 0, os.replace

    def refuse(*_: object) -> None:
        raise PermissionError(13, "Permission denied")

    def move(source: Path, target: Path) -> None:
        nonlocal moves
        moves += 1
        if moves > 2:
            monkeypatch.setattr("basemap.report.atomic.Path.unlink", refuse)
            refuse()
        really_move(source, target)

    monkeypatch.setattr("basemap.report.atomic.os.urandom", bytes)
    monkeypatch.setattr("basemap.report.atomic.os.replace", move)
    with pytest.raises(InputError) as caught:
        write_together({tmp_path / "a": text("new a"), tmp_path / "b.txt": text("new b")}, force=True)
    new, old = tmp_path / f".basemap-{'0' * 16}.new.txt", tmp_path / f".basemap-{'0' * 16}.old"
    assert str(caught.value) == (
        f"{tmp_path / 'b.txt'}: cannot be written (no permission; is the folder read-only, or the file open in "
        f"another program?); {new} was left behind; the former {tmp_path / 'a'} is now {old}"
    )
    assert tree(tmp_path) == {"a": b"new a", new.name: b"new b", old.name: b"old a"}


def test_nothing_is_written_where_one_file_is_in_the_way(tmp_path: Path) -> None:
    (tmp_path / "b").write_text("mine")
    with pytest.raises(OutputExists) as caught:
        write_together({tmp_path / "a": text("a"), tmp_path / "b": text("b")})
    assert str(caught.value) == (
        f"{tmp_path / 'b'}: already exists; nothing was written; use --force to replace it, or name another place"
    )
    assert tree(tmp_path) == {"b": b"mine"}


def test_a_folder_in_the_way_is_refused_even_by_force(tmp_path: Path) -> None:
    (tmp_path / "a").mkdir()
    with pytest.raises(OutputExists) as caught:
        write_together({tmp_path / "a": text("a")}, force=True)
    assert str(caught.value) == (f"{tmp_path / 'a'}: is a folder, but a file must be written there; name another place")


def test_force_replaces_and_removes_what_is_stale(tmp_path: Path) -> None:
    (tmp_path / "a").write_text("old")
    (tmp_path / "stale").write_text("old")
    write_together({tmp_path / "a": text("new")}, force=True, stale=[tmp_path / "stale", tmp_path / "never there"])
    assert tree(tmp_path) == {"a": b"new"}


def test_a_failing_writer_leaves_the_folder_as_it_was(tmp_path: Path) -> None:
    def fail(stream: BinaryIO) -> None:
        stream.write(b"half")
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
    def refuse(_stream: BinaryIO) -> None:
        raise PermissionError(13, "Permission denied")

    with pytest.raises(InputError) as caught:
        write_together({tmp_path / "a": text("a"), tmp_path / "b": refuse})
    assert (caught.value.file, caught.value.problem) == (
        str(tmp_path / "b"),
        "cannot be written (no permission; is the folder read-only, or the file open in another program?); nothing was "
        "changed",
    )
    assert list(tmp_path.iterdir()) == []
