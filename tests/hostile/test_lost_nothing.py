"""Whatever goes wrong while a run writes: no half-written file, none overwritten, one sentence, the right status.

`start_warm` where all that matters happens once the program runs: signals while it writes, limits, permissions, full
disks, two runs at once. `start`, the real thing, where Python and the program have to come up in such a state first:
closed streams, one that cannot be read, another encoding, no environment, a folder that is gone, a signal at once.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import BinaryIO

import pytest

from basemap.cli import demo
from basemap.errors import InputError, OutputExists
from basemap.report.atomic import Writer, data, text, write_together
from tests.cli.program import PLAIN, ROOT, SAMPLES, Ended
from tests.cli.program import run as main_of

if sys.platform == "win32":
    pytest.skip(
        "signals, limits and links of POSIX; tests/report/test_atomic.py runs everywhere", allow_module_level=True
    )

import fcntl

from tests.cli.warm import start_warm
from tests.hostile import children

JOB = SAMPLES / "orchard_pickup.toml"
FILES = {"orchard_pickup.xlsx", "orchard_pickup.html", "orchard_pickup.json", "fuel.new.csv"}
STOPPED = "basemap: stopped; no half-written file was left behind\n"
SIGNALS = pytest.mark.parametrize(
    ("number", "status"), [(signal.SIGINT, 130), (signal.SIGTERM, 143), (signal.SIGHUP, 129)], ids=str
)


def start(
    *arguments: object,
    environment: dict[str, str] | None = None,
    stdout: int = subprocess.PIPE,
    before: Callable[[], object] | None = None,
    folder: Path = ROOT,
) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-m", "basemap", *map(str, arguments)],
        stdout=stdout,
        stderr=subprocess.PIPE,
        text=True,
        encoding="utf-8",
        cwd=folder,
        env={**os.environ, "PYTHONPATH": str(ROOT), **PLAIN} if environment is None else environment,
        preexec_fn=before,
    )


def ended(process: subprocess.Popen[str]) -> tuple[int, str]:
    _, error = process.communicate(timeout=120)
    return process.returncode, error


def ran(program: str, before: Callable[[], object] | None = None) -> subprocess.CompletedProcess[str]:
    """A few lines of Python in a process of their own.

    With -P, as the installed program: else Python searches the current folder, and 3.13.0 fails where that is gone.
    """
    return subprocess.run(
        [sys.executable, "-P", "-c", program],
        capture_output=True,
        text=True,
        encoding="utf-8",
        env={**os.environ, "PYTHONPATH": str(ROOT), **PLAIN},
        check=False,
        preexec_fn=before,
    )


def names(folder: Path) -> set[str]:
    return {path.name for path in folder.iterdir()}


def several_files(number: int, folder: Path) -> tuple[object, ...]:
    """A command that writes several files at once: a result for one of the signals, the worked job for the others.

    That job is written before anything is worked out. What a signal does is decided outside the commands, and one
    function writes the files of both.
    """
    return ("adapt", JOB, "--out", folder) if number == signal.SIGTERM else ("demo", folder)


@SIGNALS
def test_a_signal_while_a_file_is_being_written(tmp_path: Path, number: int, status: int) -> None:
    before = partial(children.stopped_while_a_file_is_written, number)
    done = start_warm(*several_files(number, tmp_path / "out"), before=before).ended()
    assert done == Ended("", STOPPED, status)
    assert names(tmp_path) == set()


@SIGNALS
def test_a_signal_while_the_program_is_still_being_loaded(number: int, status: int) -> None:
    program = (
        "import os, sys\n"
        "class Finder:\n"
        "    def find_spec(self, name, *_):\n"
        f"        if name == 'typer': os.kill(os.getpid(), {int(number)})\n"
        "sys.meta_path.insert(0, Finder())\n"
        "from basemap.__main__ import main\n"
        "sys.exit(main(['fuel', 'E85']))\n"
    )
    done = ran(program, before=lambda: signal.signal(number, signal.SIG_DFL))
    assert (done.returncode, done.stdout, done.stderr) == (status, "", STOPPED)


@SIGNALS
def test_a_signal_that_python_swallows_still_tells_in_the_exit_status(tmp_path: Path, number: int, status: int) -> None:
    """The run ends as if nothing had been."""
    before = partial(children.stopped_while_python_clears_up, number)
    done = start_warm("new", tmp_path / "van.toml", "--blank", before=before).ended()
    assert (done.status, done.stderr) == (
        status, "basemap: told to stop at a moment at which it could not, and went on to its end\n"
    )  # fmt: skip
    assert names(tmp_path) == {"van.toml", "basemap.schema.json"}


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM], ids=str)
def test_a_signal_between_two_moves_waits_until_all_are_made(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, number: int
) -> None:
    class Stopped(BaseException):
        pass

    def stop(_number: int, _frame: object) -> None:
        raise Stopped

    moves, really_move = [], os.replace

    def move(source: Path, target: Path) -> None:
        really_move(source, target)
        moves.append(target)
        signal.raise_signal(number)

    monkeypatch.setattr("basemap.report.atomic.os.replace", move)
    before = signal.signal(number, stop)
    try:
        with pytest.raises(Stopped):
            write_together({tmp_path / "a": text("a"), tmp_path / "b": text("b")})
        assert signal.getsignal(number) is stop
    finally:
        signal.signal(number, before)
    assert {path.name: path.read_text() for path in tmp_path.iterdir()} == {"a": "a", "b": "b"}
    assert len(moves) == 2


@pytest.mark.parametrize(("number", "status"), [(signal.SIGINT, 130), (signal.SIGTERM, 143)], ids=str)
def test_a_signal_while_another_program_holds_the_folder(tmp_path: Path, number: int, status: int) -> None:
    descriptor = os.open(tmp_path, os.O_RDONLY)
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX)
        arguments = several_files(number, tmp_path)
        run = start_warm(*arguments, before=partial(children.heeds, number))
        count = len(FILES if "adapt" in arguments else demo.FILES)
        until = time.monotonic() + 60
        while len(names(tmp_path)) < count and time.monotonic() < until:
            time.sleep(0.01)
        run.send_signal(number)
        assert run.ended() == Ended("", STOPPED, status)
    finally:
        os.close(descriptor)
    assert names(tmp_path) == set()


def test_a_file_that_may_not_grow_as_on_a_full_disk(tmp_path: Path) -> None:
    out = tmp_path / "new" / "out"
    assert start_warm("adapt", JOB, "--out", out, before=partial(children.files_of_at_most, 20_000)).ended() == Ended(
        "", f"basemap: {out / 'orchard_pickup.xlsx'}: cannot be written (file too large); nothing was changed\n", 2
    )
    assert names(tmp_path) == set()


def test_no_space_left(tmp_path: Path) -> None:
    def full(stream: BinaryIO) -> None:
        stream.write(b"half")
        raise OSError(28, "No space left on device")

    with pytest.raises(InputError) as caught:
        write_together({tmp_path / "a": text("a"), tmp_path / "b": full})
    assert str(caught.value) == (f"{tmp_path / 'b'}: cannot be written (no space left on device); nothing was changed")
    assert names(tmp_path) == set()


@pytest.mark.skipif(sys.platform != "linux", reason="a device that is always full is Linux's")
def test_a_full_disk_behind_standard_output() -> None:
    with open("/dev/full", "w") as full:
        run = start_warm("check", JOB, stdout=full.fileno()).ended()
    assert (run.status, run.stderr) == (2, "basemap: standard output cannot be written (no space left on device)\n")


@pytest.mark.parametrize(
    "arguments", [("explain", JOB, 3000, 60), ("check", JOB), ("check", JOB, "--json")], ids=["explain", "text", "json"]
)
def test_a_reader_that_takes_nothing(arguments: tuple[object, ...]) -> None:
    reader, writer = os.pipe()
    run = start_warm(*arguments, stdout=writer)
    os.close(writer)
    os.close(reader)
    ended = run.ended()
    assert (ended.status in (0, 3, 4), ended.stderr) == (True, "")


@pytest.mark.skipif(sys.platform != "linux", reason="a device that is always full is Linux's")
@pytest.mark.parametrize("arguments", [("--help",), ("check", "--help")], ids=["program", "command"])
def test_help_on_a_full_disk(arguments: tuple[str, ...]) -> None:
    with open("/dev/full", "w") as full:
        status, error = ended(start(*arguments, stdout=full.fileno()))
    assert (status, error) == (2, "basemap: standard output cannot be written (no space left on device)\n")


def test_a_table_from_a_standard_input_that_cannot_be_read(tmp_path: Path) -> None:
    job = tmp_path / "van.toml"
    job.write_text(JOB.read_text(encoding="utf-8").replace('"orchard_pickup_fuel.csv"', '"-"'), encoding="utf-8")
    for arguments in (("check", job), ("compare", "-", SAMPLES / "orchard_pickup_fuel.csv")):
        run = start_warm(*arguments, before=children.only_written_to).ended()
        assert (run.status, run.stderr) == (2, "basemap: standard input: cannot be read (bad file descriptor)\n")


def test_questions_to_nobody(tmp_path: Path) -> None:
    closed = ended(start("new", tmp_path / "van.toml", before=lambda: os.close(0)))
    run = start_warm("new", tmp_path / "van.toml", before=children.only_written_to).ended()
    message = "basemap: no questions can be asked here ({}): use --blank to write a template to fill in\n".format
    assert closed == (2, message("standard input is closed"))
    assert (run.status, run.stderr) == (2, message("bad file descriptor"))
    assert names(tmp_path) == set()


def test_answers_in_another_encoding(tmp_path: Path) -> None:
    run = subprocess.run(
        [sys.executable, "-m", "basemap", "new", tmp_path / "van.toml"],
        input=b"v\xff\n",
        capture_output=True,
        check=False,
        env={**os.environ, "PYTHONPATH": str(ROOT), **PLAIN, "PYTHONIOENCODING": "utf-8:strict"},
    )
    assert (run.returncode, run.stderr) == (
        2,
        b"basemap: no questions can be asked here (the typed text is not utf-8): use --blank to write a template to "
        b"fill in\n",
    )
    assert names(tmp_path) == set()


@pytest.mark.parametrize("descriptors", [(0, 1), (2,)], ids=str)
def test_standard_streams_that_are_closed(descriptors: tuple[int, ...]) -> None:
    """The two that are not there have one run: what fails for want of either is told on the third."""
    status, error = ended(start("check", JOB, before=partial(children.without, descriptors)))
    assert (status in (0, 3, 4), error) == (True, "")


def test_two_runs_at_once_into_one_folder(tmp_path: Path) -> None:
    out = tmp_path / "out"
    runs = [start_warm("adapt", JOB, "--out", out) for _ in range(2)]
    results = sorted((ended.status, ended.stderr) for ended in [run.ended() for run in runs])
    refused = (
        f"basemap: {out / 'orchard_pickup.xlsx'}: already exists; nothing was written; use --force to replace it, or "
        "name another place\n"
    )
    assert results == [(0, ""), (2, refused)]
    assert names(out) == FILES


def test_of_two_that_write_at_the_same_moment_one_is_refused(tmp_path: Path) -> None:
    """Both have found the folder empty and have written their files before either moves them."""
    ready = threading.Barrier(2)
    refused: list[str] = []

    def slow(content: str) -> Writer:
        def write(stream: BinaryIO) -> None:
            stream.write(content.encode())
            ready.wait(30)

        return write

    def run(name: str) -> None:
        hidden = {tmp_path / "a": text(name), tmp_path / "b": slow(name)}
        try:
            write_together(hidden)
        except OutputExists as problem:
            refused.append(problem.problem)

    program = [threading.Thread(target=run, args=(name,)) for name in ("one", "two")]
    for thread in program:
        thread.start()
    for thread in program:
        thread.join(60)
    assert refused == ["already exists; nothing was written; use --force to replace it, or name another place"]
    assert names(tmp_path) == {"a", "b"}
    assert (tmp_path / "a").read_text() == (tmp_path / "b").read_text()


@pytest.mark.parametrize("kind", ["read-only", "not there", "a file"])
def test_a_folder_that_takes_no_files(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kind: str) -> None:
    reason = {
        "read-only": "cannot be written (read-only file system); nothing was changed",
        "not there": "cannot be written (no such file or directory); nothing was changed",
        "a file": "is a file, but a folder is needed there; name another place",
    }[kind]
    folder = tmp_path / "out"
    if kind == "a file":
        folder.write_text("mine")
    if kind != "a file":
        number = 30 if kind == "read-only" else 2

        def refuse(_path: Path, _mode: int = 0o777) -> None:
            raise OSError(number, os.strerror(number))

        monkeypatch.setattr("pathlib.Path.mkdir", refuse)
    with pytest.raises(InputError) as caught:
        write_together({folder / "a": data(b"a")})
    assert caught.value.problem == reason
    assert names(tmp_path) == ({"out"} if kind == "a file" else set())


def test_no_home_no_temporary_folder_no_working_folder_and_nothing_else_in_the_environment(tmp_path: Path) -> None:
    """One run without any of them: it does everything, so it needed none."""
    environment = {"PYTHONPATH": str(ROOT), "TMPDIR": "/nonexistent", "HOME": "/nonexistent"}
    gone, out = tmp_path / "gone", tmp_path / "out"
    gone.mkdir()
    run = start("adapt", JOB, "--out", out, "--quiet", environment=environment, folder=gone, before=gone.rmdir)
    assert (*ended(run), names(out)) == (0, "", FILES)


def test_a_place_in_a_working_folder_that_is_gone(tmp_path: Path) -> None:
    gone = tmp_path / "gone"
    gone.mkdir()
    run = start_warm("adapt", JOB, "--out", "out", folder=gone, before=partial(os.rmdir, gone)).ended()
    assert (run.status, run.stderr) == (2, "basemap: the current folder no longer exists: go to another one\n")


@pytest.mark.parametrize("name", ["a" * 300, "circle", "dangling"])
def test_an_output_folder_that_cannot_be_one(tmp_path: Path, name: str) -> None:
    (tmp_path / "circle").symlink_to("circle")
    (tmp_path / "dangling").symlink_to("nowhere")
    out = tmp_path / name
    run = main_of("adapt", JOB, "--out", out)
    problem = (
        f"{out / 'orchard_pickup.xlsx'}: cannot be written (file name too long); nothing was changed"
        if len(name) == 300
        else f"{out}: is a file, but a folder is needed there; name another place"
    )
    assert (run.status, run.stderr) == (2, f"basemap: {problem}\n")
    assert names(tmp_path) == {"circle", "dangling"}


LINUX_PERMISSIONS = pytest.mark.skipif(
    sys.platform != "linux", reason="permissions of folders, and how root is bound by them, are Linux's"
)


def bound(*arguments: object, folder: Path = ROOT) -> tuple[int, str]:
    """How a run ends that is bound by permissions, whoever runs the tests."""
    run = start_warm(*arguments, folder=folder, before=children.without_a_rootly_pass).ended()
    return run.status, run.stderr


def adapted_into(out: Path, mode: int) -> tuple[int, str]:
    """How a run ends that writes into a folder of its own with such permissions."""
    out.mkdir()
    out.chmod(mode)
    try:
        return bound("adapt", JOB, "--out", out)
    finally:
        out.chmod(0o755)


@LINUX_PERMISSIONS
def test_a_folder_that_may_be_listed_but_not_entered(tmp_path: Path) -> None:
    out = tmp_path / "out"
    assert adapted_into(out, 0o444) == (
        2,
        f"basemap: {out / 'orchard_pickup.xlsx'}: cannot be written (no permission; is the folder read-only, or the "
        "file open in another program?); nothing was changed\n",
    )
    assert names(out) == set()


@LINUX_PERMISSIONS
def test_a_folder_that_may_be_written_but_not_listed_is_written_to(tmp_path: Path) -> None:
    out = tmp_path / "out"
    assert adapted_into(out, 0o333) == (0, "")
    assert names(out) == FILES


@LINUX_PERMISSIONS
@pytest.mark.parametrize(
    ("mode", "named", "problem"),
    [
        (0o000, "folder", "folder: the folder cannot be read: Permission denied"),
        (0o000, "folder/van.toml", "the donor cannot be judged: folder/van.toml: cannot be read: Permission denied"),
        (0o444, "folder", "the donor cannot be judged: folder/van.toml: cannot be read: Permission denied"),
    ],
)
def test_donors_that_may_not_be_read(tmp_path: Path, mode: int, named: str, problem: str) -> None:
    donors = tmp_path / "folder"
    donors.mkdir()
    (donors / "van.toml").write_bytes(JOB.read_bytes())
    donors.chmod(mode)
    try:
        status, error = bound("rank", JOB, named, folder=tmp_path)
    finally:
        donors.chmod(0o755)
    assert (status, error) == (2, f"basemap: {problem}\n")


@LINUX_PERMISSIONS
def test_a_job_that_may_not_be_read(tmp_path: Path) -> None:
    job = tmp_path / "van.toml"
    job.write_bytes(JOB.read_bytes())
    job.chmod(0o000)
    status, error = bound("check", job)
    assert (status, error) == (2, f"basemap: {job}: cannot be read: Permission denied\n")


def test_a_donor_whose_name_is_too_long() -> None:
    run = main_of("rank", JOB, "a" * 300)
    assert (run.status, run.stderr) == (
        2, f"basemap: the donor cannot be judged: {'a' * 300}: cannot be read: File name too long\n"
    )  # fmt: skip


WRITES_HERE = {
    "demo": (("demo",), "basemap-demo/ferry_van.toml"),
    "demo in a folder of its own": (("demo", "mine"), "mine/ferry_van.toml"),
    "new": (("new", "mine.toml", "--blank"), "mine.toml"),
    "adapt": (("adapt", JOB.name), "orchard_pickup-adapted/orchard_pickup.xlsx"),
}


@LINUX_PERMISSIONS
@pytest.mark.parametrize("name", WRITES_HERE)
def test_a_folder_that_cannot_be_written_to(name: str, tmp_path: Path) -> None:
    for path in SAMPLES.glob("orchard_pickup*"):
        (tmp_path / path.name).write_bytes(path.read_bytes())
    before, (arguments, named) = names(tmp_path), WRITES_HERE[name]
    tmp_path.chmod(0o555)
    try:
        status, error = bound(*arguments, folder=tmp_path)
    finally:
        tmp_path.chmod(0o755)
    assert (status, error) == (
        2,
        f"basemap: {named}: cannot be written (no permission; is the folder read-only, or the file open in another "
        "program?); nothing was changed\n",
    )
    assert names(tmp_path) == before


NOWHERE = "cannot be written (no such file or directory); nothing was changed"
NO_JOB = "no such file: expected a job file such as van.toml"


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("demo",), f"basemap-demo/ferry_van.toml: {NOWHERE}"),
        (("demo", "mine"), f"mine/ferry_van.toml: {NOWHERE}"),
        (("new", "mine.toml", "--blank"), f"mine.toml: {NOWHERE}"),
        (("check", "mine.toml"), f"mine.toml: {NO_JOB}"),
        (("adapt", "mine.toml"), f"mine.toml: {NO_JOB}"),
        # A job that is there, so that only the folder to write into is not.
        (("adapt", str(JOB), "--out", "mine"), "the current folder no longer exists: go to another one"),
    ],
)
def test_a_folder_that_is_gone(
    arguments: tuple[str, ...], message: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    gone = tmp_path / "gone"
    gone.mkdir()
    monkeypatch.chdir(gone)
    gone.rmdir()
    run = main_of(*arguments)
    assert (run.status, run.stdout, run.stderr) == (2, "", f"basemap: {message}\n")
    assert names(tmp_path) == set()
